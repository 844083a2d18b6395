"""The demo crew and what is true of its quads. All of it is invented: no person, place or aircraft exists.

The truth stands here so that tests can hold what upkeep concludes against it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from crashworthy.upkeep.state import Screws

__all__ = ["CREW", "DUNLIN", "FLEET", "GANNET", "INVENTED", "PILOTS", "SPOTS", "DemoQuad", "Pilot", "Spot"]

CREW: Final = "Millrace"

INVENTED: Final = (
    "INVENTED: the Millrace crew, its pilots, quads, spots and everything in this journal come from a seeded "
    "simulation. Nobody flew this."
)
"""The note that opens every demo journal."""


@dataclass(frozen=True, slots=True)
class Pilot:
    """An invented pilot.

    Attributes:
        device: the phone that enters the events.
        crashes_per_pack: mean.
        notices: chance to see a broken part at the spot and not only on the bench.
        packs: share of a day's packs that this pilot flies.
        lighter: chance to call a slam a hit, and a hit a scuff.
    """

    device: str
    crashes_per_pack: float
    notices: float
    packs: float
    lighter: float = 0.0


PILOTS: Final = (
    Pilot("demo-pilot-a", 0.7, 0.9, 0.45),
    Pilot("demo-pilot-b", 0.8, 0.8, 0.35, 0.6),
    Pilot("demo-pilot-c", 1.1, 0.6, 0.20),
)


@dataclass(frozen=True, slots=True)
class Spot:
    """An invented place.

    Attributes:
        name: for notes.
        obstacles: what one hits there.
        mix: chance of scuff, hit and slam in a crash there.
    """

    name: str
    obstacles: tuple[str, ...]
    mix: tuple[float, float, float]


SPOTS: Final = (
    Spot("old quarry", ("rock ledge", "gravel", "birch", "steel cable"), (0.58, 0.32, 0.10)),
    Spot("disused mill", ("brick wall", "steel beam", "concrete floor", "window frame"), (0.50, 0.37, 0.13)),
)


@dataclass(frozen=True, slots=True)
class DemoQuad:
    """One invented quad and its truth.

    Attributes:
        slug, name: as in the build sheet.
        groups: joint groups as the sheet has them.
        loosening: by group, characteristic life eta in packs of dose and Weibull shape k of each screw.
        breaks: by kind of part, chance to break in a scuff, a hit and a slam that strikes its corner
            (arm, motor, prop) or the quad at all (anything else).
        habit: by upkeep class, packs between scheduled checks.
    """

    slug: str
    name: str
    groups: dict[str, Screws]
    loosening: dict[str, tuple[float, float]]
    breaks: dict[str, tuple[float, float, float]]
    habit: dict[str, int]


GANNET: Final = DemoQuad(
    "gannet",
    "Gannet",
    {
        "arm": Screws("arm", 8),
        "motor": Screws("motor", 16),
        "standoff": Screws("other", 16),
        "stack": Screws("other", 4),
        "camera": Screws("other", 2),
    },
    {
        "arm": (70.0, 1.4),
        "motor": (190.0, 1.3),
        "standoff": (800.0, 1.2),
        "stack": (600.0, 1.3),
        "camera": (260.0, 1.4),
    },
    {
        "prop": (0.06, 0.30, 0.60),
        "arm": (0.0, 0.004, 0.05),
        "motor": (0.0, 0.002, 0.03),
        "video": (0.0, 0.008, 0.05),
    },
    {"arm": 4, "motor": 6, "other": 12},
)
"""Heavier, thread lock on arm and motor screws: they hold longer."""

DUNLIN: Final = DemoQuad(
    "dunlin",
    "Dunlin",
    {
        "arm": Screws("arm", 8),
        "motor": Screws("motor", 16),
        "front": Screws("other", 4),
        "rear": Screws("other", 4),
        "stack": Screws("other", 4),
    },
    {
        "arm": (38.0, 1.5),
        "motor": (110.0, 1.4),
        "front": (250.0, 1.2),
        "rear": (250.0, 1.2),
        "stack": (500.0, 1.3),
    },
    {
        "prop": (0.08, 0.35, 0.65),
        "arm": (0.0, 0.012, 0.10),
        "motor": (0.0, 0.003, 0.04),
        "video": (0.002, 0.03, 0.15),
    },
    {"arm": 3, "motor": 5, "other": 10},
)
"""Lighter and more exposed, no thread lock: screws work loose sooner, the antenna stands in the way."""

FLEET: Final = (GANNET, DUNLIN)
