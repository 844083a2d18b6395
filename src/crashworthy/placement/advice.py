"""Where to put things: for each exposed part one sentence with numbers and the best move in millimetres.

A move is an edit of the sheet that the sheet's own rules accept. Each is tried on the build
itself: the part is
put there, its hit share and reach are worked out anew, and what it costs in view or link is stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.placement.antennas import Radio
from crashworthy.placement.camera import VIEW_LIMIT, CameraBench
from crashworthy.placement.hits import OBSTACLES, Approaches, HitShares, hit_shares
from crashworthy.placement.leads import PackFaces, Snag, pack_faces, snags
from crashworthy.placement.moves import MoveBench, camera_row, candidate_parts
from crashworthy.placement.ranking import FRAGILE, Exposure, rank
from crashworthy.placement.reach import reach
from crashworthy.placement.skin import skin_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.placement.antennas import Coverage
    from crashworthy.placement.camera import CameraRow
    from crashworthy.placement.moves import Move

__all__ = ["PLACE_DIRECTIONS", "TRIED", "Placement", "place"]

PLACE_DIRECTIONS: Final = 100
"""Directions of the overview: shares differ from those of 2000 by less than 0.01 (tested)."""

TRIED: Final = 5
"""How many exposed parts moves are tried for, the costliest first."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Everything the room says of one build.

    Attributes:
        name: of the quad.
        digest: of the build.
        exposures: fragile parts, the most worth hiding first.
        moves: best move of each exposed part that has one, in the same order.
        looked: parts for which moves were tried.
        camera: the lens as it is, or None.
        deepest: deepest recess, mm, within the view limit at the present tilt, or None.
        limit: that limit, share of the picture.
        antennas: coverage of each antenna.
        leads: snag exposure.
        pack: faces of the pack, or None.
        stopped, spinning: hit shares.
    """

    name: str
    digest: str
    exposures: tuple[Exposure, ...]
    moves: tuple[Move, ...]
    looked: tuple[str, ...]
    camera: CameraRow | None
    deepest: float | None
    limit: float
    antennas: tuple[Coverage, ...]
    leads: tuple[Snag, ...]
    pack: PackFaces | None
    stopped: tuple[HitShares, ...]
    spinning: tuple[HitShares, ...]

    def summary(self) -> str:
        """The answer in one sentence."""
        exposed = [e for e in self.exposures if e.exposed]
        if not exposed:
            return f"{self.name}: {len(self.exposures)} fragile parts, none of them exposed to a branch stub."
        worst = exposed[0]
        return (
            f"{self.name}: {len(exposed)} of {len(self.exposures)} fragile parts are exposed; the "
            f"{worst.label} costs "
            f"most, touched first in {100 * worst.share:.1f} % of hits."
        )

    def sentence(self, exposure: Exposure) -> str:
        """One sentence about one part."""
        r = exposure.reach
        ball = "even a wall" if not math.isfinite(r.ball) else f"a ball up to {2e3 * r.ball:.0f} mm thick"
        return (
            f"{exposure.label}: touched first in {100 * exposure.share:.2f} % of hits; {ball} can "
            f"touch it, a 40 mm "
            f"stub from {100 * r.open[1]:.1f} % of directions."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "name": self.name,
            "digest": self.digest,
            "summary": self.summary(),
            "exposures": [e.to_json() | {"sentence": self.sentence(e)} for e in self.exposures],
            "tried": list(self.looked),
            "moves": [m.to_json() for m in self.moves],
            "camera": None if self.camera is None else self.camera.to_json(),
            "deepest_recess_mm": None if self.deepest is None else round(self.deepest, 2),
            "view_limit_share": self.limit,
            "antennas": {a.name: a.to_json() for a in self.antennas},
            "leads": {s.name: s.to_json() for s in self.leads},
            "pack": None if self.pack is None else self.pack.to_json(),
            "stopped": [h.to_json() for h in self.stopped],
            "spinning": [h.to_json() for h in self.spinning],
        }


def place(
    quad: Quad,
    prices: Mapping[str, float],
    minutes: Mapping[str, float],
    *,
    limit: float = VIEW_LIMIT,
    approaches: Mapping[str, Approaches] | None = None,
    directions: int = PLACE_DIRECTIONS,
) -> Placement:
    """Look at a whole build.

    Args:
        quad: the build.
        prices: coins by kind of part.
        minutes: bench minutes by kind of part.
        limit: share of the picture the cage may cover.
        approaches: directions by kind of obstacle ("ball", "pole", "flat"); evenly from everywhere "
        "by default.
        directions: how many when they are even.
    """
    from crashworthy.placement.hits import FLAT_DIRECTIONS

    given = dict(approaches or {})

    def towards(kind: str) -> Approaches:
        if kind == "spike":
            kind = "ball"
        return given.get(kind) or Approaches.uniform(FLAT_DIRECTIONS if kind == "flat" else directions)

    still = skin_of(quad, "blades", pack_faces=True)
    turning = skin_of(quad, "disc")
    stopped = tuple(hit_shares(still, o, towards(o.kind)) for o in OBSTACLES)
    spinning = tuple(hit_shares(turning, o, towards(o.kind)) for o in OBSTACLES)
    names = [p.name for p in quad.parts if p.kind in FRAGILE and len(p.faces)]
    plain = skin_of(quad)
    reaches = reach(plain, names)
    exposures = rank(quad, spinning, stopped, reaches, prices, minutes)
    bench, camera, deepest = None, None, None
    if quad.sheet.camera is not None and quad.sheet.camera.view is not None:
        bench = CameraBench(quad)
        camera, deepest = camera_row(bench, limit)
    radio = Radio(quad)
    found = tuple(radio.coverage(name) for name in quad.sheet.antennas)
    worth = [e for e in exposures if e.exposed and candidate_parts(quad, e.part)]
    # A plug and its lead, and a lens and its camera, are one move.
    once = {candidate_parts(quad, e.part): e for e in reversed(worth)}
    first = [e for e in worth if once[candidate_parts(quad, e.part)] is e][:TRIED]
    trying = MoveBench(quad, given, limit, skin=plain, camera=bench, radio=radio)
    moves = tuple(m for e in first if (m := trying.best(e.part)) is not None)
    return Placement(
        quad.name,
        quad.digest,
        exposures,
        moves,
        tuple(e.part for e in first),
        camera,
        deepest,
        limit,
        found,
        snags(quad, (stopped[0], stopped[4])),
        pack_faces(quad, 60, (stopped[0], stopped[2], stopped[4])),
        stopped,
        spinning,
    )
