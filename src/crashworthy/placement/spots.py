"""Candidate places of an antenna, scored on both axes: does it survive there, and does it hear there?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.placement.antennas import Radio, moved
from crashworthy.placement.budget import Diversity, Link, LinkSettings, diversity, link_of
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.skin import shapes_of, skin_of
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.build.equipment_rows import Antenna
    from crashworthy.build.quad import Quad

__all__ = ["Spot", "best_pair", "clash", "pairs", "positions", "spots"]

DIRECTIONS: Final = 60
"""Directions by which places are compared; the same for all."""

ROOM: Final = 1.0
"""Further volume, mm³, that a part may share with others at a new place: rounding of boxes."""


def positions(quad: Quad, name: str) -> dict[str, Antenna]:
    """Candidate places of an antenna from the build's own sizes: where it is, top, rear, side, arm, inside.

    Raises:
        KeyError: the sheet has no such antenna.
    """
    row = quad.sheet.antennas[name]
    frame = np.concatenate(
        [p.vertices for p in quad.parts if p.kind in ("plate", "standoff") and len(p.vertices)]
        or [np.zeros((1, 3))]
    )
    low, high = frame.min(axis=0) / MM, frame.max(axis=0) / MM
    arm = quad.arms[2]
    tip = (arm.root + 0.5 * (arm.tip - arm.root)) / MM
    middle = float((low[2] + high[2]) / 2)
    pack = next((p for p in quad.parts if p.kind == "battery"), None)
    ahead = float(high[0] * 0.6) if pack is None else float(pack.vertices[:, 0].max() / MM) + 6.0
    places: Sequence[tuple[str, tuple[float, float, float], tuple[float, float, float]]] = (
        ("top", (ahead, 0.0, float(high[2])), (0.0, 0.0, 1.0)),
        ("rear, upright", (float(low[0]), row.at[1], float(high[2])), (-0.3, 0.0, 1.0)),
        ("rear, flat", (float(low[0]), row.at[1], middle), (-1.0, 0.0, 0.2)),
        ("side", (float(low[0] * 0.5), float(high[1]), middle), (0.0, 1.0, 0.3)),
        (
            "arm",
            (float(tip[0]), float(tip[1]), float(tip[2] + 4.0)),
            (float(arm.axis[0]), float(arm.axis[1]), 0.0),
        ),
        ("inside", (float(low[0] * 0.6), 0.0, middle), (0.0, 1.0, 0.0)),
    )
    return {"as it is": row} | {
        label: row.model_copy(update={"at": at, "dir": to}) for label, at, to in places
    }


def clash(quad: Quad, part: str) -> float:
    """Volume, mm³, that a part and its fellows share with other solid parts."""
    from crashworthy.build.overlaps import manifold
    from crashworthy.build.solids import Mesh

    own = {"lens": ("lens", "camera"), "camera": ("lens", "camera")}.get(part, (part,))
    soft = ("screw", "strap", "lead", "loose", "prop")
    total = 0.0
    for name in own:
        it = quad.part(name)
        if it.kind in soft:
            continue
        low, high = it.vertices.min(axis=0), it.vertices.max(axis=0)
        solid = None
        for other in quad.parts:
            if other.name in own or other.kind in soft or not len(other.faces):
                continue
            if (other.vertices.min(axis=0) > high).any() or (other.vertices.max(axis=0) < low).any():
                continue
            solid = solid or manifold(Mesh(it.vertices, it.faces))
            total += float((solid ^ manifold(Mesh(other.vertices, other.faces))).volume())
    return total


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """One place of an antenna.

    Attributes:
        words: "as it is", "top", "rear, upright", "rear, flat", "side", "arm" or "inside".
        row: the antenna there.
        share: share of first touches that land on it, mean over spike and stub, props stopped.
        link: its link there.
        fits: whether it stands inside nothing.
        best: whether no other place that fits is both touched less and heard farther.
    """

    words: str
    row: Antenna
    share: float
    link: Link
    fits: bool
    best: bool = False

    def summary(self) -> str:
        """One sentence."""
        verdict = (
            "no room there"
            if not self.fits
            else "no other place beats it on both"
            if self.best
            else "another place beats it on both"
        )
        return (
            f"{self.words}: touched first in {100 * self.share:.2f} % of hits, {self.link.tenth:.0f} m "
            "in nine "
            f"directions of ten; {verdict}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "place": self.words,
            "at_mm": [round(v, 1) for v in self.row.at],
            "dir": list(self.row.dir),
            "share": round(self.share, 6),
            "range_nine_in_ten_m": round(self.link.tenth, 1),
            "margin_tenth_dB": round(self.link.margin, 2),
            "fits": self.fits,
            "non_dominated": self.best,
            "summary": self.summary(),
        }


def spots(
    quad: Quad,
    name: str,
    settings: LinkSettings | None = None,
    approaches: Mapping[str, Approaches] | None = None,
) -> tuple[Spot, ...]:
    """Score every candidate place of an antenna.

    Args:
        quad: the build.
        name: of the antenna.
        settings: of its link; what is usual at its frequency by default.
        approaches: directions of obstacles; evenly from everywhere by default.

    Raises:
        SheetError: the sheet does not say its frequency.
        KeyError: the sheet has no such antenna.
    """
    radio = Radio(quad, settings.losses if settings else None)
    skin, before = skin_of(quad), clash(quad, name)
    few = (approaches or {}).get("ball") or Approaches.uniform(DIRECTIONS)
    found = []
    for words, row in positions(quad, name).items():
        other = moved(quad, name, row)
        there = skin.swapped([s for s in shapes_of(other) if s[0] == name])
        share = sum(hit_shares(there, OBSTACLES[i], few)[name] for i in (0, 2)) / 2
        fits = clash(other, name) <= before + ROOM
        found.append(Spot(words, row, share, link_of(radio, name, row, settings), fits))
    fitting = [s for s in found if s.fits]
    return tuple(replace(s, best=s.fits and not any(_beats(o, s) for o in fitting)) for s in found)


def _beats(a: Spot, b: Spot) -> bool:
    """Whether one place is at least as good on both axes and better on one."""
    return (
        a.share <= b.share
        and a.link.tenth >= b.link.tenth
        and (a.share < b.share or a.link.tenth > b.link.tenth)
    )


def pairs(
    quad: Quad,
    name: str,
    settings: LinkSettings | None = None,
    approaches: Mapping[str, Approaches] | None = None,
) -> tuple[Diversity, ...]:
    """One antenna with every other of the sheet on its frequency (within 2 %): one receiver against two.

    Args:
        quad: the build.
        name: of the antenna.
        settings: of the links; what is usual at the frequency by default.
        approaches: directions of obstacles; evenly from everywhere by default.

    Raises:
        SheetError: the sheet does not say the antenna's frequency.
        KeyError: the sheet has no such antenna.
    """
    radio = Radio(quad, settings.losses if settings else None)
    mine = link_of(radio, name, None, settings)
    others = [
        n
        for n, row in quad.sheet.antennas.items()
        if n != name and row.mhz is not None and abs(row.mhz / mine.mhz - 1) < 0.02
    ]
    if not others:
        return ()
    few = (approaches or {}).get("ball") or Approaches.uniform(DIRECTIONS)
    skin = skin_of(quad)
    hits = [hit_shares(skin, OBSTACLES[i], few) for i in (0, 2)]
    share = {n: sum(h[n] for h in hits) / 2 for n in (name, *others)}
    return tuple(
        diversity(mine, link_of(radio, n, None, settings), shares=(share[name], share[n])) for n in others
    )


def best_pair(found: Sequence[Spot]) -> Diversity | None:
    """A second receiver at the candidate place that helps most; None when nowhere else is room.

    Args:
        found: of ``spots``, the first as it is.
    """
    now = found[0]
    options = [
        diversity(
            now.link,
            replace(s.link, name=f"a second at the place '{s.words}'"),
            proposed=True,
            shares=(now.share, s.share),
        )
        for s in found[1:]
        if s.fits
    ]
    return max(options, key=lambda d: d.both, default=None)
