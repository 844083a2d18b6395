"""What `crashworthy crash` and `torque` write besides their tables."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from crashworthy.cli.app import app

SHEET = str(Path(__file__).parents[2] / "examples/gannet.toml")
run = CliRunner()


def ask(*words: str, data: Path) -> Any:
    """Run a command on an empty fleet."""
    return run.invoke(app, [*words, "--data", str(data)])


def test_a_campaign_writes_report_map_and_worst_crashes(tmp_path: Path) -> None:
    """One run gives the table with both columns, the report, the map and the worst crashes, also as JSON."""
    report, strikes = tmp_path / "r.html", tmp_path / "s.json"
    got = ask("crash", SHEET, "--n", "40", "--seed", "3", "--worst", "video", "--report", str(report),
              "--strikes", str(strikes), "--json", data=tmp_path / "d")  # fmt: skip
    assert got.exit_code == 0, got.output
    told = json.loads(got.stdout)
    assert told["fracture"]["n"] == 40
    assert "If nothing breaks" in told["fracture"]["meaning"]
    assert told["first_touch"]["crashes"]
    assert len(told["moments"]) == 8
    assert told["worst"][0]["breaks"] >= told["worst"][-1]["breaks"]
    assert json.loads(strikes.read_text(encoding="utf-8"))["n"] == 40
    assert "--seed 3" in report.read_text(encoding="utf-8")


def test_the_table_says_what_its_two_columns_are(tmp_path: Path) -> None:
    """Both columns stand in 80 columns of text, with the sentence on the difference; one can be left out."""
    got = ask("crash", SHEET, "--n", "40", data=tmp_path / "d")
    head = next(line for line in got.stdout.splitlines() if "fract." in line)
    assert len(head.rstrip()) <= 80
    assert "Both are of the same crashes" in got.stdout
    assert "fracture" not in ask("crash", SHEET, "--n", "8", "--no-fracture", data=tmp_path / "d").stdout


@pytest.mark.parametrize("ending", ["json", "png", "svg", "glb"])
def test_one_crash_comes_back_as_a_file(tmp_path: Path, ending: str) -> None:
    """Seed and number give words and the file asked for."""
    file = tmp_path / f"crash.{ending}"
    got = ask("crash", SHEET, "--seed", "3", "--replay", "17", "-o", str(file), data=tmp_path / "d")
    assert got.exit_code == 0, got.output
    assert "in contact" in got.stdout
    start = {"json": b"{", "png": b"\x89PNG", "svg": b"<svg", "glb": b"glTF"}[ending]
    assert file.read_bytes().startswith(start)


def test_a_file_that_cannot_be_is_refused_before_the_crashes(tmp_path: Path) -> None:
    """Wrong endings and an output without a replay are told at once."""
    for more in (
        ["--report", "r.doc"],
        ["--strikes", "s.bmp"],
        ["-o", "x.png"],
        ["--replay", "1", "-o", "x.avi"],
    ):
        got = ask("crash", SHEET, *more, data=tmp_path / "d")
        assert got.exit_code == 2, more


def test_the_torque_card_comes_on_paper(tmp_path: Path) -> None:
    """HTML and PDF of the card of a sheet file."""
    for ending, start in (("html", b"<!doctype html>"), ("pdf", b"%PDF-")):
        file = tmp_path / f"card.{ending}"
        got = ask("torque", SHEET, "-o", str(file), data=tmp_path / "d")
        assert got.exit_code == 0, got.output
        assert file.read_bytes().startswith(start)


def test_what_was_assumed_is_counted_always_and_listed_when_asked(tmp_path: Path) -> None:
    """One line without the option; with it every row with its source in 80 columns; JSON holds all."""
    short = ask("crash", SHEET, "--n", "4", "--no-fracture", data=tmp_path / "d").stdout
    assert "--assumptions lists them" in short
    assert "Wood Handbook" not in short
    got = ask("crash", SHEET, "--n", "4", "--no-fracture", "--assumptions", data=tmp_path / "d").stdout
    told = json.loads(ask("crash", SHEET, "--n", "4", "--no-fracture", "--json", data=tmp_path / "d").stdout)[
        "assumed"
    ]
    for row in told["mix"]:
        line = next(line for line in got.splitlines() if line.startswith(row["name"]))
        assert f"{100 * row['share']:.1f}" in line
        assert "assumption" in line
        assert len(line.rstrip()) <= 80
    assert "Wood Handbook" in got
    assert f"Contact: {told['together']}." in " ".join(got.split())
    wood = next(s for s in told["surfaces"] if s["name"] == "wood")
    assert wood["numbers"][1]["value"] == 2.9e7
    assert wood["numbers"][1]["unit"] == "Pa"
