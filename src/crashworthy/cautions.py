"""Cautions shown where a person acts, each with its source and the day it was checked.

They are reminders, never a verdict "safe"; local rules and licensed practice come first. Faces show
``text`` beside the act; ``stale`` says that a text has not been checked for a year.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["CAUTIONS", "Caution"]

_CHECKED: Final = date(2026, 11, 25)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution.

    Attributes:
        act: what the person is about to do ("crashed-pack").
        text: what to mind, ready to show.
        source: where it comes from.
        access: read, recalled, or "common practice, no source".
        checked: the day the text was last held against its source.
    """

    act: str
    text: str
    source: str
    access: str
    checked: date = _CHECKED

    def stale(self, today: date) -> bool:
        """Whether it has gone unchecked for a year."""
        return today - self.checked > timedelta(days=365)


def _by_act(*cautions: Caution) -> Mapping[str, Caution]:
    return {c.act: c for c in cautions}


CAUTIONS: Final = _by_act(
    Caution(
        "crashed-pack",
        "After a hard crash put the pack outdoors on ground that cannot burn and watch it for at least 30 to "
        "60 minutes; fires hours later are reported. Stop using a pack that smells, changes colour or shape, "
        "leaks, hisses or gets hot; keep away from it and call the fire service if it burns. A damaged pack "
        "must not be charged, flown with or carried on an aircraft. Hand it in as your local rules say.",
        "fire-safety leaflets on lithium-ion batteries; UN Model Regulations SP 376 (damaged or defective "
        "cells); waiting time: common practice, no source",
        "read in part, recalled in part",
    ),
    Caution(
        "packs",
        "Charge packs between 0 and 40 °C, never unattended or on anything that burns; store them away from "
        "what burns, terminals covered. In passenger aircraft: cabin only, up to 100 Wh without asking; ask "
        "your carrier.",
        "fire-safety leaflets on lithium-ion batteries; carrier rules on lithium batteries",
        "read in part, recalled in part",
    ),
    Caution(
        "bench",
        "Props off before the pack goes in, for every powered check on the bench. Pack last in, first out. "
        "Let motors cool. Wear eye protection when you test chipped blades.",
        "common practice, no source",
        "common practice, no source",
    ),
    Caution(
        "carbon",
        "Cut and sand carbon wet or with extraction to a fine filter; wear a fine-dust mask (FFP3 or P100), "
        "goggles and gloves, and no compressed air. The dust conducts: keep it away from electronics and "
        "packs, and keep leads off bare carbon edges.",
        "occupational dust limits (inhalable and respirable dust), general; common practice, no source",
        "read in part, recalled in part",
    ),
    Caution(
        "flying",
        "Where, how high and over whom you may fly is for your local law to say, not for this tool. Keep "
        "people and animals clear of where you crash.",
        "local aviation law prevails",
        "common practice, no source",
    ),
    Caution(
        "loose",
        "A check that finds a screw loose or gone: look for the cause and for damage beside it before the "
        "next pack, and use the torque for the weaker of screw and thread.",
        "common practice, no source",
        "common practice, no source",
    ),
)
"""Every caution by its act."""
