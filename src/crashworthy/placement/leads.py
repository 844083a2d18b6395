"""Leads, plugs and pack: what can snag, and which faces of the pack the hits reach.

A lead that stands outside the hull of the hard parts is a loop for a branch.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.cautions import CAUTIONS
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.skin import FACES, skin_of
from crashworthy.quantities import MM
from crashworthy.strength.capacity import capacities

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Lead
    from crashworthy.build.quad import Quad
    from crashworthy.placement.hits import HitShares

    Floats = NDArray[np.float64]

__all__ = [
    "Orientation",
    "PackFaces",
    "Snag",
    "loop_depths",
    "pack_faces",
    "snags",
]

_HARD: Final = ("plate", "standoff", "arm", "motor", "battery", "shield", "box", "camera", "board", "model")


@dataclass(frozen=True, slots=True)
class Snag:
    """One lead.

    Attributes:
        name, label: the lead.
        depth: how far its loop stands outside the hull of the hard parts, m; 0 inside.
        length: length of lead outside, m.
        retained: whether the sheet says something holds the loop down.
        pull: load that tears it off, N.
        plug: where its plug sits: "inside the hull", "under the strap", "on the outside" or "".
        share: share of spike and bar hits that touch lead or plug first, props stopped.
    """

    name: str
    label: str
    depth: float
    length: float
    retained: bool
    pull: float
    plug: str
    share: float

    @property
    def risky(self) -> bool:
        """Whether more than 2 mm of loop stands out unheld, or more than 5 mm held (assumption)."""
        return self.depth > (5 * MM if self.retained else 2 * MM)

    def summary(self) -> str:
        """One sentence."""
        if self.depth <= 0:
            place = "lies inside the hull"
        else:
            place = f"stands {self.depth / MM:.0f} mm outside the hull over {self.length / MM:.0f} mm"
        held = "held down" if self.retained else "held by nothing"
        plug = f", plug {self.plug}" if self.plug else ""
        return (
            f"{self.label}: {place}, {held}{plug}; first touched in {100 * self.share:.2f} % of "
            f"hits by spike "
            f"or bar; {self.pull:.0f} N tear it off."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "depth_mm": round(self.depth / MM, 1),
            "outside_mm": round(self.length / MM, 1),
            "retained": self.retained,
            "pull_N": round(self.pull, 1),
            "plug": self.plug,
            "share": round(self.share, 6),
            "risky": self.risky,
            "summary": self.summary(),
        }


def _hull(quad: Quad) -> Floats:
    """Planes (n, 4) around the hard parts, m."""
    from scipy.spatial import ConvexHull

    hard = np.concatenate([p.vertices for p in quad.parts if p.kind in _HARD and len(p.vertices)])
    planes: Floats = ConvexHull(hard).equations
    return planes


def _outside(row: Lead, planes: Floats) -> tuple[Floats, Floats]:
    """Places along a lead, m, and how far each stands outside the planes, m."""
    path = np.array(row.path) * MM
    steps = [np.linspace(a, b, 40, endpoint=False) for a, b in itertools.pairwise(path)]
    line = np.concatenate([*steps, path[-1:]])
    return line, (line @ planes[:, :3].T + planes[:, 3]).max(axis=1) + row.d / 2 * MM


def loop_depths(quad: Quad) -> dict[str, float]:
    """How far each lead stands outside the hull of the hard parts, m; negative inside."""
    planes = _hull(quad)
    return {name: float(_outside(row, planes)[1].max()) for name, row in quad.sheet.leads.items()}


def snags(quad: Quad, hits: Sequence[HitShares] | None = None) -> tuple[Snag, ...]:
    """Snag exposure of every lead, the deepest loop first.

    Args:
        quad: the build.
        hits: shares with stopped props for spike and bar; worked out when not given.
    """
    faces = _hull(quad)
    pull = {quad.parts[c.part].name: c.median for c in capacities(quad) if c.unit == "N"}
    if hits is None:
        skin = skin_of(quad)
        hits = [hit_shares(skin, o, Approaches.uniform(200)) for o in (OBSTACLES[0], OBSTACLES[4])]
    strap = next((p for p in quad.parts if p.kind == "strap"), None)
    found = []
    for name, row in quad.sheet.leads.items():
        line, out = _outside(row, faces)
        run = np.linalg.norm(np.diff(line, axis=0), axis=1)
        plug = next((p for p in quad.parts if p.name == f"{name}_plug"), None)
        where = ""
        if plug is not None:
            far = (plug.vertices @ faces[:, :3].T + faces[:, 3]).max()
            where = "inside the hull" if far <= 1 * MM else "on the outside"
            if strap is not None and _under(plug.vertices, strap.vertices):
                where = "under the strap"
        names = [name, *([plug.name] if plug is not None else [])]
        found.append(
            Snag(
                name,
                quad.part(name).label,
                max(0.0, float(out.max())),
                float(run[out[1:] > 0].sum()),
                row.retained,
                min(pull.get(n, math.inf) for n in names),
                where,
                float(np.mean([sum(h[n] for n in names) for h in hits])),
            )
        )
    return tuple(sorted(found, key=lambda s: -s.depth))


def _under(plug: Floats, strap: Floats) -> bool:
    return bool(
        plug[:, 0].max() > strap[:, 0].min()
        and plug[:, 0].min() < strap[:, 0].max()
        and plug[:, 2].max() <= strap[:, 2].max()
    )


@dataclass(frozen=True, slots=True)
class Orientation:
    """A way to lie: "along" or "across", with the share of first touches that land on bare faces."""

    words: str
    bare: float


@dataclass(frozen=True, slots=True)
class PackFaces:
    """Which faces of the pack the hits reach.

    Attributes:
        shares: share of first touches by face, mean over spike, stub and bar, props stopped.
        shield: faces that carry a slab.
        orientations: ways to lie, the least bare first.
    """

    shares: dict[str, float]
    shield: tuple[str, ...]
    orientations: tuple[Orientation, ...]

    @property
    def worst(self) -> str:
        """The face without a slab that is touched most."""
        bare = {f: s for f, s in self.shares.items() if f not in self.shield}
        return max(bare, key=lambda f: bare[f]) if bare else ""

    @property
    def caution(self) -> str:
        """The fire caution that belongs beside this result."""
        return CAUTIONS["crashed-pack"].text

    def summary(self) -> str:
        """One sentence."""
        first = self.orientations[0]
        best = (
            f"; lying {first.words} it would show least ({100 * first.bare:.1f} %)"
            if first.words != "as it is"
            else ""
        )
        if not self.worst:
            return "Every face of the pack carries a slab."
        return (
            f"{100 * sum(self.shares.values()):.1f} % of hits reach the pack's own faces, most of them its "
            f"{self.worst} ({100 * self.shares[self.worst]:.1f} %){best}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data with the caution."""
        return {
            "shares": {f: round(s, 5) for f, s in self.shares.items()},
            "shield": list(self.shield),
            "orientations": [{"words": o.words, "bare_share": round(o.bare, 5)} for o in self.orientations],
            "summary": self.summary(),
            "caution": self.caution,
        }


def pack_faces(
    quad: Quad, directions: int = 100, hits: Sequence[HitShares] | None = None
) -> PackFaces | None:
    """Hits by face of the pack, and which way to lie shows least; None without a pack.

    Args:
        quad: the build.
        directions: tried for the pack turned.
        hits: shares of a skin with ``pack_faces`` for the pack as it lies; worked out when not given.
    """
    battery = quad.sheet.battery
    if battery is None:
        return None
    now = _face_shares(quad, directions) if hits is None else _by_face(hits)
    ways = [Orientation("as it is", _bare(now, battery.shield))]
    turned = _turned(quad)
    ways.append(
        Orientation(
            "across" if battery.long_axis == "x" else "along",
            _bare(_face_shares(turned, directions), battery.shield),
        )
    )
    return PackFaces(now, tuple(battery.shield), tuple(sorted(ways, key=lambda w: w.bare)))


def _bare(shares: dict[str, float], shield: tuple[str, ...]) -> float:
    return sum(s for f, s in shares.items() if f not in shield)


def _face_shares(quad: Quad, directions: int) -> dict[str, float]:
    skin = skin_of(quad, pack_faces=True)
    hits = [hit_shares(skin, OBSTACLES[i], Approaches.uniform(directions)) for i in (0, 2, 4)]
    return _by_face(hits)


def _by_face(hits: Sequence[HitShares]) -> dict[str, float]:
    return {face: float(np.mean([h[f"battery:{face}"] for h in hits])) for face in FACES}


def _turned(quad: Quad) -> Quad:
    """The build with its pack turned by a quarter; drawings are not read again."""
    from dataclasses import replace

    from crashworthy.build.equipment import equipment

    battery = quad.sheet.battery
    assert battery is not None  # noqa: S101 - asked by the caller
    row = battery.model_copy(update={"long_axis": "y" if battery.long_axis == "x" else "x"})
    sheet = quad.sheet.model_copy(update={"battery": row})
    made = {d.name: d.finish() for d in equipment(sheet) if d.kind in ("battery", "shield", "strap")}
    parts = tuple(replace(made[p.name], joint=p.joint) if p.name in made else p for p in quad.parts)
    return replace(quad, parts=parts, sheet=sheet)
