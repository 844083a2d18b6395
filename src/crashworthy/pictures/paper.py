"""Sheets for paper: one self-contained HTML file with print styles, and the same as PDF.

The HTML holds everything it shows: styles, drawings as SVG, pictures as data. A browser prints it as it
is. PDF of the same HTML needs the extra ``pdf`` (WeasyPrint). On paper the drawings' styles are written
into their elements, because not every renderer applies a page's style sheet inside SVG.
"""

from __future__ import annotations

import base64
import logging
import re
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.pictures import svg, words
from crashworthy.release import release

if TYPE_CHECKING:
    from pathlib import Path

    from jinja2 import Environment

__all__ = ["INSTALL", "data_url", "flat", "pdf", "sheet", "write"]

INSTALL: Final = 'python -m pip install "crashworthy[pdf]"'
"""Command that installs what PDF needs."""

_RULE: Final = re.compile(r"([^{}]+)\{([^{}]*)\}")
_ATTRIBUTES: Final = (
    "fill", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-linejoin", "opacity",
    "font-size", "font-weight", "font-family",
)  # fmt: skip


def data_url(png: bytes) -> str:
    """A PNG as an address that holds it."""
    return "data:image/png;base64," + base64.b64encode(png).decode()


@lru_cache(maxsize=1)
def _styles() -> tuple[tuple[frozenset[str], str, dict[str, str]], ...]:
    """The rules of ``plot.css`` for paper that name classes only: classes, element or "", declarations."""
    text = re.sub(r"/\*.*?\*/", "", svg.css(), flags=re.DOTALL)
    text = re.sub(r"@media[^{]*\{(?:[^{}]*\{[^{}]*\})*[^{}]*\}", "", text)
    variables = dict(re.findall(r"(--[\w-]+):\s*([^;]+);", text))
    found = []
    for selectors, body in _RULE.findall(text):
        values = dict(re.findall(r"(?<![\w-])([a-z-]+):\s*([^;]+);", body))
        values = {k: re.sub(r"var\((--[\w-]+)\)", lambda m: variables[m[1]], v) for k, v in values.items()}
        for selector in selectors.split(","):
            match = re.fullmatch(r"\s*svg\.plot\s+(\w*)((?:\.[\w-]+)+)\s*", selector)
            if match:
                found.append((frozenset(match[2].split(".")[1:]), match[1], values))
    return tuple(sorted(found, key=lambda rule: len(rule[0])))


def flat(picture: str) -> str:
    """A drawing made by this package with its styles for paper written into its elements."""
    from lxml import etree

    root = etree.fromstring(picture.encode())
    root.set("font-family", "system-ui, 'DejaVu Sans', sans-serif")
    root.set("color", "#1c2830")
    box = [float(x) for x in root.get("viewBox", "0 0 1 1").split()]
    root.set("width", svg.num(box[2]))
    root.set("height", svg.num(box[3]))
    for style in root.findall(".//{*}style"):
        style.getparent().remove(style)
    for element in root.iter("{*}*"):
        own = frozenset((element.get("class") or "").split())
        values: dict[str, str] = {}
        for classes, tag, declared in _styles():
            if classes <= own and tag in ("", etree.QName(element).localname):
                values |= declared
        if values.pop("paint-order", None):  # a halo would be painted over the letters where this is unknown
            values = {k: v for k, v in values.items() if not k.startswith("stroke")}
        for name in _ATTRIBUTES:
            if name in values and not (name == "fill" and element.get("fill")):
                element.set(name, values[name].removesuffix("px"))
        if element.get("fill") == "currentColor":
            element.set("fill", "#1c2830")
    return str(etree.tostring(root, encoding="unicode"))


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    from crashworthy.cautions import CAUTIONS

    made = Environment(
        loader=PackageLoader("crashworthy.pictures", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = files("crashworthy.pictures").joinpath("templates", "paper.css").read_text(encoding="utf-8")
    # Our own style sheet and drawings, never a person's text.
    made.globals.update(version=release(), cautions=CAUTIONS, style=Markup(style))  # noqa: S704
    made.filters.update(
        words.FILTERS,
        drawing=lambda picture: Markup(flat(picture)) if picture else "",  # noqa: S704
        data_url=data_url,
    )
    return made


def sheet(template: str, **context: Any) -> str:
    """A self-contained HTML page.

    Args:
        template: name of a file of ``pictures/templates``.
        **context: what it needs.
    """
    return _environment().get_template(template).render(**context)


def pdf(html: str) -> bytes:
    """The same page as PDF (ISO 32000), A4 unless its style says otherwise.

    Args:
        html: from ``sheet``.

    Raises:
        CrashworthyError: the extra ``pdf`` is not installed, or its system libraries are missing.
    """
    try:
        from weasyprint import HTML
        from weasyprint.urls import FatalURLFetchingError, URLFetcher
    except ImportError:
        raise CrashworthyError(
            Problem(
                "PDF needs an extra that is not installed", f"run: {INSTALL}; or print the HTML", field="pdf"
            )
        ) from None
    except OSError as problem:  # the text layout library of the system
        raise CrashworthyError(
            Problem(
                f"PDF needs the Pango library of the system ({problem})",
                "install Pango, or print the HTML from a browser",
                field="pdf",
            )
        ) from None
    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.ERROR)
    # What is not in the page itself is an error, not something to go and get.
    held = URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    try:
        made: bytes = HTML(string=html, url_fetcher=held).write_pdf()
    except FatalURLFetchingError as problem:
        raise CrashworthyError(
            Problem(f"the sheet refers to something outside itself ({problem})", field="pdf")
        ) from None
    return made


def write(html: str, path: Path) -> int:
    """Write a page to a file whose name ends in .html or .pdf; returns the bytes written.

    Raises:
        CrashworthyError: another ending, the extra is missing, or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".html", ".htm", ".pdf"):
        raise CrashworthyError(
            Problem(
                f"{path.name} is neither HTML nor PDF", "name a file that ends in .html or .pdf", field="file"
            )
        )
    data = pdf(html) if ending == ".pdf" else html.encode()
    try:
        path.write_bytes(data)
    except OSError as problem:
        raise CrashworthyError(
            Problem(f"cannot write {path} ({problem.strerror})", "choose another place", field="file")
        ) from None
    return len(data)
