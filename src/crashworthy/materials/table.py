"""The one loader of the data tables: every number comes with unit, range, source and how it was obtained.

Tables are the TOML files beside this module. A row is ``[material.property]`` with ``value``, ``unit``,
``source`` and ``access``, and where known ``low`` and ``high``. Units are SI, written in the row.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from crashworthy.errors import NotFoundError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["ACCESS", "Datum", "datum", "materials", "rows", "value"]

ACCESS: Final = ("read", "recalled", "derived", "computed", "assumption")
"""How a value was obtained: source read, recalled from memory (unopened), derived from stated equations,
computed from other rows, or assumed without a source (editable, and shown as an assumption)."""


@dataclass(frozen=True, slots=True)
class Datum:
    """One number of a table.

    Attributes:
        material: row's material key ("carbon_plate").
        name: property ("density").
        value: in ``unit``.
        low, high: plausible range in ``unit``; equal to ``value`` when none is stated.
        unit: SI unit as text ("kg/m3"); "" when dimensionless.
        source: citation, or "assumption", or "common practice, no source".
        access: one of ``ACCESS``.
    """

    material: str
    name: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    access: str


def _datum(material: str, name: str, row: Mapping[str, object], file: str) -> Datum:
    lost = [k for k in ("value", "unit", "source", "access") if k not in row]
    extra = sorted(set(row) - {"value", "low", "high", "unit", "source", "access"})
    if lost or extra or row["access"] not in ACCESS or not str(row["source"]).strip():
        raise ValueError(
            f"{file}: [{material}.{name}] lacks {lost} or has odd {extra} or a bad access or source"
        )
    number = float(row["value"])  # type: ignore[arg-type] # TOML numbers; anything else is a packaging error
    low, high = float(row.get("low", number)), float(row.get("high", number))  # type: ignore[arg-type] # as above
    if not low <= number <= high:
        raise ValueError(f"{file}: [{material}.{name}] is outside its own range")
    return Datum(material, name, number, low, high, str(row["unit"]), str(row["source"]), str(row["access"]))


@lru_cache(maxsize=1)
def rows() -> Mapping[tuple[str, str], Datum]:
    """Every datum by (material, property).

    Raises:
        ValueError: a packaged table is malformed or repeats a row.
    """
    found: dict[tuple[str, str], Datum] = {}
    tables = sorted(
        (f for f in files(__package__).iterdir() if f.name.endswith(".toml")), key=lambda f: f.name
    )
    for file in tables:
        for material, properties in tomllib.loads(file.read_text(encoding="utf-8")).items():
            for name, row in properties.items():
                if (material, name) in found:
                    raise ValueError(f"{file.name}: [{material}.{name}] stands in another table too")
                found[material, name] = _datum(material, name, row, file.name)
    return MappingProxyType(found)


def materials() -> tuple[str, ...]:
    """Every material key, sorted."""
    return tuple(sorted({material for material, _ in rows()}))


def datum(material: str, name: str) -> Datum:
    """Look up one number with its origin.

    Raises:
        NotFoundError: there is no such material or property.
    """
    try:
        return rows()[material, name]
    except KeyError:
        has = sorted(n for m, n in rows() if m == material)
        hint = f"{material} has: {', '.join(has)}" if has else f"materials are: {', '.join(materials())}"
        raise NotFoundError(Problem(f"no {name!r} is tabled for {material!r}", hint)) from None


def value(material: str, name: str) -> float:
    """Look up one number, SI.

    Raises:
        NotFoundError: there is no such material or property.
    """
    return datum(material, name).value
