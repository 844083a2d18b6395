"""Each command says its answer first, fits 80 columns, and has the same in JSON."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.mark.parametrize(
    "words",
    [
        ("due",),
        ("due", "gannet", "--day", "18"),
        ("crash", "gannet", "--n", "64"),
        ("kit", "gannet", "--packs", "20", "--grams", "500", "--coins", "200"),
        ("journal", "show", "gannet", "--limit", "12"),
        ("build", "gannet"),
        ("verify",),
    ],
    ids=" ".join,
)
def test_answers_are_a_sentence_and_a_table_of_80_columns(demo, words):
    """The first line is the answer with a number; no line of a table is wider than 80 columns."""
    said = demo(*words)
    assert said.code == 0, said.err
    first = said.out.splitlines()[0]
    assert any(c.isdigit() for c in said.out)
    assert len(first) > 10
    ruled = [i for i, line in enumerate(said.out.splitlines()) if set(line.strip()) == {"─"}]
    for i in ruled:
        assert len(said.out.splitlines()[i]) <= 80
    assert isinstance(demo(*words, "--json").json, (dict, list))


def test_crash_of_a_sheet_file_gives_the_same_bytes_with_one_and_two_workers(run, gannet_sheet):
    """The number of workers does not show in the answer."""
    one = run("crash", gannet_sheet, "--n", 600, "--seed", 7, "--json", "--workers", 1)
    two = run("crash", gannet_sheet, "--n", 600, "--seed", 7, "--json", "--workers", 2)
    assert one.code == two.code == 0
    assert one.out == two.out
    other = run("crash", gannet_sheet, "--n", 600, "--seed", 8, "--json")
    assert other.out != one.out
    part = one.json["parts"][0]
    assert part["hit_low"] <= part["hit"] <= part["hit_high"]
    assert part["breaks_low"] <= part["breaks"] <= part["breaks_high"]


def test_the_loop_from_a_new_sheet_to_a_clear_due_list(run, tmp_path):
    """A new user writes a sheet, takes it in, flies until a group turns due, checks it, and sees it clear."""
    sheet = tmp_path / "first.toml"
    assert run("new", sheet, "--name", "First").code == 0
    assert run("new", sheet).code == 0
    states = {d["group"]: d["state"] for d in run("due", "first", "--json").json["first"]["due"]}
    assert set(states.values()) == {"fresh"}
    packs = 0
    while states["arm"] in ("fresh", "soon"):
        assert run("journal", "pack", "first", "--minutes", 4).code == 0
        states = {d["group"]: d["state"] for d in run("due", "first", "--json").json["first"]["due"]}
        packs += 1
        assert packs < 12
    assert 3 <= packs <= 6  # common practice, no source: arm screws every 3 to 5 packs
    assert "Arm screws" in run("due", "first").out
    assert run("journal", "check", "first", "arm").code == 0
    states = {d["group"]: d["state"] for d in run("due", "first", "--json").json["first"]["due"]}
    assert states["arm"] == "fresh"


def test_a_crash_shows_the_caution_about_the_pack(demo):
    """Who enters a hard crash is told what to mind about the pack, and who enters a scuff is not."""
    assert "outdoors" in demo("journal", "crash", "gannet", "slam").err
    assert "outdoors" not in demo("journal", "crash", "gannet", "scuff").err


def test_an_entry_can_be_taken_back(demo):
    """Undo brings the due list back to what it was; both entries stay in the journal."""
    before = demo("due", "gannet", "--json").out
    entry = demo("journal", "crash", "gannet", "slam", "--json").json["id"]
    assert demo("due", "gannet", "--json").out != before
    assert demo("journal", "undo", entry.replace("-", "")[-10:]).code == 0
    assert demo("due", "gannet", "--json").out == before
    kinds = [e["kind"] for e in demo("journal", "show", "gannet", "--limit", 2, "--json").json]
    assert kinds == ["retraction", "crash"]


def test_a_journal_moves_between_machines(demo, tmp_path, monkeypatch, gannet_sheet):
    """Export and import carry every event; importing twice changes nothing."""
    lines = demo("journal", "export", "gannet").out
    file = tmp_path / "gannet.jsonl"
    file.write_text(lines, encoding="utf-8")
    due = demo("due", "gannet", "--json").out
    monkeypatch.setenv("CRASHWORTHY_DATA", str(tmp_path / "other"))
    assert demo("new", gannet_sheet).code == 0
    assert demo("journal", "import", file).code == 0
    assert demo("due", "gannet", "--json").out == due
    again = demo("journal", "import", file, "--json").json
    assert again["accepted"] == []
    assert len(again["duplicate"]) == len(lines.splitlines())


def test_a_broken_line_of_a_journal_file_is_told_and_the_rest_taken(demo, tmp_path):
    """Good lines are taken, bad ones told by number, and the exit status says so."""
    good = demo("journal", "export", "dunlin").out.splitlines()[0]
    file = tmp_path / "mixed.jsonl"
    file.write_text(f"{good}\n{{broken\n", encoding="utf-8")
    said = demo("journal", "import", file)
    assert said.code == 1
    assert "mixed.jsonl:2" in said.out


def test_a_log_says_what_it_could_and_could_not_compute(demo, demo_folder):
    """The demo flight names the motor that shakes; a slow log without motor speed says what is missing."""
    (log,) = (demo_folder / "logs").glob("*.csv")
    said = demo("log", log, "--quad", "gannet")
    assert said.code == 0, said.err
    assert "rear left" in said.lead.lower()
    slow = demo_folder.parent / "slow.csv"
    slow.write_text(
        "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps\n"
        + "".join(f"{k / 100},{k % 7},{k % 5},{k % 3}\n" for k in range(900))
    )
    answers = {a["question"]: a for a in demo("log", slow, "--quad", "gannet", "--json").json["answers"]}
    assert answers["unbalance"]["verdict"] not in ("computed", "caution")
    assert answers["unbalance"]["text"]
    assert answers["unbalance"]["change"]


def test_flights_of_one_file_are_listed_chosen_and_kept_apart(demo, tmp_path):
    """A file with two flights: --list shows both, --flight takes one, --keep keeps each."""
    file = tmp_path / "two.csv"
    file.write_text(
        "time_s,gyro_x_dps,gyro_y_dps,gyro_z_dps\n"
        + "".join(f"{(k % 900) / 100},{k % 7},{k % 5},{k % 3}\n" for k in range(1500))
    )
    listed = demo("log", file, "--list", "--json").json
    assert [(f["flight"], f["duration_s"]) for f in listed] == [(1, 8.99), (2, 5.99)]
    assert "2 flights" in demo("log", file, "--list").out
    assert demo("log", file, "--flight", 2, "--json").json["duration_s"] == 5.99
    wrong = demo("log", file, "--flight", 3)
    assert wrong.code != 0
    assert "holds 2" in wrong.err + wrong.out
    assert "2 flights" in demo("log", file, "--quad", "dunlin", "--keep").out


def test_stock_is_counted_into_the_kit(demo):
    """What is on the shelf need not be bought."""
    words = ("kit", "gannet", "--packs", 20, "--grams", 500, "--coins", 200, "--json")
    line = next(x for x in demo(*words).json["lines"] if x["buy"] > 0)
    assert demo("stock", line["item"], line["count"]).code == 0
    after = {x["item"]: x for x in demo(*words).json["lines"]}
    assert after[line["item"]]["buy"] < line["buy"]


def test_backup_is_written_once_and_verified(demo, tmp_path):
    """A backup is a whole store; it is not written over another file."""
    target = tmp_path / "copy.db"
    assert demo("backup", target).code == 0
    assert target.stat().st_size > 10_000
    assert demo("backup", target).code == 2


def test_a_server_is_backed_up_and_restored_with_its_accounts(demo, fleet_folder, tmp_path):
    """Where there are accounts, backup, restore and verify take every crew, and say what opens again."""
    from crashworthy.accounts.book import Accounts

    with Accounts(fleet_folder / "accounts.db") as accounts:
        home = accounts.add_crew("Millrace")
        accounts.add_person("robin", "a quarry at noon", home, "lead")
        accounts.sign_in("robin", "a quarry at noon", "here")
    made = demo("backup", tmp_path / "monday", "--json").json
    assert made["accounts"]["people"] == 1
    assert made["fleets"]["Millrace"]["ok"]
    back = demo("restore", tmp_path / "monday", "--data", tmp_path / "there")
    assert back.code == 0
    assert "--end-sessions" in back.err
    looked = demo("verify", "--against", tmp_path / "monday", "--data", tmp_path / "there", "--json").json
    assert looked["ok"]
    assert looked["fleets"]["Millrace"]["digest"] == made["fleets"]["Millrace"]["digest"]
    out = demo("restore", tmp_path / "monday", "--end-sessions", "--data", tmp_path / "other")
    assert "Ended 1" in out.err


def test_pictures_without_an_entry_are_counted_and_tidied_away(demo, tmp_path):
    """They are counted by verify and go by tidy when they are old enough; a changed one is status 1."""
    picture = tmp_path / "a.png"
    picture.write_bytes(bytes.fromhex(PIXEL))
    entered = demo("journal", "photo", "gannet", picture, "--json").json
    assert demo("verify").code == 0
    assert demo("journal", "undo", entered["id"][-12:]).code == 0
    assert "1 picture that no entry speaks of" in demo("verify").out
    assert demo("verify", "--json").json["photos"]["stray"] == [entered["file"]]
    assert "Nothing" in demo("journal", "tidy").out
    assert demo("journal", "tidy", "--days", 0, "--json").json == [entered["file"]]
    entered = demo("journal", "photo", "gannet", picture, "--json").json
    (file,) = Path(os.environ["CRASHWORTHY_DATA"]).rglob(entered["file"])
    file.write_bytes(b"other")
    said = demo("verify")
    assert (said.code, "changed after being kept" in said.out) == (1, True)


PIXEL = (
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c49444154789c63f8cfc0000003010100c9fe92ef0000000049454e44ae426082"
)
"""A PNG of one pixel."""


def test_evidence_of_a_room_lists_checks_with_sources(run):
    """The command prints the same registry that the tests run, and ends with 0 when all pass."""
    said = run("evidence", "build", "--json")
    assert said.code == 0
    assert all(c["passed"] and c["source"] for c in said.json["checks"])


def test_rare_hits_and_early_stops_are_told_and_a_second_time_read_from_the_cache(
    run, gannet_sheet, tmp_path
):
    """The watched hit stands with its interval; the same again is the same answer, read from kept chunks."""
    words = (
        "crash",
        gannet_sheet,
        "--n",
        64,
        "--watch",
        "lens by spike",
        "--no-fracture",
        "--data",
        tmp_path,
    )
    said = run(*words)
    assert "camera lens by spike" in said.out
    assert "2048 crashes drawn, 64 simulated" in " ".join(said.out.split())
    kept = sorted(p.name for p in (tmp_path / "chunks").iterdir())
    assert kept
    assert run(*words).out == said.out
    assert sorted(p.name for p in (tmp_path / "chunks").iterdir()) == kept
    late = run("crash", gannet_sheet, "--n", 64, "--until", "5%", "--no-fracture", "--data", tmp_path)
    assert "All 64 crashes run without reaching" in late.flat
    assert "is no precision" in run("crash", gannet_sheet, "--until", "soon", "--data", tmp_path).err


def test_a_quad_is_described_by_questions(run, monkeypatch, tmp_path):
    """Asked in a pipe: answers, a hint, a wrong answer asked again, the rest assumed; then the fleet."""
    import io

    typed = "Wren\n?\n21\n219\n" + "\n" * 40
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    said = run("new", "--ask")
    assert said.code == 0
    assert "cannot be the answer" in said.err
    assert "From the middle of one motor" in said.err
    assert "arms: thickness, 5 mm" in said.out
    assert "wheelbase = 219" in (tmp_path / "wren.toml").read_text(encoding="utf-8")
    assert "in the fleet as 'wren'" in run("new", "wren.toml").out


def test_answers_can_be_given_beforehand(run, tmp_path):
    """--set answers, --drop takes a drawing beside the sheet; a second time the file is in the way."""
    from pathlib import Path

    drawing = Path(__file__).parents[2] / "examples" / "gannet" / "bottom.dxf"
    said = run("new", "k.toml", "--set", "wheelbase=230", "--drop", drawing, "--json")
    assert said.json["assumed"]
    assert (tmp_path / "k" / "bottom.dxf").is_file()
    assert run("build", "k.toml").code == 0
    assert "is there already" in run("new", "k.toml", "--set", "wheelbase=230").err
    assert "KEY=VALUE" in run("new", "l.toml", "--set", "wheelbase").err
    assert "--ask" in run("new").err


def test_calibrating_shows_before_and_after(run, tmp_path):
    """A pull narrows the belief, and only --save or -o keep it."""
    run("new", "w.toml", "--set", "wheelbase=220")
    said = run("calibrate", "w.toml", "--pull-up", "9.81,0.62", "-o", "copy.toml", "--json")
    assert said.json["belief"]["factor"]["up"]["sd_ln"] < 0.2
    assert "pull_up" not in (tmp_path / "w.toml").read_text(encoding="utf-8")
    assert "pull_up" in (tmp_path / "copy.toml").read_text(encoding="utf-8")
    assert "N,MM" in run("calibrate", "w.toml", "--pull-up", "9.81").err


def test_a_shared_page_is_taken_back(run, tmp_path):
    """Share writes a page, new takes it into another fleet."""
    run("new", "w.toml", "--set", "wheelbase=220")
    said = run("share", "w.toml", "-o", "w.html", "--comments", "--json")
    assert said.json["bytes"] < 1_500_000
    assert "in the fleet as 'w'" in run("new", "w.html", "--data", tmp_path / "other").out
    kept = (tmp_path / "other" / "sheets" / "w.toml").read_bytes()
    assert kept == (tmp_path / "w.toml").read_bytes()
