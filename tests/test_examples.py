"""The examples of the library are docs that run."""

from __future__ import annotations

import re
import runpy
import sys
from pathlib import Path

import pytest

EXAMPLES = sorted((Path(__file__).parents[1] / "examples" / "library").glob("*.py"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_each_example_runs_and_draws_what_it_says(path, monkeypatch, capsys, tmp_path):
    """An example runs as it stands, says something, and the pictures it names are there."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(sys, "argv", [str(path)])
    runpy.run_path(str(path), run_name="__main__")
    said = capsys.readouterr().out
    assert len(said.split()) > 20
    drawn = re.findall(r"^(/.*\.svg)$", said, re.MULTILINE)
    assert bool(drawn) == (" plot(" in path.read_text(encoding="utf-8").replace("(plot(", " plot("))
    for name in drawn:
        assert Path(name).read_text(encoding="utf-8").startswith("<svg")


def test_the_library_page_names_every_example(root):
    """Each example stands on the page of the library."""
    page = (root / "docs" / "library.md").read_text(encoding="utf-8")
    assert [p.name for p in EXAMPLES if p.name not in page] == []
