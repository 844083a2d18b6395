"""The docs as pages of the app, so that they are at hand where there is no network.

The same Markdown files that the repository shows are read from the installed package (or beside the source
tree) and rendered when they are asked for; nothing in them is taken as HTML.
"""

from __future__ import annotations

import posixpath
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from crashworthy.errors import NotFoundError, Problem

if TYPE_CHECKING:
    from markdown_it import MarkdownIt

__all__ = ["Leaf", "folder", "leaf", "leaves", "picture"]

PREFIX: Final = "/handbook"

_NAME: Final = re.compile(r"(?:decisions/)?[A-Za-z0-9][A-Za-z0-9-]*")
_PICTURE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]*\.png")


@dataclass(frozen=True, slots=True)
class Leaf:
    """One page.

    Attributes:
        name: its file's name without the ending.
        title: its first heading.
        html: the rest, rendered.
    """

    name: str
    title: str
    html: str


@lru_cache(maxsize=1)
def folder() -> Path:
    """Where the docs are.

    Raises:
        NotFoundError: they were not installed.
    """
    here = Path(__file__).resolve().parent
    for place in (here / "docs", here.parents[2] / "docs"):
        if (place / "index.md").is_file():
            return place
    raise NotFoundError(Problem("the handbook was not installed", "install crashworthy again"))


def leaves() -> tuple[str, ...]:
    """Names of all pages, the index first."""
    names = sorted(p.relative_to(folder()).with_suffix("").as_posix() for p in folder().rglob("*.md"))
    return ("index", *(n for n in names if n != "index"))


def leaf(name: str) -> Leaf:
    """One page, rendered.

    Raises:
        NotFoundError: there is none of that name.
    """
    file = folder() / f"{name}.md"
    if not _NAME.fullmatch(name) or not file.is_file():
        raise NotFoundError(Problem(f"the handbook has no page {name[:60]!r}", "see its first page"))
    return _render(name, file.read_text(encoding="utf-8"))


def picture(name: str) -> Path:
    """File of a picture.

    Raises:
        NotFoundError: there is none of that name.
    """
    file = folder() / "pictures" / name
    if not _PICTURE.fullmatch(name) or not file.is_file():
        raise NotFoundError(Problem("the handbook has no such picture", "see its first page"))
    return file


@lru_cache(maxsize=1)
def _markdown() -> MarkdownIt:
    from markdown_it import MarkdownIt

    return MarkdownIt("commonmark", {"html": False}).enable("table")


def _render(name: str, text: str) -> Leaf:
    tokens = _markdown().parse(re.sub(r"<!--.*?-->\n?", "", text, flags=re.DOTALL))
    title = name
    if len(tokens) > 2 and tokens[0].type == "heading_open" and tokens[0].tag == "h1":
        title = tokens[1].content
        del tokens[:3]
    for block in tokens:
        if block.type == "heading_open":
            following = tokens[tokens.index(block) + 1].content
            block.attrSet("id", re.sub(r"[^a-z0-9]+", "-", following.lower()).strip("-"))
        for token in block.children or ():
            if token.type == "link_open":
                token.attrSet("href", _address(name, str(token.attrGet("href"))))
            elif token.type == "image":
                token.attrSet("src", _address(name, str(token.attrGet("src"))))
                token.attrSet("class", "shot")
                token.attrSet("loading", "lazy")
    html = _markdown().renderer.render(tokens, _markdown().options, {})
    wide = html.replace("<table>", '<div class="scroll"><table>').replace("</table>", "</table></div>")
    return Leaf(name, title, wide)


def _address(page: str, target: str) -> str:
    """Where a link of a page leads in the app; what lies outside the handbook stays as it is."""
    path, mark, fragment = target.partition("#")
    if "://" in target or not path:
        return target
    whole = posixpath.normpath(posixpath.join(posixpath.dirname(page), path))
    if whole.startswith(".."):  # the source tree: a reader of the app may not have it
        return f"{PREFIX}/index"
    if whole == "decisions":
        return f"{PREFIX}/index#decisions"
    return f"{PREFIX}/{whole.removesuffix('.md')}{mark}{fragment}"
