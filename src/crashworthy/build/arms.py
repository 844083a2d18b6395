"""Arms, motors and propellers: four equal corners of an X."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.drafts import Draft
from crashworthy.build.plates import circle
from crashworthy.build.quad import CORNER_NAMES, CORNERS
from crashworthy.build.solids import Mesh, lathe, loft, merge, prism, rotation
from crashworthy.quantities import DEG, GRAM, MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.frame_rows import Props
    from crashworthy.build.plates import Lying
    from crashworthy.build.sheet import Sheet

    Floats = NDArray[np.float64]

__all__ = ["ArmPlan", "clamping", "corner_drafts", "plan"]

TOUCH: Final = 0.5e-3
"""Faces closer than this, m, are taken to be clamped together."""

PITCH_MAX: Final = 40.0 * DEG
"""Steepest blade angle drawn; towards the hub real blades flatten out (assumption)."""

BLADE: Final = ((0.0, 0.6), (0.25, 1.0), (0.55, 0.95), (0.85, 0.72), (1.0, 0.3))
"""Blade width along its length: (fraction of the length, fraction of the chord) (assumption)."""


@dataclass(frozen=True, slots=True)
class ArmPlan:
    """Measures that all four arms share, SI.

    Attributes:
        azimuth: of each arm from x towards y, rad, in the order of ``CORNERS``.
        reach: centre to motor axis.
        root: centre to the place where the free length begins.
        bolts: distances of the clamp screws from the centre.
        hole: diameter of their holes, 0 without.
        clamped_by: names of the plates that touch the arms.
        assumed: whether ``root`` is a guess because no plate touches the arms.
    """

    azimuth: tuple[float, float, float, float]
    reach: float
    root: float
    bolts: tuple[float, ...]
    hole: float
    clamped_by: tuple[str, ...]
    assumed: bool

    def direction(self, corner: int) -> Floats:
        """Horizontal unit vector (3,) outwards along the arm at ``corner``."""
        return np.array([math.cos(self.azimuth[corner]), math.sin(self.azimuth[corner]), 0.0])


def clamping(sheet: Sheet, lying: list[Lying]) -> list[Lying]:
    """The plates whose faces touch the arms from below or above."""
    top = sheet.arms.t * MM
    return [p for p in lying if abs(p.high) < TOUCH or abs(p.low - top) < TOUCH]


def plan(sheet: Sheet, lying: list[Lying]) -> ArmPlan:
    """Where the arms point, where they are clamped and bolted.

    The free length begins at the first clamp edge seen from the motor at which an arm is held on every
    side that holds it: the smallest reach of the plates that touch it.
    """
    import shapely

    arms = sheet.arms
    half = arms.angle * DEG / 2
    azimuth = (half, -half, math.pi - half, -math.pi + half)
    reach, r0 = arms.wheelbase * MM / 2, arms.r0 * MM
    beyond = reach - arms.pad * MM / 2
    edges: list[float] = []
    names: list[str] = []
    ray = shapely.LineString([(0.0, 0.0), (reach * math.cos(half), reach * math.sin(half))])
    for plate in clamping(sheet, lying):
        held = ray.intersection(plate.filled)
        edge = 0.0 if held.is_empty else max(math.hypot(x, y) for x, y in shapely.get_coordinates(held))
        if edge > r0 + 1e-3:
            edges.append(min(edge, beyond))
            names.append(plate.name)
    assumed = arms.clamp is None and not edges
    if arms.clamp is not None:
        root = arms.clamp * MM
    elif edges:
        root = min(edges)
    else:
        root = min(r0 + arms.w_root * MM, beyond)
    screws = sheet.screws.get("arm")
    bolts: tuple[float, ...] = ()
    hole = 0.0
    if screws is not None and screws.at is None:
        d = float(screws.thread[1:]) * MM
        n = screws.per or 2
        low, high = r0 + 1.5 * d, root - 1.5 * d
        spots = np.linspace(low, high, n) if n > 1 and high > low else np.full(n, (r0 + root) / 2)
        bolts = tuple(float(x) for x in spots)
        hole = d + 0.2 * MM
    return ArmPlan(azimuth, reach, root, bolts, hole, tuple(names), assumed)


def _arm_mesh(sheet: Sheet, layout: ArmPlan) -> Mesh:
    """The arm that points along x."""
    import shapely

    arms = sheet.arms
    a, b = arms.w_root * MM / 2, arms.w_tip * MM / 2
    r0, r1 = arms.r0 * MM, layout.reach
    shape = shapely.Polygon([(r0, -a), (r1, -b), (r1, b), (r0, a)]).union(circle(r1, 0.0, arms.pad * MM, 24))
    cuts = [circle(r, 0.0, layout.hole, 10) for r in layout.bolts] if layout.hole else []
    screws = sheet.screws.get("motor")
    if screws is not None and screws.at is None:
        d = (float(screws.thread[1:]) + 0.2) * MM
        cuts += [circle(r1 + x, y, d, 10) for x, y in bolt_circle(sheet)]
    cut = shape.difference(shapely.union_all(cuts)) if cuts else shape
    # Holes wider than the arm would cut it apart; then the arm is drawn whole.
    return prism(cut if cut.geom_type == "Polygon" else shape, 0.0, arms.t * MM)


def bolt_circle(sheet: Sheet) -> list[tuple[float, float]]:
    """Motor screw places about the motor axis, m, for the arm along x."""
    motors, row = sheet.motors, sheet.screws.get("motor")
    n = (row.per if row is not None else None) or motors.screws
    r = motors.bolt_circle * MM / 2
    return [(r * math.cos(t), r * math.sin(t)) for t in (2 * math.pi * (k + 0.5) / n for k in range(n))]


def _motor_mesh(sheet: Sheet) -> Mesh:
    """Base and bell as two cylinders on one axis, standing on z = 0."""
    motors = sheet.motors
    bell, base = motors.d * MM / 2, min(motors.d / 2, motors.bolt_circle / 2 + 3.0) * MM
    step, top = (motors.h - motors.bell_height) * MM, motors.h * MM
    if step <= 1e-6:
        return lathe([(bell, 0.0), (bell, top)])
    return lathe([(base, 0.0), (base, step), (bell, step), (bell, top)])


def _prop_mesh(props: Props, turn: float) -> Mesh:
    """A prop at rest about z from z = 0, its first blade along x; ``turn`` is +1 counter-clockwise."""
    hub = lathe([(props.hub_d * MM / 2, 0.0), (props.hub_d * MM / 2, props.hub_h * MM)], 12)
    middle = props.hub_h * MM / 2
    start, end = 0.7 * props.hub_d * MM / 2, props.d * MM / 2
    rings = []
    for part, width in BLADE:
        r = start + part * (end - start)
        pitch = min(math.atan2(props.pitch * MM, 2 * math.pi * r), PITCH_MAX)
        c, t = width * props.chord * MM / 2, props.t * MM / 2
        # The leading edge (towards the turn) is the higher one.
        along = np.array([0.0, math.cos(pitch), math.sin(pitch)])
        across = np.array([0.0, -math.sin(pitch), math.cos(pitch)])
        corners = [
            -c * along - t * across,
            c * along - t * across,
            c * along + t * across,
            -c * along + t * across,
        ]
        rings.append([np.array([r, 0.0, middle]) + corner for corner in corners])
    blade = loft(np.array(rings))
    blades = [blade.moved(rotation(z=2 * math.pi * k / props.blades)) for k in range(props.blades)]
    mesh = merge(hub, *blades)
    return mesh if turn > 0 else mesh.moved(np.diag([1.0, -1.0, 1.0]))


def _disc_mesh(props: Props) -> Mesh:
    middle, half = props.hub_h * MM / 2, max(props.t * MM, props.chord * MM * math.sin(0.35)) / 2
    return lathe([(props.d * MM / 2, middle - half), (props.d * MM / 2, middle + half)], 36)


def corner_drafts(sheet: Sheet, layout: ArmPlan) -> list[Draft]:
    """The four arms, then the four motors, then the four props."""
    arms, motors, props = sheet.arms, sheet.motors, sheet.props
    arm_mesh, motor_mesh = _arm_mesh(sheet, layout), _motor_mesh(sheet)
    seat = (arms.t + motors.h) * MM
    rotor = seat + props.hub_h * MM / 2
    drafts: list[list[Draft]] = [[], [], []]
    for i, (corner, words) in enumerate(zip(CORNERS, CORNER_NAMES, strict=True)):
        left = i % 2 == 0
        # The right side is the mirror image of the left, exactly.
        azimuth = layout.azimuth[i] if left else -layout.azimuth[i]
        turn = rotation(z=azimuth)
        turn = turn if left else np.diag([1.0, -1.0, 1.0]) @ turn
        axis = layout.reach * layout.direction(i)
        drafts[0].append(
            Draft(
                f"arm_{corner}",
                f"{words} arm",
                "arm",
                arms.material,
                "arms",
                arm_mesh.moved(turn),
                arm=i,
                measures={
                    "thickness": arms.t * MM,
                    "width": arms.w_root * MM,
                    "width_tip": arms.w_tip * MM,
                    "hole": layout.hole,
                },
            )
        )
        drafts[1].append(
            Draft(
                f"motor_{corner}",
                f"{words} motor",
                "motor",
                motors.material,
                "motors",
                motor_mesh.moved(turn, axis + np.array([0.0, 0.0, arms.t * MM])),
                motors.mass * GRAM,
                arm=i,
                measures={
                    "shaft_diameter": motors.shaft_d * MM,
                    "bell_radius": motors.d * MM / 2,
                    "bell_wall": motors.bell_wall * MM,
                    "bell_height": motors.bell_height * MM,
                    "height": motors.h * MM,
                    "rotor_plane": rotor,
                },
                weld=f"rotor_{corner}",
            )
        )
        # "in": the front left prop turns clockwise seen from above, the front right one the other way.
        clockwise = (i in (0, 3)) == (motors.spin == "in")
        prop = (
            _disc_mesh(props)
            if props.shape == "disc"
            else _prop_mesh(props, -1.0 if clockwise == left else 1.0)
        )
        drafts[2].append(
            Draft(
                f"prop_{corner}",
                f"{words} prop",
                "prop",
                props.material,
                "props",
                prop.moved(turn, axis + np.array([0.0, 0.0, seat])),
                props.mass * GRAM,
                arm=i,
                measures={
                    "diameter": props.d * MM,
                    "blades": float(props.blades),
                    "chord": props.chord * MM,
                    "thickness": props.t * MM,
                    "rotor_plane": rotor,
                    "spin": -1.0 if clockwise else 1.0,
                },
                weld=f"rotor_{corner}",
            )
        )
    return [d for group in drafts for d in group]
