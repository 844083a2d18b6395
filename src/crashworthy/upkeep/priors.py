"""What upkeep believes before it has seen the quad: every assumption, its unit and its origin.

The numbers stand in ``priors.toml`` beside this module; a file of the same shape may replace any of them.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from crashworthy.errors import CrashworthyError, NotFoundError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = [
    "ACCESS",
    "CLASSES",
    "Assumption",
    "BenchPrior",
    "BreakPrior",
    "DosePrior",
    "DueRules",
    "GroupPrior",
    "KitPrior",
    "Priors",
    "load_priors",
]

ACCESS: Final = ("assumption", "practice", "read", "recalled", "own")
"""Where a number comes from; "own" marks one that the pilot's file replaced without saying more."""

CLASSES: Final = ("arm", "motor", "other")
"""The upkeep classes of joint groups."""


@dataclass(frozen=True, slots=True)
class Assumption:
    """One editable number.

    Attributes:
        name: dotted place in the file ("loosening.arm.target_tau").
        value: in ``unit``.
        low, high: plausible range in ``unit``; equal to ``value`` when none is stated.
        unit: as text; "" when dimensionless.
        source: where it comes from, or "assumption".
        access: one of ``ACCESS``.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    access: str

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class GroupPrior:
    """Belief about the screws of one upkeep class.

    Attributes:
        upkeep: class name.
        target_tau: the interval of common practice, packs.
        p_any: share of checks at that interval that find at least one loose screw.
        screws: number of screws that ``p_any`` and ``check_minutes`` speak of.
        check_minutes: time to check them, min.
        sd_ln_eta: standard deviation of ln(characteristic life).
        k_median, sd_ln_k: log-normal prior of the Weibull shape.
        tau_min, tau_max: guards, packs.
        slam_makes_due: whether a slam makes the group due at once.
    """

    upkeep: str
    target_tau: float
    p_any: float
    screws: float
    check_minutes: float
    sd_ln_eta: float
    k_median: float
    sd_ln_k: float
    tau_min: float
    tau_max: float
    slam_makes_due: bool


@dataclass(frozen=True, slots=True)
class DueRules:
    """When a group is called due, and how fast an interval may grow; see ``priors.toml`` [due]."""

    flat_zone: float
    soon_share: float
    growth: float
    hold_packs: float
    hard_day: float


@dataclass(frozen=True, slots=True)
class DosePrior:
    """How a pack and a crash count as use of the screws; see ``priors.toml`` [dose]."""

    exponent: float
    low: float
    high: float
    bent_prop_ratio: float
    reference_minutes: float
    jump_scuff: float
    jump_hit: float
    jump_slam: float


@dataclass(frozen=True, slots=True)
class BreakPrior:
    """How far the simulation is trusted, and what crashes to expect; see ``priors.toml`` [breakage]."""

    prior_breaks: float
    frequent: float
    hazard_floor: float
    mix_scuff: float
    mix_hit: float
    mix_slam: float
    mix_worth: float
    crashes_per_pack: float
    crash_rate_worth: float


@dataclass(frozen=True, slots=True)
class KitPrior:
    """Numbers of the packing list; see ``priors.toml`` [kit], [price], [weight] and [tool].

    Attributes:
        missing_share: share of loose screws that need a new one.
        trips: simulated trips.
        enough: probability beyond which more of an item is not considered.
        price: coins by part kind.
        weight: how much running out counts, by part kind; 1 grounds the quad.
        tool: grams by tool.
    """

    missing_share: float
    trips: int
    enough: float
    price: Mapping[str, float]
    weight: Mapping[str, float]
    tool: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class BenchPrior:
    """What breaks and changes cost; see ``priors.toml`` [repair], [price], [pack_price] and [change].

    Attributes:
        repair: bench minutes to put right one broken part, by part kind.
        price: coins for one new part, the pack included, by part kind.
        change: coins and minutes of changes, by row.
        minute: what a bench minute weighs beside a coin, coin/min.
    """

    repair: Mapping[str, float]
    price: Mapping[str, float]
    change: Mapping[str, float]
    minute: float


@dataclass(frozen=True, slots=True)
class Priors:
    """Everything upkeep believes beforehand.

    Attributes:
        groups: one prior per upkeep class.
        due, dose, breakage, kit, bench: the other sections.
        assumptions: every number with its origin, in file order.
    """

    groups: tuple[GroupPrior, ...]
    due: DueRules
    dose: DosePrior
    breakage: BreakPrior
    kit: KitPrior
    bench: BenchPrior
    assumptions: tuple[Assumption, ...]

    def group(self, upkeep: str) -> GroupPrior:
        """Prior of one upkeep class.

        Raises:
            NotFoundError: there is no such class.
        """
        for prior in self.groups:
            if prior.upkeep == upkeep:
                return prior
        known = ", ".join(p.upkeep for p in self.groups)
        raise NotFoundError(Problem(f"no upkeep class is called {upkeep!r}", f"use one of: {known}"))


def _rows(tree: Mapping[str, object], path: str = "") -> dict[str, object]:
    """Flatten nested tables to dotted names; a table with "value" is a leaf."""
    found: dict[str, object] = {}
    for key, item in tree.items():
        name = f"{path}{key}"
        if isinstance(item, dict) and "value" not in item:
            found.update(_rows(item, f"{name}."))
        else:
            found[name] = item
    return found


def _number(name: str, item: object, file: str) -> float:
    if isinstance(item, bool) or not isinstance(item, int | float) or not math.isfinite(item):
        raise CrashworthyError(Problem(f"{item!r} is not a number", "write a number", file=file, field=name))
    return float(item)


def _assumption(name: str, item: object, file: str, default: Assumption | None) -> Assumption:
    if isinstance(item, dict):
        value = _number(name, item["value"], file)
        low, high = (_number(name, item.get(side, value), file) for side in ("low", "high"))
        texts = [
            str(item.get(key, getattr(default, key) if default else ""))
            for key in ("unit", "source", "access")
        ]
        if default is not None and "access" not in item:
            texts[1:] = [str(item.get("source", "own value")), "own"]
    else:
        value = low = high = _number(name, item, file)
        texts = [default.unit if default else "", "own value", "own"]
    unit, source, access = texts
    if access not in ACCESS or not source:
        raise CrashworthyError(
            Problem(
                f"access {access!r} or source {source!r} will not do",
                f"give a source, and access as one of: {', '.join(ACCESS)}",
                file=file,
                field=name,
            )
        )
    return Assumption(name, value, low, high, unit, source, access)


_FREE: Final = ("price.", "pack_price.", "weight.", "tool.", "repair.", "change.", "worth.")
_ZERO_OK: Final = ("jump_scuff", "jump_hit", "jump_slam", "slam_makes_due", "missing_share", "exponent")


def _complain(rows: Mapping[str, Assumption], file: str) -> None:
    """Refuse values no method below can work with."""
    problems: list[Problem] = []
    for name, row in rows.items():
        last = name.rsplit(".", 1)[-1]
        allowed_zero = last in _ZERO_OK or name.startswith(_FREE)
        if row.value < 0 or (row.value == 0 and not allowed_zero):
            problems.append(Problem(f"{row.value:g} is too small", "give a positive number", file, 0, name))
        if last in ("p_any", "enough", "frequent", "missing_share") and row.value >= 1:
            problems.append(Problem(f"{row.value:g} is no share below 1", "give 0 to 1", file, 0, name))
    for upkeep in CLASSES:
        low, target, high = (
            rows[f"loosening.{upkeep}.{x}"].value for x in ("tau_min", "target_tau", "tau_max")
        )
        if not low <= target <= high:
            problems.append(
                Problem(
                    f"target_tau {target:g} is outside tau_min {low:g} to tau_max {high:g}",
                    "widen the guards or move the target",
                    file,
                    0,
                    f"loosening.{upkeep}",
                )
            )
    problems += [
        Problem("a factor below 1 would shrink", "give 1 or more", file, 0, name)
        for name in ("due.growth", "dose.bent_prop_ratio")
        if rows[name].value < 1
    ]
    if problems:
        raise CrashworthyError(*problems)


def _build(rows: Mapping[str, Assumption]) -> Priors:
    def section(prefix: str) -> dict[str, float]:
        head = f"{prefix}."
        return {name[len(head) :]: row.value for name, row in rows.items() if name.startswith(head)}

    groups = []
    for upkeep in CLASSES:
        numbers = section(f"loosening.{upkeep}")
        slam = bool(numbers.pop("slam_makes_due"))
        groups.append(GroupPrior(upkeep=upkeep, slam_makes_due=slam, **numbers))
    kit = section("kit")
    return Priors(
        groups=tuple(groups),
        due=DueRules(**section("due")),
        dose=DosePrior(**section("dose")),
        breakage=BreakPrior(**section("breakage")),
        kit=KitPrior(
            missing_share=kit["missing_share"],
            trips=int(kit["trips"]),
            enough=kit["enough"],
            price=section("price"),
            weight=section("weight"),
            tool=section("tool"),
        ),
        bench=BenchPrior(
            repair=section("repair"),
            price={**section("price"), **section("pack_price")},
            change=section("change"),
            minute=section("worth")["minute"],
        ),
        assumptions=tuple(rows.values()),
    )


@lru_cache(maxsize=1)
def _default_rows() -> dict[str, Assumption]:
    text = (files(__package__) / "priors.toml").read_text(encoding="utf-8")
    return {n: _assumption(n, item, "priors.toml", None) for n, item in _rows(tomllib.loads(text)).items()}


@lru_cache(maxsize=1)
def _default() -> Priors:
    rows = _default_rows()
    _complain(rows, "priors.toml")
    return _build(rows)


def load_priors(path: Path | None = None) -> Priors:
    """Load the packaged priors, with the rows of ``path`` in their place.

    Args:
        path: TOML file with any of the rows of ``priors.toml``; a bare number may stand for a row.

    Returns:
        The priors; without ``path`` the same object each time.

    Raises:
        CrashworthyError: the file cannot be read, names an unknown row, or holds an impossible value.
    """
    if path is None:
        return _default()
    file = str(path)
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise CrashworthyError(Problem("cannot be read", "check the path", file=file)) from problem
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise CrashworthyError(Problem(f"is not TOML: {problem}", "mend the line", file=file)) from problem
    rows = dict(_default_rows())
    for name, item in _rows(tree).items():
        if name not in rows:
            raise CrashworthyError(
                Problem("is no row of the priors", "copy the name from priors.toml", file=file, field=name)
            )
        rows[name] = _assumption(name, item, file, rows[name])
    _complain(rows, file)
    return _build(rows)
