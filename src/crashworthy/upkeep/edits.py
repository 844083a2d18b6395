"""One change of a build: fields of its sheet and what to write there, with what it costs.

A change is plain data. Applying it is a pure function of the sheet; the sheet's own rules judge the result.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from crashworthy.build.sheet import Sheet
from crashworthy.errors import Problem, SheetError

__all__ = ["Change", "Edit", "own_change"]


@dataclass(frozen=True, slots=True)
class Edit:
    """One field of a sheet and its new value; None takes the field out."""

    path: tuple[str, ...]
    value: Any

    def __str__(self) -> str:
        """As it would stand in a sheet."""
        where = ".".join(self.path)
        return f"without {where}" if self.value is None else f"{where} = {_plain(self.value)}"


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a build.

    Attributes:
        key: short name.
        label: what to do, in words.
        edits: of the sheet.
        coins: price of what is bought (assumption).
        minutes: bench time to fit it (assumption).
        costs: how price and time come about.
        sheet: a whole sheet in place of edits, for a change of one's own.
        rides: parts whose soft mount it makes softer or stiffer, by name, or ``rides.STACK``.
    """

    key: str
    label: str
    edits: tuple[Edit, ...]
    coins: float
    minutes: float
    costs: str
    sheet: Sheet | None = None
    rides: tuple[str, ...] = ()

    def apply(self, sheet: Sheet) -> Sheet:
        """The changed sheet.

        Raises:
            SheetError: the sheet's rules refuse the result.
        """
        if self.sheet is not None:
            return self.sheet
        data = copy.deepcopy(sheet.model_dump(by_alias=True, exclude_unset=True))
        for edit in self.edits:
            here = data
            for step in edit.path[:-1]:
                here = here.setdefault(step, {})
            if edit.value is None:
                here.pop(edit.path[-1], None)
            else:
                here[edit.path[-1]] = edit.value
        try:
            return Sheet.model_validate(data)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            raise SheetError(
                Problem(f"{self.label}: {first['msg']}", "leave this change out", field=_dotted(first["loc"]))
            ) from None


def _dotted(place: tuple[int | str, ...]) -> str:
    return ".".join(str(p) for p in place)


def _plain(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_plain(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, (int, float)) else f'"{value}"'


def own_change(label: str, sheet: Sheet, coins: float = 0.0, minutes: float = 0.0) -> Change:
    """A change of one's own: a second sheet, with what it costs."""
    return Change("own", label, (), coins, minutes, "as given", sheet)
