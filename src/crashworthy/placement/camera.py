"""Camera: how deep the lens may sit, what of the frame is then in the picture, and what can still touch it.

Rays start at the entrance pupil, ``pupil`` behind the lens front along the axis, and run through a grid that
includes the border of the picture: a corner is what is covered first. What belongs to the frame (the cage)
depends on recess and tilt and is told apart from props, arms, antennas and boxes, which are there anyway.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.build.solids import rotation
from crashworthy.errors import Problem, SheetError
from crashworthy.placement.lens import lens_of
from crashworthy.placement.rays import Sight
from crashworthy.placement.reach import AXES, LIMIT, reach_of
from crashworthy.placement.skin import Skin, cloud, shapes_of
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Camera
    from crashworthy.build.quad import Quad

    Floats = NDArray[np.float64]

__all__ = [
    "CAGE",
    "STUB",
    "VIEW_LIMIT",
    "CameraBench",
    "CameraRow",
    "Pose",
    "View",
    "deepest_of",
]

CAGE: Final = ("plate", "standoff", "screw", "model")
"""Kinds that count as the cage around the lens."""

VIEW_LIMIT: Final = 0.01
"""Share of the picture the cage may cover unless the pilot says otherwise (assumption: corners only)."""

STUB: Final = 20e-3
"""Radius of the branch stub or stone by which the open directions are told, m (assumption)."""

_HARD: Final = ("plate", "standoff", "arm", "motor", "box", "model", "battery", "board", "screw")
"""Kinds that a wall rests on; antennas, leads, straps, shields and props give way."""


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where the lens is.

    Attributes:
        front: (3,) centre of the lens front, m.
        turn: (3, 3) from lens axes (x along the lens, y left, z up) to the quad's.
        radius: of the lens front, m.
        pupil: (3,) entrance pupil, m.
    """

    front: Floats
    turn: Floats
    radius: float
    pupil: Floats

    @property
    def axis(self) -> Floats:
        """Unit vector along the lens."""
        along: Floats = self.turn[:, 0]
        return along

    @classmethod
    def of(cls, camera: Camera, recess: float | None = None, tilt: float | None = None) -> Pose:
        """Pose of a sheet's camera, at another recess (mm) or tilt (deg) when given."""
        at = camera.at
        front = np.array([at.edge_x - (at.recess if recess is None else recess), at.y, at.z]) * MM
        turn = rotation(y=-(at.tilt if tilt is None else tilt) * DEG)
        return cls(front, turn, camera.lens_d / 2 * MM, front - camera.pupil * MM * turn[:, 0])


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What the lens sees.

    Attributes:
        names: of the parts.
        part: (ny, nx) part at each point of the picture, -1 for free view.
        distance: (ny, nx) m.
        facing: (ny, nx) cosine between line of sight and surface, 0 to 1.
        cage: share of the picture covered by the cage.
        others: share covered by each other part that is seen.
    """

    names: tuple[str, ...]
    part: NDArray[np.int32]
    distance: Floats
    facing: Floats
    cage: float
    others: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class CameraRow:
    """One place of the lens: view against protection.

    Attributes:
        tilt: deg.
        recess: mm behind the front edge; negative sticks out.
        cage: share of the picture covered by the cage.
        props: share covered by the props, stopped.
        others: share covered by everything else that is neither.
        ball: radius of the largest ball that can touch the glass, m (``inf``: a wall can).
        pole: radius of the largest pole, m.
        open: share of all directions from which a ball of ``STUB`` can.
        flat_gap: least distance of a wall that rests on the hard parts from the glass, m; negative touches.
    """

    tilt: float
    recess: float
    cage: float
    props: float
    others: float
    ball: float
    pole: float
    open: float
    flat_gap: float

    def summary(self) -> str:
        """The row as one sentence."""
        wall = (
            f"a wall stays {self.flat_gap / MM:.0f} mm off the glass"
            if self.flat_gap > 0
            else "a wall can touch the glass"
        )
        if not math.isfinite(self.pole):
            trunk = "nor is it safe from any trunk" if self.flat_gap > 0 else "and so can any trunk"
        else:
            trunk = f"a trunk thicker than {2e3 * self.pole:.0f} mm cannot touch it"
        stub = (
            f"a {2e3 * STUB:.0f} mm stone or stub can, from {100 * self.open:.1f} % of directions"
            if self.open > 0
            else f"no {2e3 * STUB:.0f} mm stone or stub can"
        )
        return (
            f"At {self.tilt:.0f} deg, recess {self.recess:.1f} mm: the cage covers "
            f"{100 * self.cage:.1f} % of the "
            f"picture; {wall}; {trunk}; {stub}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data in mm and deg; an unlimited radius is null."""
        return {
            "tilt_deg": self.tilt,
            "recess_mm": round(self.recess, 2),
            "cage_share": round(self.cage, 5),
            "props_share": round(self.props, 5),
            "others_share": round(self.others, 5),
            "largest_ball_radius_mm": round(self.ball / MM, 1) if math.isfinite(self.ball) else None,
            "largest_pole_radius_mm": round(self.pole / MM, 1) if math.isfinite(self.pole) else None,
            "stub_open_share": round(self.open, 5),
            "flat_gap_mm": round(self.flat_gap / MM, 2),
            "summary": self.summary(),
        }


class CameraBench:
    """A quad without its camera, made once, into which the lens is set at any recess and tilt."""

    def __init__(self, quad: Quad, without: Sequence[str] = ()) -> None:
        """Take a quad.

        Args:
            quad: with a camera whose view is described.
            without: further parts to leave out.

        Raises:
            SheetError: there is no camera, or its view is not described.
        """
        camera = quad.sheet.camera
        if camera is None:
            raise SheetError(Problem("there is no camera", "describe it under [camera]", field="camera"))
        self.quad, self.camera, self.lens = quad, camera, lens_of(camera.view)
        own = (
            "camera",
            "lens",
            *without,
            *(p.name for p in quad.parts if p.joint == "camera" and p.kind == "screw"),
        )
        shapes = shapes_of(quad, "blades", without=own)
        self.sight = Sight(shapes)
        kinds = self._kind_of = {p.name: p.kind for p in quad.parts}
        self._kinds = [kinds[name] for name in self.sight.names]
        self._points, _ = cloud(Skin.of(shapes))
        self._directions = fibonacci(3000)
        hard = np.concatenate(
            [m.vertices for name, m in shapes if kinds[name] in _HARD] or [np.zeros((1, 3))]
        )
        # Only corners of the hull can hold a wall up; there are few of them.
        self._rest = (_hull(hard) @ self._directions.T).max(axis=0)

    def view(self, pose: Pose, nx: int = 160) -> View:
        """What the lens sees from a pose, ``nx`` points across."""
        rays = self.lens.directions(nx)
        flat = rays.reshape(-1, 3) @ pose.turn.T
        part, far, normal = self.sight.first(pose.pupil, flat)
        facing = np.abs(np.einsum("ij,ij->i", normal, flat))
        count = np.bincount(part[part >= 0], minlength=len(self.sight.names)) / len(part)
        cage = float(sum(c for c, k in zip(count, self._kinds, strict=True) if k in CAGE))
        others = {
            name: float(c)
            for name, c, k in zip(self.sight.names, count, self._kinds, strict=True)
            if c > 0 and k not in CAGE
        }
        shape = rays.shape[:2]
        return View(
            self.sight.names, part.reshape(shape), far.reshape(shape), facing.reshape(shape), cage, others
        )

    def cage_share(self, recess: float, tilt: float, nx: int = 120) -> float:
        """Share of the picture that the cage covers at a recess (mm) and tilt (deg)."""
        return self.view(Pose.of(self.camera, recess, tilt), nx).cage

    def row(self, recess: float, tilt: float, nx: int = 160) -> CameraRow:
        """View and protection at a recess (mm) and tilt (deg)."""
        pose = Pose.of(self.camera, recess, tilt)
        ball, pole = self.glass(pose)
        lens = self._directions @ pose.front + pose.radius * np.linalg.norm(
            self._directions - np.outer(self._directions @ pose.axis, pose.axis), axis=1
        )
        greatest = float(ball.max())
        view = self.view(pose, nx)
        props = sum(s for name, s in view.others.items() if self._kind_of[name] == "prop")
        return CameraRow(
            tilt,
            recess,
            view.cage,
            props,
            sum(view.others.values()) - props,
            math.inf if greatest >= LIMIT else greatest,
            math.inf if pole >= LIMIT else pole,
            float((ball >= STUB).sum()) / GLASS,
            float((self._rest - lens).min()),
        )

    def glass(self, pose: Pose) -> tuple[Floats, float]:
        """Largest ball (m) at each contact of the lens front, and the largest pole over all of them.

        The contacts are those of ``GLASS`` directions over the whole sphere that face the lens front.
        """
        place, normal = _glass(pose)
        return reach_of(place, normal, self._points, axes=AXES)

    def deepest(self, tilt: float, limit: float = VIEW_LIMIT) -> float | None:
        """Deepest recess, mm, with at most ``limit`` of the picture behind the cage; None if none does."""
        return deepest_of(lambda recess: self.cage_share(recess, tilt), limit)

    def trade_off(self, tilts: Sequence[float], recesses: Sequence[float]) -> tuple[CameraRow, ...]:
        """Every recess (mm) at every tilt (deg)."""
        return tuple(self.row(recess, tilt) for tilt in tilts for recess in recesses)


def _hull(points: Floats) -> Floats:
    """The corners of the hull of points (n, 3); the points themselves where they span no body."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        corners: Floats = points[ConvexHull(points).vertices]
    except (QhullError, ValueError):
        return points
    return corners


GLASS: Final = 600
"""Directions tried at the lens, over the whole sphere."""


def _glass(pose: Pose) -> tuple[Floats, Floats]:
    """Contacts on the lens front: its rim for slanting directions, its middle for those along the axis."""
    n = fibonacci(GLASS)
    n = n[n @ pose.axis > 0.05]
    across = n - np.outer(n @ pose.axis, pose.axis)
    size = np.linalg.norm(across, axis=1, keepdims=True)
    place = pose.front + pose.radius * np.where(size > 1e-6, across / np.maximum(size, 1e-12), 0.0)
    return place, n


def deepest_of(
    share: Callable[[float], float], limit: float, low: float = -40.0, high: float = 40.0, step: float = 2.0
) -> float | None:
    """Greatest x with share(x) <= ``limit`` before the share first exceeds it, going up from ``low``.

    Args:
        share: rises with x.
        limit: greatest share allowed.
        low: where to begin; None is returned when even that is too much.
        high: where to end.
        step: of the scan, before bisection to 0.005.
    """
    if share(low) > limit:
        return None
    good = low
    while good < high and share(good + step) <= limit:
        good += step
    bad = good + step
    if good >= high:
        return high
    while bad - good > 5e-3:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if share(middle) <= limit else (good, middle)
    return good
