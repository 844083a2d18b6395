"""Thirty wrong sheets, at the terminal and in the browser: what, where, what to do; nothing typed is lost."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

import pytest

from crashworthy.build.assemble import load

if TYPE_CHECKING:
    from pathlib import Path

    import httpx

    from crashworthy.workshop import Workshop

TOP = 'schema = 1\nname = "Dunlin"\n'
HEAD = TOP + "arms = { wheelbase = 226 }\n"

WRONG = {
    "misspelt field": (HEAD + "motors = { mas = 33 }\n", 4, "motors.mas", "did you mean 'mass'"),
    "misspelt section": (HEAD + "[moter]\nmass = 33\n", 4, "moter", "did you mean 'motors'"),
    "unit in quotes": (TOP + 'arms = { wheelbase = "226 mm" }\n', 3, "arms.wheelbase", "give the distance"),
    "unit bare": (TOP + "arms = { wheelbase = 226 mm }\n", 3, "", "numbers stand alone"),
    "left out": (TOP + "arms = { t = 5 }\n", 3, "arms.wheelbase", "give the distance"),
    "negative mass": (HEAD + "motors = { mass = -33 }\n", 4, "motors.mass", "mass of one motor"),
    "unknown material": (
        TOP + 'arms = { wheelbase = 226, material = "carbon" }\n',
        3,
        "arms.material",
        "'carbon_plate'",
    ),
    "metres": (TOP + "arms = { wheelbase = 0.226 }\n", 3, "arms.wheelbase", "60 to 900"),
    "decimal comma": (TOP + "arms = { wheelbase = 226, t = 5,5 }\n", 3, "", "write a point"),
    "no such drawing": (HEAD + '[plates]\ntop = { dxf = "no.dxf", t = 2 }\n', 5, "plates.top.dxf", "beside"),
    "no such model": (HEAD + '[imports]\na = { file = "no.stl" }\n', 5, "imports.a.file", "beside"),
    "open outline": (
        HEAD + '[plates]\ntop = { dxf = "open.dxf", t = 2 }\n',
        5,
        "plates.top.dxf",
        "close the",
    ),
    "drawing without unit": (
        HEAD + '[plates]\ntop = { dxf = "bare.dxf", t = 2 }\n',
        5,
        "plates.top.dxf",
        "scale",
    ),
    "leaky model": (HEAD + '[imports]\na = { file = "leaky.stl" }\n', 5, "imports.a.mass", "weigh the part"),
    "model in metres": (HEAD + '[imports]\na = { file = "metres.stl" }\n', 5, "imports.a.scale", "1000"),
    "no STEP": (HEAD + '[imports]\na = { file = "words.step" }\n', 5, "imports.a.file", "export it again"),
    "way out of the folder": (HEAD + '[imports]\na = { file = "../x.stl" }\n', 5, "imports.a.file", "folder"),
    "curly quotes": (
        "schema = 1\nname = \u201cDunlin\u201d\narms = { wheelbase = 226 }\n",
        2,
        "",
        "straight",
    ),
    "no quotes": ("schema = 1\nname = Dunlin\narms = { wheelbase = 226 }\n", 2, "", "in quotes"),
    "brace left open": (TOP + "arms = { wheelbase = 226\n", 3, "", "on one line"),
    "brace over lines": (TOP + "arms = {\n  wheelbase = 226,\n}\n", 3, "", "on one line"),
    "row twice": (HEAD + "arms = { wheelbase = 220 }\n", 4, "", "one of the two"),
    "section twice": (HEAD + "[plates]\n[loose]\nx = 1\n[plates]\n", 7, "", "line 4"),
    "colons": ("schema: 1\nname: Dunlin\n", 1, "", "key = value"),
    "row under a section": (
        TOP + "[plates]\narms = { wheelbase = 226 }\n",
        4,
        "plates.arms",
        "above the first",
    ),
    "number for a table": (TOP + "arms = 226\n", 3, "arms", "key = value"),
    "list for a table": (HEAD + '[[antennas]]\nname = "v"\n', 4, "antennas", "antennas by name"),
    "unknown thread": (
        HEAD + '[screws]\narm = { thread = "M7", length = 8 }\n',
        5,
        "screws.arm.thread",
        "M6",
    ),
    "yes": (
        HEAD + '[screws]\narm = { thread = "M3", length = 8, threadlock = yes }\n',
        5,
        "",
        "true or false",
    ),
    "tabs": (TOP + "arms\t=\t{ wheelbase = 226, t = -5 }\n", 3, "arms.t", "0.5 to 20"),
    "carriage returns": ((HEAD + "motors = { mas = 3 }\n").replace("\n", "\r\n"), 4, "motors.mas", "'mass'"),
    "screws nowhere": (HEAD + '[screws]\nlid = { thread = "M3", length = 8 }\n', 5, "screws.lid", "give at"),
}


@pytest.fixture(scope="module")
def beside() -> dict[str, bytes]:
    """Files that the wrong sheets name."""
    import io

    import ezdxf
    import trimesh

    def drawn(units: int, corners: list[tuple[int, int]], *, close: bool) -> bytes:
        document = ezdxf.new("R2010", units=units)  # type: ignore[attr-defined] # exported at run time only
        document.modelspace().add_lwpolyline(corners, close=close)
        out = io.StringIO()
        document.write(out)
        return out.getvalue().encode()

    whole, small = trimesh.creation.box((20, 10, 5)), trimesh.creation.box((0.02, 0.01, 0.005))
    whole.faces = whole.faces[1:]
    square = [(0, 0), (80, 0), (80, 40), (0, 40)]
    return {
        "open.dxf": drawn(4, square, close=False),
        "bare.dxf": drawn(0, square, close=True),
        "leaky.stl": bytes(whole.export(file_type="stl")),
        "metres.stl": bytes(small.export(file_type="stl")),
        "words.step": b"hello",
    }


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_sheet_is_told_at_the_terminal(
    case: str,
    beside: dict[str, bytes],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Status 2, one line for the mistake: file, line, field, what to do; nothing on stdout."""
    from crashworthy.cli.main import main

    text, line, field, remedy = WRONG[case]
    for name, data in beside.items():
        (tmp_path / name).write_bytes(data)
    (tmp_path / "own.toml").write_bytes(text.encode())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.argv", ["crashworthy", "build", "own.toml"])
    with pytest.raises(SystemExit) as left:
        main()
    said = capsys.readouterr()
    assert left.value.code == 2
    assert said.out == ""
    (words,) = said.err.strip().splitlines()
    assert words.startswith(f"crashworthy: own.toml:{line}" + (f", {field}:" if field else ":"))
    assert remedy in words.partition(" -> ")[2]


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_sheet_comes_back_in_the_browser_as_it_was_typed(
    case: str, beside: dict[str, bytes], client: httpx.Client, shop: Workshop
) -> None:
    """400 with line, field and remedy above the text as it was typed; the old build still holds."""
    text, line, field, remedy = WRONG[case]
    before = shop.quad("dunlin").digest
    for name, data in beside.items():
        (shop.folder.root / "sheets" / name).write_bytes(data)
    answer = client.post("/quads/dunlin/sheet", data={"text": text})
    assert answer.status_code == 400
    page = html.unescape(answer.text).replace("\r\n", "\n")
    assert text.replace("\r\n", "\n").rstrip("\n") in page
    assert f"dunlin.toml line {line}" in page
    assert field in page
    assert remedy in page
    assert load(shop.folder.sheet("dunlin")).digest == before
