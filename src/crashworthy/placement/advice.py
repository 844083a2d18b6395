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

TRIED: Final = 6
"""How many exposed parts moves are tried for, the costliest first."""


BROKEN_ALL_THE_SAME: Final = 0.005
"""Chance per crash from which on a part is not called hidden well enough (assumption)."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Everything the room says of one build.

    Attributes:
        name: of the quad.
        digest: of the build.
        exposures: fragile parts, the most worth hiding first.
        moves: best move of each exposed part that has one, in the same order.
        looked: parts for which moves were tried.
        fixed: parts that the sheet cannot move alone.
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
    fixed: tuple[str, ...]
    camera: CameraRow | None
    deepest: float | None
    limit: float
    antennas: tuple[Coverage, ...]
    leads: tuple[Snag, ...]
    pack: PackFaces | None
    stopped: tuple[HitShares, ...]
    spinning: tuple[HitShares, ...]

    def summary(self) -> str:
        """The answer: what to hide first, and the move that saves most."""
        exposed = [e for e in self.exposures if e.exposed]
        if not exposed:
            return f"None of the {len(self.exposures)} fragile parts is exposed to a branch stub."
        worst, best = exposed[0], self.best()
        loss = "" if worst.breaks is None else f", {_broken(worst)}"
        move = "" if best is None else f" Best move: {best.gain()}."
        return (
            f"Of what is exposed the {worst.label} costs most: touched first in {_percent(worst.share)} of "
            f"hits{loss}.{move}"
        )

    @property
    def crashed(self) -> bool:
        """Whether the order is that of a crash test, and not of exposure x consequence."""
        return any(e.breaks is not None for e in self.exposures)

    def order(self) -> str:
        """How many parts are exposed and what they are ordered by, in words."""
        exposed = sum(e.exposed for e in self.exposures)
        head = f"{exposed} of {len(self.exposures)} fragile parts are exposed."
        if self.crashed:
            return (
                f"{head} Order: what breaks by touch cost in 100 crashes, bench minutes counted in; breaks "
                "are those of the newest crash test, with the strengths your journal taught."
            )
        return (
            f"{head} Order: share of hits × what one break costs, bench minutes counted in × how weak the "
            "part is; a crash test of this build puts its breaks in their place."
        )

    def best(self) -> Move | None:
        """The move that saves most: the part's score times the share of touches it takes away."""
        score = {e.part: e.score for e in self.exposures}

        def saves(move: Move) -> float:
            return score[move.part] * (1.0 - move.after / move.before) if move.before > 0 else 0.0

        return max(self.moves, key=saves, default=None)

    def sentence(self, exposure: Exposure) -> str:
        """One sentence about one part."""
        loss = "" if exposure.breaks is None else f"; {_broken(exposure)}"
        return (
            f"{exposure.label}: touched first in {_percent(exposure.share)} of hits; "
            f"{self.touching(exposure)}{loss}."
        )

    def touching(self, exposure: Exposure) -> str:
        """What can touch a part, in words."""
        r = exposure.reach
        ball = "even a wall" if not math.isfinite(r.ball) else f"a ball up to {2e3 * r.ball:.0f} mm thick"
        stub = f", a 40 mm stub from {_percent(r.open[1])} of directions" if r.open[1] > 0 else ""
        return f"{ball} can touch it{stub}"

    def verdict(self, exposure: Exposure) -> str:
        """The best move of a part, or why there is none."""
        for move in self.moves:
            if move.part == exposure.part:
                return move.summary()
        if exposure.part in self.looked:
            return "No move tried lowers it by a tenth."
        if not exposure.exposed:
            if exposure.breaks is not None and exposure.breaks >= BROKEN_ALL_THE_SAME:
                return "Seldom touched first, yet broken: shield or strengthen it."
            return "Hidden well enough."
        if exposure.part in self.fixed:
            return "The sheet cannot move it alone."
        mates = [
            m
            for m in self.moves
            if m.part.removesuffix("_plug") == exposure.part.removesuffix("_plug")
            or {m.part, exposure.part} == {"lens", "camera"}
        ]
        return f"Moves with the {_label(self, mates[0].part)}." if mates else "Not tried: others cost more."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "name": self.name,
            "digest": self.digest,
            "summary": self.summary(),
            "order": self.order(),
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


def _percent(share: float) -> str:
    value = 100.0 * share
    return f"{value:.1f} %" if value >= 0.095 else "under 0.1 %"


def _broken(exposure: Exposure) -> str:
    """Breaks by touch and what they cost in 100 crashes, in words."""
    assert exposure.breaks is not None  # noqa: S101 - callers ask only when a crash test is at hand
    many = 100.0 * exposure.breaks
    if many < 0.05:
        return "broken by touch in under 0.05 of 100 crashes"
    coins, minutes = round(many * exposure.price), round(many * exposure.minutes)
    return (
        f"broken by touch in {many:.1f} of 100 crashes ({coins} coin{'' if coins == 1 else 's'}, "
        f"{minutes} bench minute{'' if minutes == 1 else 's'})"
    )


def _label(found: Placement, part: str) -> str:
    return next(e.label for e in found.exposures if e.part == part)


def place(
    quad: Quad,
    prices: Mapping[str, float],
    minutes: Mapping[str, float],
    *,
    limit: float = VIEW_LIMIT,
    approaches: Mapping[str, Approaches] | None = None,
    directions: int = PLACE_DIRECTIONS,
    worth: float = 1.0,
    breaks: Mapping[str, float] | None = None,
) -> Placement:
    """Look at a whole build.

    Args:
        quad: the build.
        prices: coins by kind of part.
        minutes: bench minutes by kind of part.
        limit: share of the picture the cage may cover.
        approaches: directions by kind of obstacle ("ball", "pole", "flat"); evenly from everywhere by
            default.
        directions: how many when they are even.
        worth: of a bench minute, coins.
        breaks: chance per crash that touches break a part, by name; None without a crash test of this build.
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
    exposures = rank(quad, spinning, stopped, reaches, prices, minutes, worth=worth, breaks=breaks)
    bench, camera, deepest = None, None, None
    if quad.sheet.camera is not None and quad.sheet.camera.view is not None:
        bench = CameraBench(quad)
        camera, deepest = camera_row(bench, limit)
    radio = Radio(quad)
    found = tuple(radio.coverage(name) for name in quad.sheet.antennas)
    # A plug and its lead, and a lens and its camera, are one move: that of the costlier one which it helps.
    groups: dict[str, list[Exposure]] = {}
    for e in exposures:
        if e.exposed and (row := candidate_parts(quad, e.part)):
            groups.setdefault(row, []).append(e)
    trying = MoveBench(quad, given, limit, skin=plain, camera=bench, radio=radio)
    moves: list[Move] = []
    looked: list[str] = []
    for members in tuple(groups.values())[:TRIED]:
        for e in members:
            looked.append(e.part)
            if (found_move := trying.best(e.part)) is not None:
                moves.append(found_move)
                break
    return Placement(
        quad.name,
        quad.digest,
        exposures,
        tuple(moves),
        tuple(looked),
        tuple(e.part for e in exposures if not candidate_parts(quad, e.part)),
        camera,
        deepest,
        limit,
        found,
        snags(quad, (stopped[0], stopped[4])),
        pack_faces(quad, 60, (stopped[0], stopped[2], stopped[4])),
        stopped,
        spinning,
    )
