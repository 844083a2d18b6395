"""A first hour with the command line: nothing typed is lost, no way ends, every answer fits the terminal."""

from __future__ import annotations

import io
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from crashworthy.build.questions import checked
from crashworthy.build.reading import parse
from crashworthy.build.writing import renamed
from crashworthy.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Callable

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.mark.parametrize(
    ("key", "typed", "meant"),
    [
        ("prop_d", "5.1 inch", 129.54),
        ("prop_d", '5"', 127.0),
        ("wheelbase", "21,9cm", 219.0),
        ("wheelbase", "0.219 m", 219.0),
        ("pack_mass", "0.2 kg", 200.0),
        ("cam_tilt", "25°", 25.0),
        ("cam_recess", "-3", -3.0),
        ("antenna_mhz", "5.8 GHz", 5800.0),
        ("arm_material", "Carbon", "carbon_plate"),
        ("arm_material", "aluminium 6061", "al6061"),
        ("antenna", "on top at the rear", "rear_top"),
        ("antenna", "side", "side"),
        ("antenna", "4", "none"),
        ("thread", "3", "M3"),
        ("thread", "2", "M2"),
        ("stack", "20", "20"),
        ("pack_place", "under the bottom", "under"),
    ],
)
def test_an_answer_is_understood_as_it_is_said(key: str, typed: str, meant: object) -> None:
    """Units behind a number, choices by their words or place in the list."""
    assert checked(key, typed) == meant


@pytest.mark.parametrize(
    ("key", "typed"),
    [
        ("wheelbase", "219 g"),
        ("pack_mass", "nan"),
        ("arm_material", "aluminium"),
        ("prop_d", "1e3"),
        ("blades", "3 mm"),
    ],
)
def test_what_could_mean_two_things_is_asked_again(key: str, typed: str) -> None:
    """A unit of the wrong kind, a word that fits two choices: refused, not guessed."""
    with pytest.raises(SheetError) as caught:
        checked(key, typed)
    assert caught.value.problems[0].remedy


def test_one_question_back_and_nothing_lost_on_stopping(run: Callable, monkeypatch, tmp_path: Path) -> None:
    """`<` asks the last again; stopping halfway tells the command that goes on with every answer."""
    monkeypatch.setattr("sys.stdin", io.StringIO("Old Wren\n219\n5\n<\n<\n221\n6\n"))
    said = run("new", "--ask")
    assert said.code == 130
    assert not list(tmp_path.glob("*.toml"))
    words = shlex.split(said.err.strip().splitlines()[-1])
    assert "wheelbase=221" in words
    assert "arm_t=6" in words
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 40))
    on = run(*words[1:])
    assert on.code == 0, on.err
    assert "motor to motor" not in on.err
    sheet = parse((tmp_path / "old-wren.toml").read_text(encoding="utf-8"))
    assert (sheet.name, sheet.arms.wheelbase, sheet.arms.t) == ("Old Wren", 221, 6)


def test_a_file_in_the_way_does_not_throw_the_answers_away(
    run: Callable, monkeypatch, tmp_path: Path
) -> None:
    """The sheet goes beside it under the next free name, and the old one stays as it was."""
    (tmp_path / "wren.toml").write_text("mine", encoding="utf-8")
    monkeypatch.setattr("sys.stdin", io.StringIO("Wren\n" + "\n" * 40))
    said = run("new", "--ask")
    assert said.code == 0
    assert "is there already" in said.err
    assert (tmp_path / "wren.toml").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "wren-2.toml").is_file()


def test_a_changed_sheet_takes_the_place_of_the_old_one(run: Callable, tmp_path: Path) -> None:
    """Edit, --replace: the fleet has the new build, its journal stays, and a broken sheet changes nothing."""
    sheet = tmp_path / "wren.toml"
    assert run("new", sheet).code == 0
    assert run("new", sheet).code == 0
    run("journal", "pack", "wren")
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace("t = 5,", "t = 6,"), encoding="utf-8")
    again = run("new", sheet)
    assert again.code == 2
    assert "--replace" in again.err
    assert "wren.toml:6, name" in again.err
    before = run("build", "wren", "--json").json
    assert run("new", sheet, "--replace").code == 0
    after = run("build", "wren", "--json").json
    assert after["mass_g"] > before["mass_g"]
    assert "pack" in run("journal", "show", "wren").out
    sheet.write_text(text.replace("t = 5,", "t = -6,"), encoding="utf-8")
    assert run("new", sheet, "--replace").code == 2
    assert run("build", "wren", "--json").json["digest"] == after["digest"]
    sheet.write_text(text.replace('"wren"', '"other"'), encoding="utf-8")
    assert "no quad is called 'other'" in run("new", sheet, "--replace").err


def test_two_quads_with_a_drawing_of_the_same_name_do_not_share_it(run: Callable, tmp_path: Path) -> None:
    """bottom.dxf of one quad never becomes that of another: it is refused with the way out."""
    for name, source in (("one", "bottom"), ("two", "top")):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "plate.dxf").write_bytes((EXAMPLES / "gannet" / f"{source}.dxf").read_bytes())
        text = f'schema = 1\nname = "{name}"\narms = {{ wheelbase = 226 }}\n[plates]\n'
        (folder / "q.toml").write_text(
            text + 'bottom = { dxf = "plate.dxf", layer = "cut", t = 2, z = -2 }\n'
        )
    assert run("new", tmp_path / "one" / "q.toml").code == 0
    before = run("build", "one", "--json").json["digest"]
    clash = run("new", tmp_path / "two" / "q.toml")
    assert clash.code == 2
    assert "two/plate.dxf" in clash.err
    assert run("build", "one", "--json").json["digest"] == before


def test_a_new_quad_reaches_camera_link_and_paper_at_once(run: Callable, tmp_path: Path) -> None:
    """The first sheet has what camera and link need; sharing needs no option; an empty journal says how."""
    run("new", "wren.toml")
    run("new", "wren.toml")
    assert run("link", "wren").code == 0
    assert run("camera", "wren").code == 0
    assert run("share", "wren").code == 0
    assert (tmp_path / "wren.html").is_file()
    assert run("share", "wren", "-o", "wren.doc").code == 2
    told = run("journal", "show", "wren")
    assert "journal pack wren" in told.out
    back = run("new", "wren.html", "--name", "Wren of a friend")
    assert "in the fleet as 'wren-of-a-friend'" in back.out.replace("\n", " ")


WORDS = (
    ("new", "wren.toml"),
    ("build", "wren"),
    ("crash", "wren", "--n", "64"),
    ("place", "wren"),
    ("due",),
    ("kit", "wren"),
    ("torque", "wren"),
    ("budget", "wren"),
    ("calibrate", "wren"),
    ("look", "wren"),
    ("lives", "wren"),
    ("learned", "wren"),
    ("journal", "show"),
    ("share", "wren"),
    ("crew",),
    ("verify",),
)
"""A first afternoon, in order."""


def test_a_first_afternoon_fits_80_columns(run: Callable) -> None:
    """Every answer and caution of every command in a row: no line wider than 80 columns, no traceback."""
    run("new", "wren.toml")
    for words in WORDS:
        said = run(*words)
        assert said.code == 0, (words, said.err)
        wide = [line for line in (said.out + said.err).splitlines() if len(line) > 80]
        assert not wide, (words, wide)
        assert "Traceback" not in said.err


def test_a_sheet_gets_another_name_and_nothing_else() -> None:
    """Quotes of both kinds, and a name that needs escapes."""
    for line in ('name = "Old \\"grey\\" one"', "name    = 'Old'"):
        text = f"# name = no\nschema = 1\n{line} # mine\narms = {{ wheelbase = 220 }}\n"
        found = renamed(text, 'New "x"')
        assert parse(found).name == 'New "x"'
        assert found.replace('"New \\"x\\""', "") == text.replace(line.partition("= ")[2], "")


def test_the_scales_have_a_command(run: Callable, tmp_path: Path) -> None:
    """--weighed with --save writes the weight, comments stay, and what the parts do not explain is told."""
    run("new", "wren.toml")
    assert "--save" in run("calibrate", "wren.toml", "--weighed", "652").err
    said = run("calibrate", "wren.toml", "--weighed", "652", "--save")
    assert said.code == 0, said.err
    assert "g are not described" in said.out.replace("\n", " ")
    text = (tmp_path / "wren.toml").read_text(encoding="utf-8")
    assert parse(text).weighed == 652
    assert "what the scales say, ready to fly, with pack" in text
    assert run("calibrate", "wren.toml", "--weighed", "0", "--save").code == 2
