"""The shape of an outside check, and the one place where all of them are gathered.

Each room has a module beside this one (``impact.py``, ``upkeep.py`` ...) with a tuple ``CHECKS``. Tests,
command and page all read ``all_checks()``, so a number is written once.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

__all__ = ["ROOMS", "Access", "Check", "Outcome", "all_checks", "run_check"]

Access = Literal["read", "recalled", "derived", "computed"]
"""How the expected value was obtained: source read, recalled from memory (unopened), derived by hand from
stated equations, or computed by an independent general library in the same run."""

ROOMS: Final = ("build", "strength", "impact", "placement", "vibration", "upkeep")


@dataclass(frozen=True, slots=True)
class Check:
    """One comparison with the outside.

    Attributes:
        id: stable, "room.topic.quantity" ("impact.V1.peak_force").
        title: what is compared, one line.
        inputs: the inputs in words with units.
        unit: of expected and got; "" when dimensionless.
        tolerance: allowed error.
        relative: whether the tolerance is relative to ``expected``.
        source: standard and clause, or author, year, equation, or the library and version rule.
        access: how the expected value was obtained.
        run: returns (expected, got).
    """

    id: str
    title: str
    inputs: str
    unit: str
    tolerance: float
    relative: bool
    source: str
    access: Access
    run: Callable[[], tuple[float, float]]

    @property
    def room(self) -> str:
        """The room it belongs to."""
        return self.id.split(".", 1)[0]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check gave.

    Attributes:
        check: the check.
        expected, got: in ``check.unit``.
        error: absolute or relative as the check says.
        passed: error within tolerance.
        problem: why it could not run, or "".
    """

    check: Check
    expected: float
    got: float
    error: float
    passed: bool
    problem: str = ""


def run_check(check: Check) -> Outcome:
    """Run one check; an exception inside it is a failure with its words, not a crash of the list."""
    try:
        expected, got = check.run()
    except Exception as problem:  # noqa: BLE001 - a check that breaks is a failed check, whatever broke it
        return Outcome(check, math.nan, math.nan, math.inf, passed=False, problem=repr(problem))
    error = abs(got - expected)
    if check.relative:
        error = error / abs(expected) if expected else math.inf
    return Outcome(check, float(expected), float(got), float(error), passed=bool(error <= check.tolerance))


def all_checks(room: str | None = None) -> tuple[Check, ...]:
    """Every check, in the order of the rooms; or those of one room.

    Raises:
        ValueError: two checks share an id, or the room is unknown.
    """
    if room is not None and room not in ROOMS:
        raise ValueError(f"no room {room!r}; rooms are {', '.join(ROOMS)}")
    checks: list[Check] = []
    for name in ROOMS if room is None else (room,):
        checks += importlib.import_module(f"crashworthy.evidence.{name}").CHECKS
    ids = [c.id for c in checks]
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise ValueError(f"checks share an id: {', '.join(twice)}")
    return tuple(checks)
