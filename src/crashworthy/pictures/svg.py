"""The few SVG elements the pictures need, escaped, as text.

Shapes carry classes and presentation attributes, never ``style``: a page may forbid inline styles. The look
lives in ``plot.css`` beside this module, which a page links and a picture that stands alone embeds.
"""

from __future__ import annotations

import hashlib
import math
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["HATCHES", "css", "el", "figure", "hatch_defs", "hatch_fill", "num", "path", "text", "uid"]

HATCHES = ("open", "sparse", "dense", "solid")
"""The four ways an area says its state, in rising urgency."""


def num(value: float) -> str:
    """A coordinate with at most two decimals and no trailing zeros.

    Raises:
        ValueError: ``value`` is not finite; a picture must not hide that.
    """
    if not math.isfinite(value):
        raise ValueError(f"a coordinate of a picture is {value}")
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def el(tag: str, *children: str, **attributes: str | float | None) -> str:
    """One element; ``class_`` becomes class, other underscores become hyphens, None is left out."""
    parts = [tag]
    for key, value in attributes.items():
        if value is None:
            continue
        name = "class" if key == "class_" else key if key == "viewBox" else key.replace("_", "-")
        parts.append(f"{name}={quoteattr(value if isinstance(value, str) else num(value))}")
    body = "".join(children)
    return f"<{' '.join(parts)}>{body}</{tag}>" if body else f"<{' '.join(parts)}/>"


def text(words: str, x: float, y: float, class_: str = "t", **attributes: str | float | None) -> str:
    """Words at a place."""
    return el("text", escape(words), x=x, y=y, class_=class_, **attributes)


def path(points: Iterable[tuple[float, float]], *, closed: bool = False) -> str:
    """Path data through points."""
    data = " ".join(f"{'L' if i else 'M'}{num(x)} {num(y)}" for i, (x, y) in enumerate(points))
    return f"{data} Z" if closed else data


def uid(title: str, *more: object) -> str:
    """A short id that depends only on what is drawn, so that equal inputs give equal bytes."""
    return "p" + hashlib.sha256(repr((title, more)).encode()).hexdigest()[:8]


def hatch_defs(key: str) -> str:
    """Pattern definitions of the sparse and dense hatch for the picture called ``key``."""

    def pattern(name: str, step: float) -> str:
        line = el("path", d=path([(0, 0), (0, step)]), class_="hatch")
        return el(
            "pattern",
            line,
            id=f"{key}-{name}",
            width=step,
            height=step,
            patternUnits="userSpaceOnUse",
            patternTransform="rotate(45)",
        )

    return el("defs", pattern("sparse", 7), pattern("dense", 3))


def hatch_fill(key: str, state: str) -> str:
    """The ``fill`` of an area in one of the ``HATCHES``.

    Raises:
        ValueError: there is no such hatch.
    """
    if state not in HATCHES:
        raise ValueError(f"hatches are {', '.join(HATCHES)}; not {state!r}")
    return {"open": "none", "solid": "currentColor"}.get(state, f"url(#{key}-{state})")


@lru_cache(maxsize=1)
def css() -> str:
    """The style sheet of the pictures."""
    return files(__package__).joinpath("plot.css").read_text(encoding="utf-8")


def figure(
    body: str,
    *,
    width: float,
    height: float,
    title: str,
    describe: str,
    key: str,
    class_: str = "plot",
    links: bool = False,
    alone: bool = False,
) -> str:
    """A whole picture with a title and a description for those who do not see it.

    Args:
        body: the elements.
        width: of the view box; text is 11 units high.
        height: of the view box.
        title: the name of the picture.
        describe: what it shows, with the numbers that matter.
        key: from ``uid``.
        class_: further class names.
        links: it holds links, so it is a group to screen readers and not one image.
        alone: embed the style sheet, so that the file can stand outside a page.
    """
    style = el("style", escape(css())) if alone else ""
    return el(
        "svg",
        el("title", escape(title), id=f"{key}-t"),
        el("desc", escape(describe), id=f"{key}-d"),
        style,
        body,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {num(width)} {num(height)}",
        role="group" if links else "img",
        class_=class_,
        aria_labelledby=f"{key}-t {key}-d",
    )
