"""The page about the build sheet says what the program does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from crashworthy.build.assemble import assemble, parse
from crashworthy.build.reference import markdown, rows

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "build-sheet.md").read_text(encoding="utf-8")


def test_the_reference_on_the_page_is_the_programs_own() -> None:
    """Every field, default and range on the page is the one in force (tools/make_sheet_reference.py)."""
    assert markdown() in PAGE


def test_every_field_says_what_to_give() -> None:
    """No field is without words, and every section is there."""
    listed = list(rows())
    assert all(row.about for row in listed)
    assert {"arms", "camera.view", "battery.strap", "stack.boards[ ]", "screws.NAME"} <= {
        r.section for r in listed
    }


def test_the_pages_sheet_is_a_quad() -> None:
    """The short sheet on the page parses, and assembles once its drawing is there."""
    (text,) = re.findall(r"```toml\n(.*?)```", PAGE, flags=re.DOTALL)
    sheet = parse(text)
    assert sheet.name == "Tern"
    quad = assemble(
        parse(text.replace("bottom.dxf", "gannet/bottom.dxf").replace("t = 2.5", 'layer = "cut", t = 2.5')),
        ROOT / "examples",
    )
    assert {j.name for j in quad.joints} == {"arm", "motor"}


def test_the_pages_python_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """The Python lines on the page do what the page says."""
    (code,) = re.findall(r"```python\n(.*?)```", PAGE, flags=re.DOTALL)
    monkeypatch.chdir(ROOT)
    # The example reads drawings beside the sheet; the round trip in it names their folder.
    exec(compile(code, "page", "exec"), {})  # noqa: S102 - our own page
    assert "0.70" in capsys.readouterr().out
