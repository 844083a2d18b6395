"""Outside checks of the Weibull fit on two public data sets of an independent library."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from crashworthy.evidence.upkeep_rows import group

if TYPE_CHECKING:
    from crashworthy.upkeep.weibull import WeibullFit

__all__ = ["CHECKS"]

# Age, 1 when it ended then or 0 when it was still well, and how many such: "15-1:2" is two lives of 15.
_WALTONS: Final = (
    "6-1:1 7-0:1 7-1:1 9-1:3 13-1:3 15-1:2 17-1:1 19-1:3 22-1:4 26-1:5 29-1:5 32-1:1 33-1:3 36-1:2 "
    "38-1:2 41-1:7 43-1:1 45-0:1 45-1:9 47-1:1 48-1:8 51-1:3 53-1:7 54-1:2 56-1:18 58-1:4 60-0:1 "
    "60-1:15 61-0:2 61-1:9 62-1:2 63-1:9 66-1:3 68-0:1 68-1:9 69-0:1 69-1:12 75-1:1"
)

# After which and not after which age, and how many such: "1-13:5" is five in (1, 13], "2-2:1" one at 2.
_DIABETES: Final = (
    "0-26:1 1-4:1 1-10:1 1-11:2 1-13:5 1-15:6 1-16:4 1-17:1 1-18:1 1-19:1 1-20:3 1-21:1 1-22:1 1-23:1 "
    "1-24:1 1-25:2 1-29:1 2-2:1 2-16:1 2-18:2 2-19:1 2-20:1 2-24:2 2-25:2 2-28:1 2-38:1 3-3:2 3-11:1 "
    "3-12:1 3-15:1 3-21:1 3-27:1 3-28:1 3-29:1 3-32:1 4-4:2 4-16:1 4-18:1 4-20:1 4-21:2 4-22:1 4-23:1 "
    "4-25:1 4-26:1 4-27:2 4-32:1 4-35:1 5-5:4 5-18:1 5-19:2 5-20:1 5-21:1 5-22:1 5-23:1 6-6:5 6-12:1 "
    "6-16:2 6-17:1 6-19:2 6-20:1 6-21:1 6-23:1 6-24:1 6-30:1 7-7:8 7-16:1 7-18:1 7-21:1 7-22:1 7-23:1 "
    "7-24:1 7-42:1 8-8:8 8-16:1 8-18:2 8-20:1 8-22:1 8-26:1 8-32:1 9-9:23 9-15:1 9-20:1 9-21:1 9-23:2 "
    "9-24:1 10-10:11 10-15:1 10-16:1 10-19:1 10-20:1 10-22:3 10-23:1 10-29:1 11-11:20 11-18:1 11-20:1 "
    "11-22:1 11-28:1 11-29:1 12-12:36 12-19:1 12-23:1 12-40:1 13-13:38 13-23:1 13-25:1 14-14:48 14-20:1 "
    "14-23:2 15-15:50 15-35:1 16-16:37 16-22:1 16-24:1 16-37:1 17-17:46 18-18:32 18-25:1 19-19:43 "
    "19-37:1 20-20:35 20-28:1 21-21:24 22-22:20 22-32:1 23-23:17 24-24:13 24-27:1 25-25:12 25-26:1 "
    "26-26:18 27-27:7 28-28:3 29-29:4 30-30:6 31-31:4 32-32:2 33-33:3 34-34:6 37-37:1 37-39:1 38-38:1 "
    "40-40:3 41-41:1 44-44:1"
)


def _rows(text: str) -> list[tuple[float, float, float]]:
    rows = []
    for item in text.split():
        pair, _, many = item.partition(":")
        first, _, second = pair.partition("-")
        rows.append((float(first), float(second), float(many)))
    return rows


def _waltons() -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    rows = _rows(_WALTONS)
    ends = [age if ended else math.inf for age, ended, _ in rows]
    return fit_weibull([age for age, _, _ in rows], ends, count=[n for _, _, n in rows])


def _diabetes() -> WeibullFit:
    from crashworthy.upkeep.weibull import fit_weibull

    low, high, many = zip(*_rows(_DIABETES), strict=True)
    return fit_weibull(low, high, count=many)


_SOURCE: Final = "lifelines 0.30.3, WeibullFitter on its own data set; computed once, kept as numbers"

CHECKS: Final = (
    *group(
        "data set waltons of lifelines: 163 lives, 7 still well",
        _SOURCE,
        "computed",
        1e-5,
        ("V6.waltons_eta", "Characteristic life, waltons", "", lambda: (55.73310, _waltons().eta)),
        ("V6.waltons_k", "Weibull shape, waltons", "", lambda: (3.450505, _waltons().k)),
        ("V6.waltons_loglik", "Log likelihood, waltons", "", lambda: (-672.0622, _waltons().loglik)),
    ),
    *group(
        "data set diabetes of lifelines: 731 lives known to an interval or exactly",
        _SOURCE,
        "computed",
        1e-4,
        ("V6.diabetes_eta", "Characteristic life, diabetes", "", lambda: (18.85649, _diabetes().eta)),
        ("V6.diabetes_k", "Weibull shape, diabetes", "", lambda: (2.823493, _diabetes().k)),
        ("V6.diabetes_loglik", "Log likelihood, diabetes", "", lambda: (-2028.5661, _diabetes().loglik)),
    ),
)
