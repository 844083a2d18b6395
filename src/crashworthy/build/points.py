"""Contact points: where an obstacle can press on the quad, and how much skin each point stands for.

1. Every face is sampled evenly and without chance (``SPACING``); corners come in as the vertices that lead
   in one of ``DIRECTIONS`` evenly spread directions, because a wall meets those first.
2. What a ball of radius ``PROBE`` cannot touch is dropped: the ball is laid against the point along the
   normal, and the point counts when no other skin reaches into it. Flats and thicker obstacles touch less.
3. Each part keeps a few points at least, the rest go where a blow presses on little skin at a time
   (``_density``): on hard parts, whose patch under a given force is small, and on edges and corners.
4. Within a part the farthest remaining place is taken again and again (farthest-point sampling), with
   opposite faces kept apart by counting a difference of normals as a distance (``TURN``).
5. A point stands for the exposed skin nearest to it, so the areas of a part add up to its exposed skin
   whatever the number of points. Its normal is the mean normal of that skin, shorter than one where the skin
   is curved, so that area times normal adds up to the skin's projection (vector area).

Whether a ball finds a way in from outside is not asked: a wide closed pocket counts as open, which an open
frame does not have. The constants are assumptions of the method; how much results still depend on ``count``
is measured in ``docs/crash-test.md``.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.drafts import fixed, fixed_ints
from crashworthy.build.quad import CORE, ContactPoints
from crashworthy.materials.table import datum, rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Arm, Part

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

__all__ = ["COUNT", "PROBE", "contact_points", "fibonacci"]

COUNT: Final = 1200
"""About how many points a quad gets."""

PROBE: Final = 10e-3
"""Radius of the smallest obstacle considered, m: a branch of 20 mm (assumption)."""

SLACK: Final = 0.5e-3
"""How far skin may reach into the probe before it counts as blocked, m (assumption)."""

SPACING: Final = 2.5e-3
"""Distance between skin samples, m (assumption)."""

SAMPLES: Final = 60_000
"""Most skin samples; what is far larger than a quad is sampled more coarsely."""

TURN: Final = 8e-3
"""Distance that a difference of normals of one counts as, m (assumption)."""

DIRECTIONS: Final = 64
"""Directions in which the leading vertex of each part is a candidate (assumption)."""

EDGE_SKIN: Final = 1e-6
"""Skin that a vertex stands for when a part can be touched at its edges only, m² (assumption)."""

FLOOR: Final = 0.02
"""Least share of its part's mean that a point stands for, so that corners carry load (assumption)."""

SOFT: Final = 10e6
"""Crush pressure below which a part is not sampled more coarsely for being softer, Pa (assumption)."""

EDGES: Final = 0.5
"""How much more the mean place of a part counts for being met first than for being there (assumption)."""

DEEP: Final = 3e-3
"""Depth of a typical dent, within which skin counts as met first, m (assumption)."""

EVEN: Final = 0.75
"""Power of its area times density that a part's points follow: 1 gives all skin alike, 0 all parts alike
(assumption)."""

CURLED: Final = 0.3
"""Length of a mean normal below which the skin has no side, and the point's own normal is kept."""

_BASE: Final = {"screw": 1, "standoff": 2, "strap": 2, "board": 2, "arm": 5, "prop": 5, "motor": 4}
"""Points that a part of a kind gets whatever its size; 3 for all others."""

_GROUP_DIRECTIONS: Final = 200
_MERGE: Final = 4e-3


def fibonacci(n: int) -> Floats:
    """Unit vectors (n, 3) spread evenly over the sphere (golden-angle spiral)."""
    k = np.arange(n) + 0.5
    z = 1.0 - 2.0 * k / n
    turn = np.pi * (1.0 + 5.0**0.5) * k
    r = np.sqrt(1.0 - z * z)
    return np.column_stack([r * np.cos(turn), r * np.sin(turn), z])


def _samples(vertices: Floats, faces: NDArray[np.int32], spacing: float) -> tuple[Floats, Floats, Floats]:
    """Points (n, 3), outward normals (n, 3) and areas (n,) spread evenly over a mesh."""
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    cross = np.cross(b - a, c - a)
    double = np.linalg.norm(cross, axis=1)
    keep = double > 1e-12
    a, b, c, cross, double = a[keep], b[keep], c[keep], cross[keep], double[keep]
    number = np.maximum(1, np.ceil(double / 2.0 / spacing**2)).astype(int)
    face = np.repeat(np.arange(len(number)), number)
    k = np.arange(len(face)) - np.repeat(np.cumsum(number) - number, number)
    # One sample sits at the centroid; more follow the additive recurrence of the plastic number.
    u = np.where(number[face] == 1, 1 / 3, (0.5 + 0.7548776662466927 * (k + 1)) % 1.0)
    v = np.where(number[face] == 1, 1 / 3, (0.5 + 0.5698402909980532 * (k + 1)) % 1.0)
    fold = u + v > 1.0
    u, v = np.where(fold, 1.0 - u, u), np.where(fold, 1.0 - v, v)
    position = a[face] + u[:, None] * (b - a)[face] + v[:, None] * (c - a)[face]
    return position, (cross / double[:, None])[face], (double / 2.0 / number)[face]


def _area(part: Part) -> float:
    a, b, c = (part.vertices[part.faces[:, i]] for i in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2.0


class _Skin:
    """All candidates of all parts: samples first, leading vertices after them."""

    def __init__(self, parts: tuple[Part, ...]) -> None:
        from scipy.spatial import cKDTree

        shaped = [i for i, p in enumerate(parts) if len(p.faces)]
        if not shaped:
            self.part = np.zeros(0, dtype=np.int64)
            return
        skin = sum(_area(parts[i]) for i in shaped)
        spacing = max(SPACING, math.sqrt(skin / SAMPLES))
        sampled = [_samples(parts[i].vertices, parts[i].faces, spacing) for i in shaped]
        position = np.concatenate([s[0] for s in sampled])
        normal = np.concatenate([s[1] for s in sampled])
        area = np.concatenate([s[2] for s in sampled])
        part = np.repeat(shaped, [len(s[0]) for s in sampled])
        tree = cKDTree(position)

        def free(point: Floats, direction: Floats) -> NDArray[np.bool_]:
            distance, _ = tree.query(point + PROBE * direction, distance_upper_bound=PROBE)
            open_to: NDArray[np.bool_] = distance >= PROBE - SLACK
            return open_to

        seen = free(position, normal)
        corners = self._corners(parts, shaped, free)
        self.position = np.concatenate([position[seen], corners[0]])
        self.normal = np.concatenate([normal[seen], corners[1]])
        self.area = np.concatenate([area[seen], np.zeros(len(corners[0]))])
        self.part = np.concatenate([part[seen], corners[2]]).astype(np.int64)
        self.corner = np.arange(len(self.part)) >= int(seen.sum())

    @staticmethod
    def _corners(
        parts: tuple[Part, ...], shaped: list[int], free: object
    ) -> tuple[Floats, Floats, NDArray[np.int64]]:
        """Leading vertices with the mean of the directions in which the probe can touch them."""
        assert callable(free)  # noqa: S101 - narrows the type for the checker
        directions = fibonacci(DIRECTIONS)
        at, along, owner = [], [], []
        for i in shaped:
            leading = np.argmax(parts[i].vertices @ directions.T, axis=0)
            at.append(parts[i].vertices[leading])
            along.append(directions)
            owner.append(np.full(DIRECTIONS, i))
        position, direction, part = np.concatenate(at), np.concatenate(along), np.concatenate(owner)
        open_to = free(position, direction)
        position, direction, part = position[open_to], direction[open_to], part[open_to]
        key = np.column_stack([part, np.round(position * 1e6)])
        _, first, group = np.unique(key, axis=0, return_index=True, return_inverse=True)
        normal = np.zeros((len(first), 3))
        np.add.at(normal, group.ravel(), direction)
        size = np.linalg.norm(normal, axis=1)
        good = size > 1e-6
        return position[first][good], (normal / np.maximum(size, 1e-12)[:, None])[good], part[first][good]


def _hardness(part: Part) -> float:
    """Crush pressure of a part's skin, Pa."""
    keys = (f"part_{part.kind}", part.material, "part_default")
    key = next(k for k in keys if (k, "crush_pressure") in rows())
    return float(datum(key, "crush_pressure").value)


def _met_first(position: Floats, normal: Floats) -> Floats:
    """How often a wall that comes from anywhere presses on each place of a part within its first millimetres.

    Mean over directions u of exp(-(h(u) - x.u)/DEEP) max(0, n.u), with h the support function of the part:
    large on corners and edges, small on flats and in hollows.
    """
    directions = fibonacci(DIRECTIONS)
    height = position @ directions.T
    facing = np.maximum(normal @ directions.T, 0.0)
    share: Floats = (np.exp((height - height.max(axis=0)) / DEEP) * facing).mean(axis=1)
    return share


def _density(skin: _Skin, parts: tuple[Part, ...], exposed: Ints) -> Floats:
    """Relative density of points wanted at each candidate.

    The patch under a force F is F/p_y, so a length of it goes with 1/sqrt(p_y): soft parts need fewer points.
    """
    density = np.zeros(len(skin.part))
    for p in exposed:
        mine = skin.part == p
        met, area = _met_first(skin.position[mine], skin.normal[mine]), skin.area[mine]
        mean = float(met @ area / area.sum()) if area.sum() > 0.0 else float(met.mean())
        density[mine] = math.sqrt(_hardness(parts[p]) + SOFT) * (1.0 + EDGES * met / max(mean, 1e-12))
    return density


def _budget(area: Floats, base: Floats, pool: Floats, count: int) -> NDArray[np.int64]:
    """How many points each part gets: its base, then its share of the rest, by largest remainder."""
    least = np.minimum(base, pool)
    rest = max(0, count - int(least.sum()))
    share = rest * area / area.sum() if area.sum() > 0 else np.zeros(len(area))
    whole = np.floor(share)
    order = np.argsort(-(share - whole), kind="stable")
    whole[order[: max(0, rest - int(whole.sum()))]] += 1
    number: NDArray[np.int64] = np.minimum(least + whole, pool).astype(np.int64)
    return number


def _farthest(place: Floats, weight: Floats, start: list[int], n: int) -> tuple[list[int], NDArray[np.int64]]:
    """Farthest-point sampling: indices of n places chosen far apart, beginning with ``start``.

    Returns:
        The chosen indices, and for every place the position of the nearest one among them.
    """
    chosen: list[int] = []
    near = np.full(len(place), np.inf)
    owner = np.zeros(len(place), dtype=np.int64)
    while len(chosen) < max(n, len(start)):
        index = start[len(chosen)] if len(chosen) < len(start) else int(np.argmax(near * weight))
        if near[index] <= 0.0:
            break
        distance = np.linalg.norm(place - place[index], axis=1)
        closer = distance < near
        owner[closer] = len(chosen)
        near = np.where(closer, distance, near)
        chosen.append(index)
    return chosen, owner


def _leaders(skin: _Skin) -> NDArray[np.bool_]:
    """Candidates that lead the whole quad in some direction: what a wall meets first; near ones merged."""
    directions = fibonacci(_GROUP_DIRECTIONS)
    leading = np.unique(np.argmax(skin.position @ directions.T, axis=0))
    kept: list[int] = []
    for i in leading:
        same = [k for k in kept if skin.part[k] == skin.part[i]]
        if all(np.linalg.norm(skin.position[k] - skin.position[i]) > _MERGE for k in same):
            kept.append(int(i))
    mask = np.zeros(len(skin.part), dtype=bool)
    mask[kept] = True
    return mask


def contact_points(parts: tuple[Part, ...], arms: tuple[Arm, ...], count: int = COUNT) -> ContactPoints:
    """Choose the contact points of a quad; the same parts give the same points.

    Args:
        parts: all parts.
        arms: the arms, for the station of points on them.
        count: about how many points (each exposed part has at least one).
    """
    skin = _Skin(parts)
    if len(skin.part) == 0:
        return ContactPoints(
            fixed(np.zeros((0, 3))),
            fixed([]),
            fixed(np.zeros((0, 3))),
            fixed_ints([]),
            fixed_ints([]),
            fixed([]),
            fixed(np.zeros((0, 6))),
        )
    exposed = np.unique(skin.part)
    pool = np.array([np.count_nonzero(skin.part == p) for p in exposed], dtype=float)
    area = np.array([skin.area[skin.part == p].sum() for p in exposed])
    area = np.where(area > 0, area, EDGE_SKIN * pool)
    base = np.array([_BASE.get(parts[p].kind, 3) for p in exposed], dtype=float)
    leads = _leaders(skin)
    density = _density(skin, parts, exposed)
    wanted = np.array([(skin.area * density)[skin.part == p].sum() for p in exposed])
    number = _budget(np.where(wanted > 0.0, wanted, area * density.mean()) ** EVEN, base, pool, count)
    index: list[int] = []
    share: list[float] = []
    facing: list[Floats] = []
    place_of: list[Floats] = []
    spreads: list[Floats] = []
    middle = skin.position.mean(axis=0)
    for p, n, whole in zip(exposed, number, area, strict=True):
        mine = np.flatnonzero(skin.part == p)
        place = np.hstack([skin.position[mine], TURN * skin.normal[mine]])
        start = [int(i) for i in np.flatnonzero(leads[mine])]
        if not start:
            start = [int(np.argmax(np.linalg.norm(skin.position[mine] - middle, axis=1)))]
        weight = np.where(skin.corner[mine], 1.3, 1.0) * np.sqrt(density[mine])
        chosen, nearest = _farthest(place, weight, start, int(n))
        cell = np.bincount(nearest, weights=skin.area[mine], minlength=len(chosen))
        cell = np.maximum(cell, FLOOR * whole / len(chosen))
        index += [int(i) for i in mine[chosen]]
        share += [float(v) for v in cell * (whole / cell.sum())]
        facing.append(_mean_normals(skin.normal[mine], skin.area[mine], chosen, nearest))
        means, variance = _middles(skin.position[mine], skin.area[mine], chosen, nearest)
        place_of.append(means)
        spreads.append(variance)
    part = skin.part[index]
    position = np.concatenate(place_of)
    arm = np.array([parts[p].arm for p in part])
    return ContactPoints(
        position=fixed(position),
        area=fixed(share),
        normal=fixed(np.concatenate(facing)),
        part=fixed_ints(part),
        arm=fixed_ints(arm),
        station=fixed(_station(position, part, arm, parts, arms)),
        spread=fixed(np.concatenate(spreads)),
    )


def _mean_normals(normal: Floats, area: Floats, chosen: list[int], nearest: Ints) -> Floats:
    """Mean normal of the skin that each chosen place stands for; its own where that skin has no side."""
    total = np.bincount(nearest, weights=area, minlength=len(chosen))
    sums = [np.bincount(nearest, weights=area * normal[:, k], minlength=len(chosen)) for k in range(3)]
    mean = np.column_stack(sums) / np.maximum(total, 1e-15)[:, None]
    curled = np.linalg.norm(mean, axis=1) < CURLED
    kept: Floats = np.where(curled[:, None], normal[chosen], mean)
    return kept


def _middles(position: Floats, area: Floats, chosen: list[int], nearest: Ints) -> tuple[Floats, Floats]:
    """Middle (n, 3) of the skin that each chosen place stands for, and its variance about it (n, 6).

    A place without skin, a corner, stays where it is and has none.
    """
    n = len(chosen)
    total = np.bincount(nearest, weights=area, minlength=n)
    near = position - position[chosen][nearest]
    share = area / np.where(total > 0.0, total, 1.0)[nearest]

    def mean(x: Floats) -> Floats:
        return np.column_stack([np.bincount(nearest, weights=share * c, minlength=n) for c in x.T])

    shift = mean(near)
    pairs = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
    square = mean(np.column_stack([near[:, i] * near[:, j] for i, j in pairs]))
    return position[chosen] + shift, square - np.column_stack([shift[:, i] * shift[:, j] for i, j in pairs])


def _station(
    position: Floats, part: Ints, arm: Ints, parts: tuple[Part, ...], arms: tuple[Arm, ...]
) -> Floats:
    """Fraction of the free length; motors, props and their screws move with the tip."""
    station = np.zeros(len(part))
    for i in np.flatnonzero(arm != CORE):
        beam = arms[arm[i]]
        if parts[part[i]].kind == "arm":
            station[i] = np.clip((position[i] - beam.root) @ beam.axis / beam.length, 0.0, 1.0)
        else:
            station[i] = 1.0
    return station
