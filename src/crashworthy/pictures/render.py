"""Grey pictures by casting rays: what a lens sees, and a quad shaded.

Deterministic, without a graphics card. A parallel view with light from over the left shoulder, surroundings
darkened where other parts are near (ambient occlusion by a few fixed rays), and a line where one part ends.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.points import fibonacci
from crashworthy.build.solids import Mesh
from crashworthy.pictures import svg
from crashworthy.pictures.heat import grey_png
from crashworthy.placement.rays import Sight
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.placement.camera import View
    from crashworthy.placement.skin import Shapes
    from crashworthy.placement.trim import Trim

    Floats = NDArray[np.float64]

__all__ = ["Eye", "camera_png", "camera_svg", "quad_png", "render_shapes", "shade_shapes", "trim_svg"]

AROUND: Final = 12
"""Rays by which the surroundings darken a place."""

NEAR: Final = 40 * MM
"""What is farther away than this does not darken, m."""


def _lines(part: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Where one part ends and another, or the ground, begins."""
    edge = np.zeros(part.shape, dtype=bool)
    edge[:, 1:] |= part[:, 1:] != part[:, :-1]
    edge[1:] |= part[1:] != part[:-1]
    return edge


def camera_png(view: View) -> bytes:
    """What the lens sees, as a grey PNG: near parts dark, free view light, a line around each part."""
    tone = np.full(view.part.shape, 236.0)
    seen = view.part >= 0
    near = np.clip(view.distance[seen] / 0.15, 0.0, 1.0)
    tone[seen] = 40 + 90 * near + 60 * view.facing[seen]
    tone[_lines(view.part)] = 20
    return grey_png(np.clip(tone, 0, 255).astype(np.uint8))


def camera_svg(view: View, describe: str, *, alone: bool = False) -> str:
    """What the lens sees with a frame and a cross in its middle."""
    rows, columns = view.part.shape
    width = 340.0
    height = width * rows / columns
    data = "data:image/png;base64," + base64.b64encode(camera_png(view)).decode()
    body = [
        svg.el(
            "image",
            href=data,
            x=0,
            y=0,
            width=width,
            height=height,
            preserveAspectRatio="none",
            class_="heat seen",
        ),
        svg.el("rect", x=0.5, y=0.5, width=width - 1, height=height - 1, fill="none", stroke="currentColor"),
        svg.el(
            "path", d=svg.path([(width / 2 - 8, height / 2), (width / 2 + 8, height / 2)]), class_="centre"
        ),
        svg.el(
            "path", d=svg.path([(width / 2, height / 2 - 8), (width / 2, height / 2 + 8)]), class_="centre"
        ),
    ]
    title = "What the camera sees"
    key = svg.uid(title, describe, data[-24:])
    return svg.figure(
        "".join(body), width=width, height=height, title=title, describe=describe, key=key, alone=alone
    )


def trim_svg(trim: Trim, *, alone: bool = False) -> str:
    """One plate with what to file off it hatched, in mm."""
    plate = np.array(trim.plate)
    low, high = plate.min(axis=0), plate.max(axis=0)
    scale = min(300.0 / (high[0] - low[0]), 200.0 / (high[1] - low[1]))
    height = float((high[1] - low[1]) * scale + 40)
    title = f"What to take off the {trim.label}"
    key = svg.uid(title, trim.cut)

    def place(ring: Any) -> list[tuple[float, float]]:
        return [(20 + (x - low[0]) * scale, height - 20 - (y - low[1]) * scale) for x, y in ring]

    body = [svg.hatch_defs(key), svg.el("path", d=svg.path(place(trim.plate), closed=True), class_="body")]
    body += [
        svg.el(
            "path",
            d=svg.path(place(c), closed=True),
            fill=svg.hatch_fill(key, "dense"),
            stroke="currentColor",
        )
        for c in trim.cut
    ]
    describe = (
        f"{trim.area:.0f} mm² to take off the {trim.label}, seen along the third axis; {trim.axes} in mm."
    )
    return svg.figure(
        "".join(body), width=340, height=height, title=title, describe=describe, key=key, alone=alone
    )


@dataclass(frozen=True, slots=True, eq=False)
class Eye:
    """A parallel view of some shapes: which point of the quad stands where in the picture.

    Attributes:
        right, up, to: (3,) unit vectors across, upwards and into the picture.
        left, top: of the picture, m along ``right`` and ``up``.
        step: of a point of the picture, m.
        width, height: points.
        far: how far before the quad the rays start, m.
    """

    right: Floats
    up: Floats
    to: Floats
    left: float
    top: float
    step: float
    width: int
    height: int
    far: float

    @classmethod
    def on(
        cls,
        shapes: Shapes,
        width: int,
        azimuth: float,
        elevation: float,
        window: tuple[float, float, float, float] | None = None,
    ) -> Eye:
        """See all of some shapes; azimuth from ahead towards the left, both angles in deg.

        With a ``window`` see what lies within it: left, right, bottom and top edge, m along right and up.
        """
        a, e = azimuth * DEG, elevation * DEG
        to = -np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        right = np.array([-np.sin(a), np.cos(a), 0.0])
        up = np.cross(right, to)
        up = up if up[2] >= 0 else -up
        points = np.concatenate([m.vertices for _, m in shapes])
        u, v = points @ right, points @ up
        margin = 0.03 * float(np.ptp(u))
        whole = (u.min() - margin, u.max() + margin, v.min() - margin, v.max() + margin)
        u0, u1, v0, v1 = window or whole
        step = float(u1 - u0) / width
        far = float(np.linalg.norm(points, axis=1).max()) * 2
        return cls(right, up, to, float(u0), float(v1), step, width, max(1, int((v1 - v0) / step)), far)

    def place(self, point: Floats) -> tuple[float, float]:
        """Points from the left and from the top at which a place (3,) of the quad, m, is seen."""
        return (
            float(point @ self.right - self.left) / self.step,
            float(self.top - point @ self.up) / self.step,
        )


def render_shapes(shapes: Shapes, tone: Mapping[str, float], eye: Eye) -> bytes:
    """Meshes as a grey PNG; ``tone`` is 0 (pale) to 1 (ink) by name."""
    return grey_png(shade_shapes(shapes, tone, eye))


def shade_shapes(
    shapes: Shapes, tone: Mapping[str, float], eye: Eye, around: int = AROUND
) -> NDArray[np.uint8]:
    """The same as grey points (rows, columns), 0 black; ``around`` rays darken what others surround."""
    sight = Sight(shapes)
    right, up, to = eye.right, eye.up, eye.to
    fine, rows = 2 * eye.width, 2 * eye.height  # two by two rays for each point of the picture
    step = eye.step / 2
    across, high = np.meshgrid(
        eye.left + (np.arange(fine) + 0.5) * step, eye.top - (np.arange(rows) + 0.5) * step
    )
    origin = across.ravel()[:, None] * right + high.ravel()[:, None] * up - eye.far * to
    part, distance, normal = sight.first(origin, np.tile(to, (len(origin), 1)))
    met = part >= 0
    normal = np.where((normal @ to > 0)[:, None], -normal, normal)
    light = np.array([0.25, 0.35, 1.0])
    light /= np.linalg.norm(light)
    shade = np.full(len(part), 1.0)
    lit = 0.55 + 0.45 * np.clip(normal[met] @ light, 0.0, 1.0)
    place = origin[met] + (distance[met] - 2e-5)[:, None] * to
    free = np.zeros(len(lit))
    for ray in fibonacci(around):
        turned = np.where((normal[met] @ ray < 0)[:, None], -ray, ray)
        _, reach, _ = sight.first(place, turned)
        free += np.minimum(reach, NEAR) / NEAR
    dark = np.array([1.0 - 0.82 * np.clip(tone.get(n, 0.0), 0.0, 1.0) for n in sight.names])
    shade[met] = lit * (0.45 + 0.55 * free / around if around else 1.0) * dark[part[met]]
    grid = shade.reshape(rows, fine)
    grid[_lines(part.reshape(rows, fine))] *= 0.35
    small = grid.reshape(rows // 2, 2, eye.width, 2).mean(axis=(1, 3))
    grey: NDArray[np.uint8] = np.clip(20 + 224 * small, 0, 255).astype(np.uint8)
    return grey


def quad_png(
    quad: Quad,
    tone: Mapping[str, float] | None = None,
    *,
    width: int = 900,
    azimuth: float = 40.0,
    elevation: float = 35.0,
) -> bytes:
    """The quad from ahead and above, each part as dark as ``tone`` says, as a grey PNG.

    Args:
        quad: what to draw.
        tone: 0 (pale) to 1 (ink) by part name, for instance exposure; pale by default.
        width: points across.
        azimuth: of the eye, deg, from ahead towards the left.
        elevation: of the eye, deg.
    """
    shapes = [(p.name, Mesh(p.vertices, p.faces)) for p in quad.parts if len(p.faces)]
    return render_shapes(shapes, tone or {}, Eye.on(shapes, width, azimuth, elevation))
