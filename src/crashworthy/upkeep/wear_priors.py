"""What is believed about wear beforehand: ``wear.toml``, with a pilot's own rows in its place."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.upkeep.priors import Assumption

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["WearPriors", "load_wear"]


@dataclass(frozen=True, slots=True)
class WearPriors:
    """Every number of ``wear.toml``.

    Attributes:
        rows: by dotted name ("damage.slope").
    """

    rows: Mapping[str, Assumption]

    def __getitem__(self, name: str) -> float:
        """The value of a row.

        Raises:
            KeyError: there is none of that name.
        """
        return self.rows[name].value

    def packs(self, kind: str) -> float:
        """Packs after which a part of a kind is watched; inf when it does not tire by use."""
        row = self.rows.get(f"packs.{kind}")
        return row.value if row is not None else math.inf


def _flat(tree: Mapping[str, Any]) -> dict[str, Any]:
    return {
        f"{a}.{b}": row for a, group in tree.items() if isinstance(group, dict) for b, row in group.items()
    }


@lru_cache(maxsize=1)
def _default() -> Mapping[str, Assumption]:
    tree = tomllib.loads((files(__package__) / "wear.toml").read_text(encoding="utf-8"))
    return MappingProxyType(
        {
            name: Assumption(
                name,
                float(row["value"]),
                float(row.get("low", row["value"])),
                float(row.get("high", row["value"])),
                row["unit"],
                row["source"],
                row["access"],
            )
            for name, row in _flat(tree).items()
        }
    )


def load_wear(path: Path | None = None) -> WearPriors:
    """Load the packaged numbers, with those of ``path`` in their place.

    Args:
        path: TOML file with any rows of ``wear.toml``, each a bare number.

    Raises:
        CrashworthyError: the file cannot be read, names an unknown row, or holds no number above 0.
    """
    if path is None:
        return WearPriors(_default())
    file, rows = str(path), dict(_default())
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise CrashworthyError(Problem(f"cannot be read: {problem}", "mend or remove it", file)) from None
    for name, given in _flat(tree).items():
        value = given.get("value") if isinstance(given, dict) else given
        number = float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
        if name not in rows or not 0.0 < number < math.inf:
            raise CrashworthyError(
                Problem(
                    f"{name} = {value!r} cannot be used",
                    "copy the name from wear.toml and give a number above 0",
                    file,
                    field=name,
                )
            )
        old = rows[name]
        rows[name] = Assumption(name, number, number, number, old.unit, "own value", "own")
    return WearPriors(MappingProxyType(rows))
