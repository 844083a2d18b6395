"""Numbers as people read them, by the same words on the screen and on paper."""

from __future__ import annotations

from crashworthy.pictures.words import (
    FILTERS,
    ago,
    chance,
    day,
    factor,
    few,
    grams,
    iso,
    millimetres,
    number,
    percent,
    plural,
    share_of,
    signed,
    typeset,
    upfirst,
    whole,
)

__all__ = [
    "FILTERS",
    "ago",
    "chance",
    "day",
    "factor",
    "few",
    "grams",
    "iso",
    "millimetres",
    "number",
    "percent",
    "plural",
    "share_of",
    "signed",
    "typeset",
    "upfirst",
    "whole",
]
