"""The build sheet: what a pilot writes about one quad, validated.

``parse`` (in ``reading``) makes one from TOML text, ``to_toml`` (in ``writing``) writes it again.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints, model_validator

from crashworthy.build.equipment_rows import Antenna, Battery, Box, Camera, Import, Lead, Stack
from crashworthy.build.fields import Grams, Name, Row, problem
from crashworthy.build.frame_rows import Arms, Motors, Plate, Props, Screws, Standoffs

__all__ = ["ROWS_MAX", "Sheet", "slug_of"]

ROWS_MAX: Final = 200
"""More rows than this in one section is a mistake, not a quad."""


def slug_of(name: str) -> str:
    """A name as a file and address: "Gannet 5" -> "gannet-5"; "" when nothing of it can be kept."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")


class Sheet(Row):
    """One aircraft as its pilot describes it, in mm, g and degrees."""

    schema_: Literal[1] = Field(alias="schema", description="the version of this format: 1")
    name: Annotated[str, StringConstraints(min_length=1, max_length=60)] = Field(
        description="the quad's name, with at least one letter or digit"
    )
    weighed: Grams | None = Field(default=None, description="what the scales say ready to fly, with pack, g")
    arms: Arms = Field(description="the arms: at least { wheelbase }")
    motors: Motors = Field(default_factory=Motors, description="the motors")
    props: Props = Field(default_factory=Props, description="the propellers")
    plates: Annotated[dict[Name, Plate], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="the plates by name"
    )
    standoffs: Annotated[dict[Name, Standoffs], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="the standoffs by name"
    )
    stack: Stack | None = Field(default=None, description="the stack of boards: at least { z, boards }")
    camera: Camera | None = Field(default=None, description="the flight camera: at least { at }")
    antennas: Annotated[dict[Name, Antenna], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="the antennas by name"
    )
    battery: Battery | None = Field(default=None, description="the pack: at least { size, mass, at }")
    leads: Annotated[dict[Name, Lead], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="the leads by name"
    )
    boxes: Annotated[dict[Name, Box], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="boxes by name"
    )
    imports: Annotated[dict[Name, Import], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="model files by name"
    )
    screws: Annotated[dict[Name, Screws], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="the joint groups by name"
    )
    loose: Annotated[dict[Name, Grams], Field(max_length=ROWS_MAX)] = Field(
        default_factory=dict, description="masses without a shape, g, counted at the stack"
    )

    @model_validator(mode="after")
    def _has_a_slug(self) -> Sheet:
        if not slug_of(self.name):
            raise problem(
                f"the name {self.name!r} has no letter or digit to file it under",
                "give a name with at least one letter a-z or digit",
            )
        return self

    @property
    def slug(self) -> str:
        """The name as a file and address."""
        return slug_of(self.name)
