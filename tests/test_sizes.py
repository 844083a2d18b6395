"""A module holds one idea: none grows past 400 lines unless its first line says why it must."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MOST = 400
KINDS = ("*.py", "*.js", "*.css", "*.html")
WHERE = ("src", "tests", "tools", "bench", "examples", "docs")


def modules():
    """Every file of code that is ours: what others wrote lies in folders called ``vendor``."""
    for folder in WHERE:
        for kind in KINDS:
            for path in sorted((ROOT / folder).rglob(kind)):
                if "vendor" not in path.parts and "__pycache__" not in path.parts:
                    yield path


def too_long(text: str) -> bool:
    """Whether a text is over the limit and does not begin by saying why."""
    lines = text.splitlines()
    return len(lines) > MOST and "long because" not in lines[0].lower()


def test_no_module_is_too_long():
    """Every module is short, or says in its first line "long because ..."."""
    found = list(modules())
    assert len(found) > 500
    long = {
        str(p.relative_to(ROOT)): len(p.read_text(encoding="utf-8").splitlines())
        for p in found
        if too_long(p.read_text(encoding="utf-8"))
    }
    assert long == {}


@pytest.mark.parametrize(
    ("first", "lines", "wrong"),
    [
        ('"""One."""', MOST, False),
        ('"""One."""', MOST + 1, True),
        ('"""One, long because it is."""', 900, False),
    ],
)
def test_the_rule_can_fail(first, lines, wrong):
    """The rule sees one line too many, and a reason."""
    assert too_long("\n".join([first, *("x" for _ in range(lines - 1))])) is wrong
