"""The commands about camera, link, moves and printed parts say what they promise."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"
GANNET, DUNLIN = str(EXAMPLES / "gannet.toml"), str(EXAMPLES / "dunlin.toml")


def test_camera_trades_view_against_protection(run):
    """The table has every tilt and recess asked for, and the first sentence says what to do in mm."""
    out = run("camera", GANNET, "--tilt", "20", "--recess", "0")
    assert out.code == 0
    assert "mm" in out.lead
    found = run("camera", GANNET, "--tilt", "20", "--recess", "0", "--json").json
    assert {(r["tilt_deg"], r["recess_mm"]) for r in found["rows"]} == {(20, 0), (20, 2), (30, 0), (30, 2)}


def test_a_marked_corner_writes_the_pupil_into_a_copy(run, tmp_path):
    """The pupil and its standard deviation stand in the copy of the sheet, and the table knows it."""
    copy = tmp_path / "copy.toml"
    shutil.copytree(EXAMPLES / "gannet", tmp_path / "gannet")
    out = run("camera", GANNET, "--corners", "--json")
    corner = out.json["corners"][0]
    at, (column, row) = corner["at_mm"], corner["pixel"]
    mark = f"{at[0]},{at[1]},{at[2]}@{column},{row}"
    found = run("camera", GANNET, "--mark", mark, "-o", str(copy), "--json").json
    assert found["pupil_mm"] == pytest.approx(2.0, abs=0.05)
    assert f"pupil_sd = {round(found['sd_mm'], 2):g}" in copy.read_text(encoding="utf-8")
    assert "as measured" in run("camera", str(copy), "--tilt", "30", "--recess", "2").flat


def test_trim_is_written_as_drawing(run, tmp_path):
    """The outline to take off is a DXF or SVG file; another ending is refused."""
    for ending in ("dxf", "svg"):
        assert run("camera", GANNET, "--trim", str(tmp_path / f"t.{ending}")).code == 0
        assert (tmp_path / f"t.{ending}").stat().st_size > 300
    assert run("camera", GANNET, "--trim", str(tmp_path / "t.pdf")).code == 2


def test_link_takes_your_numbers(run):
    """Ten decibels more through carbon never hears farther, and the assumptions are printed."""
    near, far = (
        run("link", GANNET, "--for", "control_l", "--carbon", loss, "--json").json["link"]
        for loss in ("30", "10")
    )
    assert near["range_nine_in_ten_m"] <= far["range_nine_in_ten_m"]
    out = run("link", GANNET, "--for", "video")
    assert "Assumptions: 26 dBm" in out.out
    assert run("link", GANNET, "--for", "nothing").code == 2
    assert run("link", GANNET, "--power", "900").code == 2


def test_a_move_is_shown_before_and_after(run):
    """`place --try` prints both builds side by side, and the copy as JSON."""
    key = run("place", GANNET, "--json").json["moves"][0]["key"]
    found = run("place", GANNET, "--try", key, "--json").json
    assert any(x["better"] == 1 for x in found["lines"])
    assert "[antennas]" in found["sheet"]


def test_directions_can_be_chosen(run):
    """Everyday directions give other shares than even ones; a word that is none is refused with the words."""
    even, everyday = (
        run("place", DUNLIN, "--scenario", way, "--json").json["exposures"] for way in ("even", "everyday")
    )
    assert {e["part"]: e["share"] for e in even} != {e["part"]: e["share"] for e in everyday}
    wrong = run("place", DUNLIN, "--scenario", "sometimes")
    assert wrong.code == 2
    assert "everyday" in wrong.err
