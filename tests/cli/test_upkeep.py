"""Commands of the bench: torque, budget, wear, is it tougher, crew."""

from __future__ import annotations

import json
import re
import shutil

import pytest


def ruled_lines_fit(text):
    """Tables are at most 80 columns wide."""
    return all(len(line) <= 80 for line in text.splitlines() if set(line.strip()) == {"─"})


def test_torque_of_a_sheet_and_of_a_quad_is_one_card(demo, gannet_sheet):
    """The card needs no fleet; with one it adds how often joints slip in the kept crash test."""
    by_file, by_slug = demo("torque", gannet_sheet, "--json").json, demo("torque", "gannet", "--json").json
    assert by_file["rows"] == by_slug["rows"]
    said = demo("torque", "gannet")
    assert said.out.startswith("Arm screws M3 x 12: ")
    assert ruled_lines_fit(said.out)
    assert "Props off" in said.err


@pytest.mark.parametrize("words", [("--depth", "motor"), ("--depth", "motor=x"), ("--depth", "no=3")])
def test_a_depth_that_makes_no_sense_is_refused(demo, words):
    """A wrong depth ends with status 2 and a remedy."""
    said = demo("torque", "gannet", *words)
    assert said.code == 2
    assert "motor" in said.err


def test_the_budget_says_what_a_gram_costs(demo):
    """First sentence with mass, power, time and the cost of a gram; assumptions are listed."""
    said = demo("budget", "gannet", "--thrust", 1350, "--celsius", 30)
    assert said.code == 0, said.err
    assert said.out.startswith("Gannet: 700 g hover on ")
    assert "assumption: motor and speed controller" in said.flat
    assert ruled_lines_fit(said.out)
    assert demo("budget", "gannet", "--merit", 3).code == 2


def test_two_quads_are_compared_in_words(demo):
    """The first sentence says who breaks less or that it cannot be told, the second what would settle it."""
    said = demo("tougher", "gannet", "dunlin")
    assert said.code == 0, said.err
    assert "Gannet" in said.lead
    assert "Dunlin" in said.lead
    assert "crashes" in said.flat.removeprefix(said.lead)
    assert ruled_lines_fit(said.out)
    plain = demo("tougher", "gannet", "dunlin", "--json").json
    assert plain["answers"][0]["item"] == "parts"
    assert demo("tougher", "gannet", "--since", "soon").code == 2


def test_counts_leave_one_fleet_and_inform_another(demo, tmp_path):
    """What `crew --export` prints, another fleet can pool; no event goes along."""
    exported = demo("crew", "--export")
    assert exported.code == 0, exported.err
    assert "occurred" not in exported.out
    file = tmp_path / "counts.json"
    file.write_text(exported.out, encoding="utf-8")
    alone, joined = demo("crew", "--json").json, demo("crew", file, "--json").json
    assert joined["quads"] == 2 * alone["quads"]
    assert joined["crashes"] == 2 * alone["crashes"]
    said = demo("crew", file)
    assert said.out.startswith("4 quads, ")
    assert ruled_lines_fit(said.out)
    file.write_text("nonsense", encoding="utf-8")
    assert demo("crew", file).code == 2


def test_counts_of_others_are_kept_by_name_and_removed(demo, tmp_path):
    """`crew FILE --keep NAME` keeps counts, every later report has them, `--drop NAME` removes them."""
    file = tmp_path / "counts.json"
    own = demo("crew", "--export").json
    file.write_text(
        json.dumps([{**own[0], "label": "Heron", "packs": own[0]["packs"] + 7}]), encoding="utf-8"
    )
    alone = demo("crew", "--json").json
    kept = demo("crew", file, "--keep", "the mill")
    assert kept.code == 0, kept.err
    assert "Kept: Heron of the mill" in kept.err
    assert "Given by the mill on 20" in kept.out
    after = demo("crew", "--json").json
    assert after["quads"] == alone["quads"] + 1
    assert "Heron (the mill)" in after["items"][0]["labels"]
    assert [g["source"] for g in after["given"]] == ["the mill"]
    assert "Heron" not in demo("crew", "--export").out
    file.write_text(json.dumps(own), encoding="utf-8")
    twice = demo("crew", file, "--keep", "the mill")
    assert twice.code == 2
    assert "own quads are counted already" in twice.err
    assert demo("crew", "--drop", "the mill", "--json").json == alone
    assert demo("crew", "--drop", "the mill").code == 2


def test_lives_names_what_to_retire_and_what_was_lived(demo):
    """A tap, a finding and a swap with a mark show in the verdicts."""
    for hz in (182, 170):
        assert demo("journal", "tap", "gannet", "arm_fl", *[hz] * 5).code == 0
    assert demo("journal", "finding", "gannet", "arm_fr", "worn", "--text", "white edge").code == 0
    said = demo("lives", "gannet")
    assert said.code == 0, said.err
    assert "arm_fl  " in said.out
    assert "white edge" in said.out
    assert ruled_lines_fit(said.out)
    rows = {p["name"]: p for p in demo("lives", "gannet", "--json").json["parts"]}
    assert rows["arm_fl"]["verdict"] == "retire"
    assert rows["arm_fl"]["life"]["packs"] > 0
    assert demo("journal", "tap", "gannet", "arm_xx", 180).code == 2


def test_a_marked_arm_says_on_how_many_frames_it_lived(run, tmp_path):
    """Packs and crashes of both quads add up; every line of the table is one line and fits 80 columns."""
    for name in ("Gannet", "Dunlin"):
        sheet = tmp_path / f"{name}.toml"
        for _ in range(2):  # made, then taken into the fleet
            assert run("new", sheet, "--name", name).code == 0
    run("journal", "swap", "gannet", "arm_fl", "--serial", "A7")
    for quad, severity in (("gannet", "hit"), ("dunlin", "slam")):
        if quad == "dunlin":  # off the one, onto the other
            run("journal", "swap", "gannet", "arm_fl", "--why", "upgrade")
            run("journal", "swap", "dunlin", "arm_fl", "--serial", "A7", "--why", "upgrade")
        assert run("journal", "pack", quad).code == 0
        assert run("journal", "crash", quad, severity).code == 0
    said = run("lives", "dunlin", "--all")
    assert said.code == 0, said.err
    assert "Front left arm: 2 packs, 2 crashes, 2 frames." in said.flat
    assert "Front right arm: " not in said.flat
    assert re.search(r"^arm_fl +\w+ +2 +2 ", said.out, re.MULTILINE)
    rows = [line for line in said.out.splitlines() if re.match(r"[a-z]+_[a-z]+ ", line)]
    assert all(len(line) <= 80 for line in rows)


def test_look_lists_parts_of_such_crashes(demo):
    """After a slam the list begins with what breaks most; unknown words are refused."""
    demo("crash", "dunlin", "--n", 64)
    said = demo("look", "dunlin", "--severity", "slam")
    assert said.code == 0, said.err
    assert said.out.startswith("After a slam look here first: ")
    assert "Screws to check first: " in said.out
    assert "pack outdoors" in said.err
    assert demo("look", "dunlin", "--severity", "bang").code == 2


def test_a_journal_goes_out_and_in_as_a_table(demo, root, tmp_path):
    """The table of one fleet is all duplicates when it comes back."""
    file = tmp_path / "journal.csv"
    file.write_text(demo("journal", "export", "gannet", "--csv").out, encoding="utf-8")
    back = demo("journal", "import", file)
    assert back.code == 0, back.out
    assert back.out.startswith("0 events added")
    picture = tmp_path / "crack.png"
    shutil.copyfile(root / "docs" / "pictures" / "fleet.png", picture)
    assert demo("journal", "photo", "gannet", picture, "--part", "arm_fl").out.startswith("Kept: photo")
    assert demo("journal", "tighten", "gannet", "motor").code == 0
