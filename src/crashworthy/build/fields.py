"""The kinds of value a build sheet holds, with the ranges that a 3- to 15-inch quad can need.

Files speak mm, g and degrees. Every field of the sheet carries a description that names its unit; the
description is also the remedy a pilot is given, so it reads on from "give ...".
"""

from __future__ import annotations

import difflib
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

__all__ = [
    "Coordinate",
    "Count",
    "Degrees",
    "FileName",
    "Grams",
    "Length",
    "Material",
    "Name",
    "Point2",
    "Point3",
    "Row",
    "problem",
]


class Row(BaseModel):
    """One row: a misspelt key is an error, numbers are not guessed from text, nothing changes."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, populate_by_name=True
    )


def problem(what: str, remedy: str) -> PydanticCustomError:
    """A mistake that no single type or range can express, with its remedy."""
    # Braces would be read as fields of a template.
    context: dict[str, Any] = {"what": what, "remedy": remedy}
    return PydanticCustomError("sheet", "{what}", context)


def _known_material(key: str) -> str:
    from crashworthy.materials import table

    if (key, "density") not in table.rows():
        known = sorted(m for m, prop in table.rows() if prop == "density")
        near = [k for k in known if k.startswith(key.lower()[:4])] or difflib.get_close_matches(key, known, 1)
        hint = f"did you mean {near[0]!r}? " if near and key else ""
        raise problem(f"there is no material {key!r}", f"{hint}use one of: {', '.join(known)}")
    return key


def _inside_folder(name: str) -> str:
    parts = name.replace("\\", "/").split("/")
    if name.startswith(("/", "\\")) or ".." in parts or ":" in name or "\0" in name or not name.strip():
        raise problem(
            f"{name!r} is not a file beside the sheet",
            "put the file in the sheet's folder (or one below it) and give its name from there",
        )
    return name


Length = Annotated[float, Field(ge=0.1, le=2000)]
"""A size, mm; thinner than 0.1 mm is a slip."""

Coordinate = Annotated[float, Field(ge=-2000, le=2000)]
"""A place along one axis, mm."""

Grams = Annotated[float, Field(ge=1e-3, le=20000)]
"""A mass, g."""

Degrees = Annotated[float, Field(ge=-360, le=360)]
"""An angle, degrees."""

Count = Annotated[int, Field(ge=1, le=64)]
"""How many."""

Point2 = tuple[Coordinate, Coordinate]
"""A place in a plane, mm."""

Point3 = tuple[Coordinate, Coordinate, Coordinate]
"""A place in the quad's frame, mm."""

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][_a-z0-9]{0,39}$")]
"""The name of a part or joint group: small letters, digits and _, starting with a letter."""

Material = Annotated[str, AfterValidator(_known_material)]
"""A key of the density table."""

FileName = Annotated[str, StringConstraints(max_length=200), AfterValidator(_inside_folder)]
"""A file in the sheet's folder or below it."""
