"""One crash set up by hand: what the outside checks and the tests run through the product's own kernel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.impact.blocks import crash
from crashworthy.impact.contact import BED, yield_depth
from crashworthy.impact.craft import RESULT, Beds, Craft
from crashworthy.impact.obstacle import PARAMS, PLANE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Scene", "plane", "run", "single_bed"]


@dataclass(frozen=True, slots=True)
class Scene:
    """Results of ``run``, arrays with the crash as last axis.

    Attributes:
        peak, impulse, touched: (parts, n) N, N s, s.
        moment: (arms, 3, n) peak in plane and out of plane, N m, peak interaction.
        scalars: by name (``craft.RESULT``), each (n,).
        flags: (n,).
        trace: (frames, 8 + 3 limbs + arms, n) time, position, quaternion, u of each limb, twist of each arm;
            empty unless asked for.
        twist: (arms, n) peak root torque, N m.
        limb: (limbs, 2, n) peak utilisation and travel, m.
        shear: (arms, 2, n) peak sideways force on the screws of root and motor, N.
        broken: (2, arms, n) when each arm and prop broke, s; -1 when whole.
    """

    peak: Floats
    impulse: Floats
    touched: Floats
    moment: Floats
    scalars: dict[str, Floats]
    flags: NDArray[np.int32]
    trace: Floats
    shear: Floats
    broken: Floats
    twist: Floats
    limb: Floats


def plane(normal: tuple[float, float, float] = (0.0, 0.0, 1.0), n: int = 1) -> Floats:
    """(16, n) rows of a plane through the origin."""
    rows = np.zeros((PARAMS, n))
    rows[3:6] = np.array(normal)[:, None]
    return rows


def single_bed(
    stiffness: float, crush: float, y: float = 0.0, mu: float = 0.0, law: int = BED, parts: int = 1
) -> Beds:
    """One surface, equal beds for every part; ``y`` is alpha times the closing speed."""

    def table(x: float) -> Floats:
        return np.full((1, parts), float(x))

    return Beds(
        table(stiffness),
        table(crush),
        table(yield_depth(law, stiffness, crush)),
        table(y),
        table(mu),
        np.zeros((1, parts), dtype=np.int32),
    )


def run(
    craft: Craft,
    beds: Beds,
    state: Floats,
    *,
    obstacles: Floats | None = None,
    kinds: NDArray[np.int32] | None = None,
    surfaces: NDArray[np.int32] | None = None,
    speed: Floats | None = None,
    law: int = BED,
    dt: float = 1e-5,
    steps: int = 2000,
    every: int = 0,
    strength: Floats | None = None,
    width: int | None = 1,
) -> Scene:
    """Run the kernel on (13, n) initial states.

    Args:
        craft: the body.
        beds: its contact beds.
        state: position and velocity of the core (world), quaternion, body rate; (13 + 4 arms) rows with each
            arm's tip deflections in and out of plane and their rates.
        obstacles: (16, n) rows; a horizontal plane through the origin by default.
        kinds: (n,) shapes; planes by default.
        surfaces: (n,) rows of ``beds``; 0 by default.
        speed: (n,) closing speeds that ``y`` refers to; 1 m/s by default, so that ``y`` is alpha.
        law: ``contact.BED`` or ``contact.HERTZ``.
        dt: time step, s.
        steps: most steps.
        every: keep a frame each so many steps; 0 keeps none.
        strength: (2 arms, n) what breaks arms and props; nothing by default.
        width: crashes side by side; one by default, None for as many as the processor's registers hold.
    """
    n = state.shape[1]
    got = crash(
        craft,
        beds,
        law,
        np.full(n, PLANE, dtype=np.int32) if kinds is None else kinds,
        np.zeros(n, dtype=np.int32) if surfaces is None else surfaces,
        plane(n=n) if obstacles is None else obstacles,
        state,
        np.ones(n) if speed is None else speed,
        dt=dt,
        steps=steps,
        settle=1e9,
        every=every,
        strength=strength,
        width=width,
    )
    return Scene(
        got.peak, got.impulse, got.touched, got.moment, dict(zip(RESULT, got.scalars, strict=True)),
        got.flags, got.trace, got.shear, got.broken, got.twist, got.limb,
    )  # fmt: skip
