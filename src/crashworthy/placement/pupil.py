"""Where the entrance pupil is, from one picture: a corner of the frame marked where it stands in the image.

The pupil lies on the lens's axis at the place from which the lines of sight of the marks pass nearest to
their
corners (least squares, one unknown). Its uncertainty is that of the inputs carried through by first
differences, each input on its own (JCGM 100:2008, 5.1.2, recalled).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, SheetError
from crashworthy.placement.camera import CAGE, CameraBench, Pose
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.build.equipment_rows import Camera
    from crashworthy.placement.lens import Lens

    Floats = NDArray[np.float64]

__all__ = ["GUESS_SD", "Corner", "Mark", "PupilFit", "Spread", "corners", "fit_pupil"]

GUESS_SD: Final = 1.0
"""Standard deviation of a pupil that nobody measured, mm (assumption)."""

NEAR: Final = 80.0
"""Corners farther from the lens than this, mm, hardly move when the pupil does."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A corner of the frame and where it stands in the picture.

    Attributes:
        corner: (x, y, z) in the quad, mm.
        pixel: (columns from the left, rows from the top) of the picture, 0 for the first.
        size: (columns, rows) of the picture.
    """

    corner: tuple[float, float, float]
    pixel: tuple[float, float]
    size: tuple[int, int]

    @property
    def place(self) -> tuple[float, float]:
        """Right (-1 to 1) and up, in half widths of the picture, from its middle."""
        width, height = self.size
        return (2 * (self.pixel[0] + 0.5) / width - 1, (height - 2 * (self.pixel[1] + 0.5)) / width)


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of what goes in; every one an assumption, there to be changed.

    Attributes:
        pixel: of a mark in each direction, pixels.
        corner: of a corner in each direction, mm.
        tilt: of the camera's tilt, deg.
        focal: of the focal length, as a share (a field of view off the data sheet).
    """

    pixel: float = 2.0
    corner: float = 0.3
    tilt: float = 0.5
    focal: float = 0.02


@dataclass(frozen=True, slots=True)
class PupilFit:
    """The pupil as found.

    Attributes:
        pupil: behind the lens front, mm.
        sd: its standard deviation, mm.
        miss: root mean square distance of the corners from their lines of sight, mm.
        marks: how many.
        causes: (words, standard deviation it brings, mm), the largest first.
        before: what the sheet said, mm.
    """

    pupil: float
    sd: float
    miss: float
    marks: int
    causes: tuple[tuple[str, float], ...]
    before: float

    def summary(self) -> str:
        """One sentence."""
        words, most = self.causes[0]
        move = self.pupil - self.before
        way = "deeper" if move > 0 else "less deep"
        return (
            f"The pupil lies {self.pupil:.1f} ± {self.sd:.1f} mm behind the glass, not {self.before:g} "
            "mm, so "
            f"the picture is what a lens {abs(move):.1f} mm {way} would see; most of the doubt comes "
            "from the "
            f"{words} ({most:.1f} mm)."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data, mm."""
        return {
            "pupil_mm": round(self.pupil, 3),
            "sd_mm": round(self.sd, 3),
            "miss_mm": round(self.miss, 3),
            "marks": self.marks,
            "before_mm": self.before,
            "causes_mm": {words: round(sd, 3) for words, sd in self.causes},
            "summary": self.summary(),
        }


def _solve(lens: Lens, pose: Pose, corner: Floats, place: Floats) -> tuple[float, float]:
    """Pupil behind the lens front and root mean square miss, m, from corners (k, 3) and places (k, 2)."""
    ray = lens.direction(place[:, 0], place[:, 1]) @ pose.turn.T
    # Across the ray: e = P (corner - front + s axis), linear in s.
    across = np.eye(3) - ray[:, :, None] * ray[:, None, :]
    a = np.einsum("kij,j->ki", across, pose.axis).ravel()
    b = np.einsum("kij,kj->ki", across, corner - pose.front).ravel()
    if a @ a < 1e-3 * len(corner):
        raise SheetError(
            Problem("these marks do not settle the pupil", "mark a corner far from the picture's middle")
        )
    s = float(-(a @ b) / (a @ a))
    return s, math.sqrt(float(((b + s * a) ** 2).sum()) / len(corner))


def fit_pupil(lens: Lens, camera: Camera, marks: Sequence[Mark], spread: Spread | None = None) -> PupilFit:
    """Find the entrance pupil.

    Args:
        lens: as described in the sheet.
        camera: as in the sheet; its recess and tilt must be those of the picture.
        marks: one or more.
        spread: standard deviations of what goes in; the assumed ones by default.

    Raises:
        SheetError: no mark, a mark outside its picture, a picture of another shape, marks too near the middle
            to say anything, or a pupil that cannot be inside the camera.
    """
    spread = spread or Spread()
    if not marks:
        raise SheetError(Problem("no corner is marked", "mark a corner that is just visible"))
    for m in marks:
        if not (0 <= m.pixel[0] < m.size[0] and 0 <= m.pixel[1] < m.size[1]):
            raise SheetError(
                Problem(
                    f"the mark {m.pixel[0]:g}, {m.pixel[1]:g} lies outside a picture of {m.size[0]} x "
                    f"{m.size[1]} pixels",
                    "columns count from the left, rows from the top, both from 0",
                )
            )
        if abs(m.size[0] / m.size[1] / lens.aspect - 1) > 0.03:
            raise SheetError(
                Problem(
                    f"the picture is {m.size[0]} x {m.size[1]}, the sheet says {lens.aspect:.3f} wide "
                    "to high",
                    "use the whole picture, not cropped, or mend the aspect",
                    field="camera.view.aspect",
                )
            )
    corner = np.array([m.corner for m in marks]) * MM
    place = np.array([m.place for m in marks])

    def pupil(corner: Floats, place: Floats, tilt: float = 0.0, focal: float = 1.0) -> float:
        pose = Pose.of(camera, tilt=camera.at.tilt + tilt)
        return _solve(replace(lens, f=lens.f * focal), pose, corner, place)[0]

    found, miss = _solve(lens, Pose.of(camera), corner, place)
    pixel = sum(
        (pupil(corner, place + _one(place.shape, k, i, 2 * spread.pixel / m.size[0])) - found) ** 2
        for k, m in enumerate(marks)
        for i in range(2)
    )
    where = sum(
        (pupil(corner + _one(corner.shape, k, i, spread.corner * MM), place) - found) ** 2
        for k in range(len(marks))
        for i in range(3)
    )
    causes = (
        ("mark in the picture", math.sqrt(pixel) / MM),
        ("place of the corner", math.sqrt(where) / MM),
        ("tilt", abs(pupil(corner, place, tilt=spread.tilt) - found) / MM),
        ("field of view", abs(pupil(corner, place, focal=1 + spread.focal) - found) / MM),
    )
    sd = math.sqrt(sum(s * s for _, s in causes))
    deepest = camera.lens_l + camera.body[0]
    if not -sd <= found / MM <= deepest:
        raise SheetError(
            Problem(
                f"these marks put the pupil {found / MM:.1f} mm behind the glass, where no lens is",
                "check the corner's place, the tilt, the recess and the field of view",
                field="camera.pupil",
            )
        )
    return PupilFit(
        max(0.0, found / MM),
        sd,
        miss / MM,
        len(marks),
        tuple(sorted(causes, key=lambda c: -c[1])),
        camera.pupil,
    )


def _one(shape: tuple[int, ...], k: int, i: int, step: float) -> Floats:
    """Zeros with one step."""
    out = np.zeros(shape)
    out[k, i] = step
    return out


@dataclass(frozen=True, slots=True)
class Corner:
    """A corner of the cage that the picture shows.

    Attributes:
        label: of the part.
        at: (x, y, z) mm.
        place: (right, up) where it should stand in the picture with the pupil as the sheet has it.
        shift: how far it would move in the picture for one millimetre of pupil, half widths.
    """

    label: str
    at: tuple[float, float, float]
    place: tuple[float, float]
    shift: float

    @property
    def words(self) -> str:
        """What and where, for a list to choose from."""
        right, up = self.place
        side = ("right" if right > 0.1 else "left" if right < -0.1 else "middle",
                "above" if up > 0.1 else "below" if up < -0.1 else "level")  # fmt: skip
        return f"{self.label} ({side[0]}, {side[1]}): {self.at[0]:g}, {self.at[1]:g}, {self.at[2]:g}"


def corners(bench: CameraBench, most: int = 8) -> tuple[Corner, ...]:
    """Corners of the cage worth marking, those that say most about the pupil first.

    Args:
        bench: the quad without its camera.
        most: how many.
    """
    pose = Pose.of(bench.camera)
    found: list[Corner] = []
    for part in bench.quad.parts:
        if part.kind not in CAGE or part.kind == "screw" or not len(part.faces):
            continue
        points = np.unique(np.round(part.vertices / MM, 1), axis=0) * MM
        points = points[np.linalg.norm(points - pose.front, axis=1) < NEAR * MM]
        way = points - pose.pupil
        far = np.linalg.norm(way, axis=1, keepdims=True)
        way = way / np.maximum(far, 1e-9)
        ahead = (way @ pose.axis > 0.05) & (far[:, 0] > 2 * MM)
        points, way, far = points[ahead], way[ahead], far[ahead, 0]
        if not len(points):
            continue
        place = bench.lens.picture(way @ pose.turn)
        inside = (np.abs(place[:, 0]) <= 1) & (np.abs(place[:, 1]) <= 1 / bench.lens.aspect)
        met = bench.sight.first(pose.pupil, way)[1]
        seen = inside & (met > far - 0.3 * MM)
        moved = bench.lens.picture((points - pose.pupil + 1 * MM * pose.axis) @ pose.turn)
        shift = np.linalg.norm(moved - place, axis=1)
        for i in np.flatnonzero(seen):
            x, y, z = (float(round(v, 1)) for v in points[i] / MM)
            found.append(
                Corner(part.label, (x, y, z), (float(place[i, 0]), float(place[i, 1])), float(shift[i]))
            )
    found.sort(key=lambda c: (-round(c.shift, 4), c.words))
    kept: list[Corner] = []
    for c in found:
        if all(math.dist(c.at, k.at) > 4.0 for k in kept):
            kept.append(c)
    return tuple(kept[:most])
