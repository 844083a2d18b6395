"""Recess against tilt: what the picture loses to the cage, and what can still touch the glass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import Problem, SheetError
from crashworthy.placement.camera import VIEW_LIMIT, CameraBench, CameraRow
from crashworthy.placement.pupil import GUESS_SD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.quad import Quad

__all__ = ["RECESSES", "TILTS", "Deepest", "TradeOff", "trade_off"]

TILTS: Final = (20.0, 30.0, 40.0)
"""Tilts tried unless asked otherwise, deg, beside the sheet's own."""

RECESSES: Final = (-4.0, -2.0, 0.0, 2.0, 4.0, 6.0)
"""Recesses tried unless asked otherwise, mm, beside the sheet's own."""


@dataclass(frozen=True, slots=True)
class Deepest:
    """The deepest recess at one tilt.

    Attributes:
        tilt: deg.
        recess: mm, or None where even a lens far out has the cage in its picture.
        row: view and protection there, or None.
    """

    tilt: float
    recess: float | None
    row: CameraRow | None


@dataclass(frozen=True, slots=True)
class TradeOff:
    """Every recess at every tilt.

    Attributes:
        name: of the quad.
        now: the lens as it is.
        rows: by tilt, then recess.
        deepest: one for each tilt.
        limit: share of the picture the cage may cover.
        pupil: behind the glass, mm.
        pupil_sd: its standard deviation, mm.
        measured: whether somebody measured the pupil.
    """

    name: str
    now: CameraRow
    rows: tuple[CameraRow, ...]
    deepest: tuple[Deepest, ...]
    limit: float
    pupil: float
    pupil_sd: float
    measured: bool

    @property
    def doubt(self) -> str:
        """How sure the recesses are: the pupil moves them one to one."""
        how = "as measured" if self.measured else "a guess until you mark a corner in one picture"
        return (
            f"A recess is known to ± {self.pupil_sd:.1f} mm, as well as the pupil {self.pupil:g} mm "
            "behind the "
            f"glass ({how})."
        )

    @property
    def best(self) -> Deepest:
        """The deepest recess at the tilt as it is."""
        return next(d for d in self.deepest if d.tilt == self.now.tilt)

    def summary(self) -> str:
        """One sentence: the deepest recess at the tilt as it is."""
        best = self.best
        if best.recess is None or best.row is None:
            return (
                f"At {self.now.tilt:g} deg no recess keeps the cage under {100 * self.limit:g} % of the "
                "picture: file the plates, or take a narrower lens."
            )
        move = best.recess - self.now.recess
        act = (
            f"Move the camera {abs(move):.1f} mm {'back' if move > 0 else 'forward'}: "
            if abs(move) >= 0.1
            else "The camera sits as deep as it may: "
        )
        return (
            f"{act}{best.recess:.1f} mm is the deepest recess at {self.now.tilt:g} deg with the cage "
            "in at most "
            f"{100 * self.limit:g} % of the picture."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "name": self.name,
            "summary": self.summary(),
            "doubt": self.doubt,
            "now": self.now.to_json(),
            "rows": [r.to_json() for r in self.rows],
            "deepest": [
                {
                    "tilt_deg": d.tilt,
                    "recess_mm": None if d.recess is None else round(d.recess, 2),
                    "row": None if d.row is None else d.row.to_json(),
                }
                for d in self.deepest
            ],
            "view_limit_share": self.limit,
            "pupil_mm": self.pupil,
            "pupil_sd_mm": self.pupil_sd,
            "pupil_measured": self.measured,
        }


def trade_off(
    quad: Quad,
    tilts: Sequence[float] = TILTS,
    recesses: Sequence[float] = RECESSES,
    limit: float = VIEW_LIMIT,
) -> TradeOff:
    """Try every recess at every tilt, and find the deepest recess at each tilt.

    Args:
        quad: with a camera whose view is described.
        tilts: deg; the sheet's own is added.
        recesses: mm; the sheet's own is added.
        limit: share of the picture the cage may cover, 0 to 1.

    Raises:
        SheetError: there is no camera, its view is not described, or a number is out of range.
    """
    if (
        not 0 <= limit <= 1
        or any(not -90 <= t <= 90 for t in tilts)
        or any(not -60 <= r <= 120 for r in recesses)
    ):
        raise SheetError(
            Problem(
                "a tilt, recess or limit is out of range",
                "tilts -90 to 90 deg, recesses -60 to 120 mm, a limit of 0 to 100 % of the picture",
            )
        )
    bench = CameraBench(quad)
    at = bench.camera.at
    every_tilt = sorted({*tilts, at.tilt})
    rows = bench.trade_off(every_tilt, sorted({*recesses, at.recess}))
    found = []
    for tilt in every_tilt:
        deepest = bench.deepest(tilt, limit)
        found.append(Deepest(tilt, deepest, None if deepest is None else bench.row(deepest, tilt)))
    sd = bench.camera.pupil_sd
    return TradeOff(
        quad.name,
        next(r for r in rows if r.tilt == at.tilt and r.recess == at.recess),
        rows,
        tuple(found),
        limit,
        bench.camera.pupil,
        GUESS_SD if sd is None else sd,
        sd is not None,
    )
