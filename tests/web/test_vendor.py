"""The vendored libraries are the files they are said to be, and nothing is fetched from elsewhere."""

from __future__ import annotations

import hashlib
import re
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

STATIC = Path(str(files("crashworthy.web"))) / "static"
VENDOR = STATIC / "vendor"
ROWS = tomllib.loads((VENDOR / "VENDOR.toml").read_text(encoding="utf-8"))["file"]


@pytest.mark.parametrize("row", ROWS, ids=[r["name"] for r in ROWS])
def test_every_vendored_file_has_its_checksum(row: dict[str, str]) -> None:
    """sha256 of the file is the one written down; package, version and licence are named."""
    assert hashlib.sha256((VENDOR / row["name"]).read_bytes()).hexdigest() == row["sha256"]
    assert row["package"]
    assert re.fullmatch(r"\d+\.\d+\.\d+", row["version"])
    assert row["licence"] in ("MIT", "0BSD", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Apache-2.0")


def test_what_looks_for_barriers_is_what_it_is_said_to_be() -> None:
    """The checker of the browser tests has its checksum, is listed, and is no part of the app."""
    folder = Path(__file__).parent / "vendor"
    rows = tomllib.loads((folder / "VENDOR.toml").read_text(encoding="utf-8"))["file"]
    for row in rows:
        assert hashlib.sha256((folder / row["name"]).read_bytes()).hexdigest() == row["sha256"], row["name"]
    assert {f.name for f in folder.iterdir()} == {r["name"] for r in rows} | {"VENDOR.toml", ".gitattributes"}
    assert "axe" not in {r["package"].split("-")[0] for r in ROWS}


def test_every_vendored_file_is_listed() -> None:
    """Nothing lies in the folder that the list does not name."""
    there = {f.name for f in VENDOR.iterdir()}
    assert there == {r["name"] for r in ROWS} | {"VENDOR.toml", "three-entry.js", ".gitattributes"}


def test_every_library_has_its_licence_text() -> None:
    """Each package has a licence file beside its code."""
    for package in {r["package"] for r in ROWS}:
        assert any(r["package"] == package and r["name"].endswith(".LICENSE") for r in ROWS), package


def test_own_scripts_and_templates_name_no_address() -> None:
    """No page, style or script of ours points to another host."""
    templates = Path(str(files("crashworthy.web"))) / "templates"
    own = [*(f for f in STATIC.glob("*.*") if f.suffix != ".png"), *templates.glob("*.html")]
    assert len(own) > 15
    for file in own:
        text = file.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"https?://|//[a-z]+\.[a-z]+/", text), file.name
