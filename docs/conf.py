"""How the static site is made of these pages: `python -m uv run --group docs sphinx-build -W docs site`."""

from __future__ import annotations

import re
import runpy
from importlib.metadata import version as installed
from pathlib import Path
from typing import Any

project = "Crashworthy"
author = "the authors of Crashworthy"
release = version = installed("crashworthy")
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
source_suffix = {".md": "markdown", ".rst": "restructuredtext"}
root_doc = "index"
exclude_patterns = ["site"]
html_theme = "alabaster"
html_theme_options = {"description": "Crash it in simulation, fly it, journal it, keep it tight."}
html_show_sourcelink = False
myst_heading_anchors = 3
# GitHub links to files outside the docs have no place on the site.
suppress_warnings = ["myst.xref_missing", "toc.not_included", "ref.python"]
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
napoleon_google_docstring = True
napoleon_use_ivar = True  # an attribute told in the docstring and beside its field is one thing


def plain(_app: Any, _what: str, _name: str, _thing: Any, _options: Any, lines: list[str]) -> None:
    """Take bars and trailing underscores as what they are: absolute values and names, not markup."""
    lines[:] = [re.sub(r"(?<=\w)_(?=\W|$)", r"\\_", line.replace("|", r"\|")) for line in lines]


def list_names(_app: Any, _config: Any) -> None:
    """Write the pages of the library reference anew, so that no public name is left out."""
    runpy.run_path(str(Path(__file__).parents[1] / "tools" / "reference_page.py"))["main"]()


def setup(app: Any) -> None:
    """Hook both in."""
    app.connect("config-inited", list_names)
    app.connect("autodoc-process-docstring", plain)
