"""Lens models: from a field of view to focal length, and from a picture's place to a direction and back.

With theta the angle from the axis and f the focal length, the image radius r is f tan theta (rectilinear),
2f tan(theta/2) (stereographic), f theta (equidistant), 2f sin(theta/2) (equisolid) or f sin theta
(orthographic); any optics text on fisheye projections.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, SheetError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import View

    Floats = NDArray[np.float64]

__all__ = ["PROJECTIONS", "Lens", "lens_of"]

_OUT: Final[dict[str, Callable[[Any], Any]]] = {
    "rectilinear": np.tan,
    "stereographic": lambda t: 2 * np.tan(t / 2),
    "equidistant": lambda t: t,
    "equisolid": lambda t: 2 * np.sin(t / 2),
    "orthographic": np.sin,
}
_BACK: Final[dict[str, Callable[[Any], Any]]] = {
    "rectilinear": np.arctan,
    "stereographic": lambda r: 2 * np.arctan(r / 2),
    "equidistant": lambda r: r,
    "equisolid": lambda r: 2 * np.arcsin(np.clip(r / 2, -1, 1)),
    "orthographic": lambda r: np.arcsin(np.clip(r, -1, 1)),
}
PROJECTIONS: Final = tuple(_OUT)

_WIDEST: Final = {
    "rectilinear": 0.999 * math.pi / 2,
    "stereographic": 0.999 * math.pi,
    "equidistant": math.pi,
    "equisolid": math.pi,
    "orthographic": math.pi / 2,
}


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens before a picture of half-width 1.

    Attributes:
        projection: one of ``PROJECTIONS``.
        f: focal length over half the picture's width.
        aspect: width over height of the picture.
    """

    projection: str
    f: float
    aspect: float

    @classmethod
    def from_fov(cls, fov: float, of: str, aspect: float, projection: str) -> Lens:
        """From a field of view.

        Args:
            fov: angle, rad.
            of: "h" across, "v" up and down, "d" the diagonal.
            aspect: width over height.
            projection: one of ``PROJECTIONS``.

        Raises:
            SheetError: no lens of that projection sees so wide.
        """
        if not 0 < fov / 2 <= _WIDEST[projection]:
            raise SheetError(
                Problem(
                    f"a {projection} lens cannot see {math.degrees(fov):g} deg",
                    "give a smaller fov or another projection",
                    field="camera.view.fov",
                )
            )
        half = {"h": 1.0, "v": 1.0 / aspect, "d": math.hypot(1.0, 1.0 / aspect)}[of]
        return cls(projection, half / float(_OUT[projection](fov / 2)), aspect)

    @classmethod
    def from_sensor(cls, width: float, height: float, f: float, projection: str) -> Lens:
        """From a sensor and a focal length in one unit."""
        return cls(projection, 2 * f / width, width / height)

    def fov(self, of: str) -> float:
        """Field of view, rad, across ("h"), up and down ("v") or along the diagonal ("d")."""
        half = {"h": 1.0, "v": 1.0 / self.aspect, "d": math.hypot(1.0, 1.0 / self.aspect)}[of]
        return float(2 * _BACK[self.projection](half / self.f))

    def directions(self, nx: int) -> Floats:
        """Unit vectors (ny, nx, 3) of a grid of picture points that includes the border.

        Axes: x along the lens, y left, z up; row 0 is the top of the picture, column 0 its left.
        """
        ny = max(2, round((nx - 1) / self.aspect) + 1)
        right = np.linspace(-1.0, 1.0, nx)
        up = np.linspace(1.0, -1.0, ny) / self.aspect
        return self.direction(*np.meshgrid(right, up))

    def direction(self, right: Any, up: Any) -> Floats:
        """Unit vectors (..., 3) of picture points; ``right`` from -1 to 1, ``up`` in the same unit."""
        right, up = np.asarray(right, dtype=float), np.asarray(up, dtype=float)
        r = np.hypot(right, up)
        theta = _BACK[self.projection](r / self.f)
        safe = np.where(r > 0, r, 1.0)
        s = np.sin(theta)
        return np.stack([np.cos(theta), -s * right / safe, s * up / safe], axis=-1)

    def picture(self, directions: Floats) -> Floats:
        """Picture points (..., 2) right and up of directions (..., 3)."""
        d = directions / np.linalg.norm(directions, axis=-1, keepdims=True)
        side = np.hypot(d[..., 1], d[..., 2])
        r = self.f * _OUT[self.projection](np.arctan2(side, d[..., 0]))
        safe = np.where(side > 0, side, 1.0)
        return np.stack([-d[..., 1] / safe * r, d[..., 2] / safe * r], axis=-1)


def lens_of(view: View | None) -> Lens:
    """The lens of a sheet's camera.

    Raises:
        SheetError: the sheet does not say what the camera sees.
    """
    if view is None:
        raise SheetError(
            Problem(
                "the camera has no view",
                'write view = { fov = 130, of = "h", aspect = 1.3333 } under [camera], as on its data sheet',
                field="camera.view",
            )
        )
    if view.fov is not None and view.of is not None:
        return Lens.from_fov(math.radians(view.fov), view.of, view.aspect, view.projection)
    assert view.sensor is not None  # noqa: S101 - the sheet's own rule: one of the two
    assert view.f is not None  # noqa: S101 - as above
    return Lens.from_sensor(*view.sensor, view.f, view.projection)
