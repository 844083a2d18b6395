"""The frame's sections of a build sheet, one model each. Lengths mm, masses g, angles degrees.

Defaults are common sizes of a 5-inch freestyle quad (common practice, no source), there to be overwritten.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, model_validator

from crashworthy.build.fields import (
    Coordinate,
    Count,
    FileName,
    Grams,
    Length,
    Material,
    Name,
    Point2,
    Point3,
    Row,
    problem,
)

__all__ = ["Arms", "Motors", "Plate", "Props", "Pull", "Screws", "Standoffs", "Tap"]

Corner = Literal["fl", "fr", "rl", "rr"]
Thread = Literal["M1.4", "M1.6", "M2", "M2.5", "M3", "M3.5", "M4", "M5", "M6"]
Grade = Literal[
    "4.8", "5.8", "6.8", "8.8", "10.9", "12.9", "A2-50", "A2-70", "A2-80", "A4-50", "A4-70", "A4-80", "ti64"
]
Thickness = Annotated[float, Field(ge=0.2, le=60)]
POINTS_MAX: Final = 2000
"""More corners than this in one row is a drawing, and belongs in a drawing file."""


class Pull(Row):
    """A static pull at the motor's axis, the body held down."""

    n: Annotated[float, Field(ge=0.1, le=500)] = Field(
        description="the force, N (0.1 to 500; 1 kg pulls 9.81)"
    )
    mm: Annotated[float, Field(ge=0.02, le=60)] = Field(
        description="how far the motor's axis moved, mm (0.02 to 60)"
    )


class Tap(Row):
    """A tap beside the motor, the body held down, and the tone that rings."""

    hz: Annotated[float, Field(ge=5, le=2000)] = Field(description="the frequency, Hz (5 to 2000)")
    prop: bool = Field(default=False, description="true when the prop was on, else false")


class Arms(Row):
    """Four equal arms in an X, their undersides at z = 0."""

    wheelbase: Annotated[float, Field(ge=60, le=900)] = Field(
        description="the distance between diagonally opposite motors, mm (60 to 900)"
    )
    layout: Literal["x"] = Field(
        default="x", description='the arrangement of the arms: "x" is the only one so far'
    )
    angle: Annotated[float, Field(ge=30, le=150)] = Field(
        default=90.0, description="the angle between the two front arms, degrees (30 to 150; 90 is a true X)"
    )
    t: Annotated[float, Field(ge=0.5, le=20)] = Field(
        default=5.0, description="the thickness, mm (0.5 to 20)"
    )
    w_root: Annotated[float, Field(ge=3, le=80)] = Field(
        default=18.0, description="the width at r0, mm (3 to 80)"
    )
    w_tip: Annotated[float, Field(ge=3, le=80)] = Field(
        default=12.0, description="the width at the motor axis, mm (3 to 80)"
    )
    r0: Annotated[float, Field(ge=0, le=400)] = Field(
        default=22.0, description="the distance of the arm's inner end from the centre, mm"
    )
    clamp: Annotated[float, Field(gt=0, le=450)] | None = Field(
        default=None,
        description="the distance from the centre at which the free length begins, mm; "
        "left out, it is where the arm leaves the plates that touch it",
    )
    pad: Annotated[float, Field(ge=5, le=120)] = Field(
        default=27.0, description="the diameter of the round motor pad, mm (5 to 120)"
    )
    material: Material = Field(default="carbon_plate", description="the material's key in the density table")
    pull_up: Pull | None = Field(
        default=None, description="{ n, mm } of a pull upwards at the tip of one arm; left out, not measured"
    )
    pull_side: Pull | None = Field(
        default=None, description="{ n, mm } of a pull sideways, across the arm; left out, not measured"
    )
    tap_up: Tap | None = Field(
        default=None, description="{ hz, prop } of a tap from above; left out, not measured"
    )
    tap_side: Tap | None = Field(
        default=None, description="{ hz, prop } of a tap from the side; left out, not measured"
    )

    @model_validator(mode="after")
    def _order(self) -> Arms:
        reach = self.wheelbase / 2
        if self.r0 > reach - self.pad / 2:
            raise problem(
                f"r0 = {self.r0:g} mm leaves no arm: the motor pad begins {reach - self.pad / 2:g} mm out",
                "make r0 smaller or the wheelbase larger",
            )
        if self.clamp is not None and not self.r0 <= self.clamp <= reach - self.pad / 2:
            raise problem(
                f"clamp = {self.clamp:g} mm is not on the arm",
                f"give a distance between r0 ({self.r0:g}) and the motor pad ({reach - self.pad / 2:g}), mm",
            )
        return self


class Motors(Row):
    """Four equal motors standing on the arms, screwed from below."""

    d: Length = Field(default=28.0, description="the outer diameter of the bell, mm")
    h: Length = Field(default=19.0, description="the height from the arm to the prop's seat, mm")
    mass: Grams = Field(default=33.0, description="the mass of one motor with its wires, g")
    bolt_circle: Length = Field(default=16.0, description="the diameter of the circle of screws, mm")
    screws: Count = Field(default=4, description="how many screws hold each motor (1 to 64)")
    shaft_d: Annotated[float, Field(ge=1, le=12)] = Field(
        default=4.0, description="the diameter of the shaft inside the bearings, mm (1 to 12)"
    )
    bell_wall: Annotated[float, Field(ge=0.3, le=6)] = Field(
        default=1.0, description="the wall thickness of the bell, mm (0.3 to 6)"
    )
    bell_height: Length = Field(default=13.0, description="the height of the turning bell, mm (less than h)")
    material: Material = Field(default="al7075", description="the material's key in the density table")
    spin: Literal["in", "out"] = Field(
        default="in", description='"in" when the leading halves of the front props sweep inwards, else "out"'
    )
    log_order: tuple[Corner, Corner, Corner, Corner] = Field(
        default=("fl", "fr", "rl", "rr"),
        description='the corners of motors 1 to 4 of the flight log, each of "fl", "fr", "rl", "rr" once',
    )

    @model_validator(mode="after")
    def _consistent(self) -> Motors:
        if self.bell_height > self.h:
            raise problem("bell_height is more than the motor's height h", "make bell_height smaller than h")
        if self.bolt_circle >= self.d * 1.5:
            raise problem(
                "bolt_circle is far wider than the motor", "give the diameter of the screw circle, mm"
            )
        if 2 * self.bell_wall >= self.d or self.shaft_d >= self.d:
            raise problem("bell_wall or shaft_d does not fit into d", "check d, bell_wall and shaft_d, mm")
        if len(set(self.log_order)) != len(self.log_order):
            raise problem(
                "log_order names a corner twice", 'give each of "fl", "fr", "rl", "rr" once, motor 1 first'
            )
        return self


class Props(Row):
    """Four equal propellers on the motors."""

    d: Annotated[float, Field(ge=20, le=400)] = Field(
        default=127.0, description="the diameter, mm (20 to 400; 5 inch is 127)"
    )
    blades: Annotated[int, Field(ge=2, le=8)] = Field(default=3, description="the number of blades (2 to 8)")
    pitch: Annotated[float, Field(ge=0, le=400)] = Field(
        default=110.0, description="the advance per turn, mm (0 to 400)"
    )
    chord: Annotated[float, Field(ge=2, le=60)] = Field(
        default=13.0, description="the greatest width of a blade, mm (2 to 60)"
    )
    t: Annotated[float, Field(ge=0.3, le=6)] = Field(
        default=1.2, description="the thickness of a blade, mm (0.3 to 6)"
    )
    hub_d: Length = Field(default=13.0, description="the diameter of the hub, mm")
    hub_h: Length = Field(default=6.5, description="the height of the hub, mm")
    mass: Grams = Field(default=4.2, description="the mass of one prop, g")
    shape: Literal["blades", "disc"] = Field(
        default="blades",
        description='"blades" for props at rest, "disc" for the space that turning props sweep',
    )
    material: Material = Field(default="prop_blade", description="the material's key in the density table")

    @model_validator(mode="after")
    def _hub_fits(self) -> Props:
        if self.hub_d > self.d / 2:
            raise problem(
                "hub_d is more than half the prop's diameter", "give the hub's own diameter in hub_d, mm"
            )
        return self


class Plate(Row):
    """A plate: lying (dxf, rect or poly) or a pair of upright cheeks (side)."""

    dxf: FileName | None = Field(default=None, description="the name of a DXF drawing beside the sheet")
    layer: str | None = Field(default=None, description="the drawing's layer to read; left out, all of them")
    scale: Annotated[float, Field(gt=0, le=10000)] | None = Field(
        default=None, description="mm per drawing unit; left out, the drawing's own unit counts"
    )
    rect: tuple[Length, Length] | None = Field(
        default=None, description="the length along x and the width along y, mm"
    )
    poly: Annotated[tuple[Point2, ...], Field(min_length=3, max_length=POINTS_MAX)] | None = Field(
        default=None, description="the corners [[x, y], ...] in order, mm (at least three)"
    )
    side: Annotated[tuple[Point2, ...], Field(min_length=3, max_length=POINTS_MAX)] | None = Field(
        default=None,
        description="the corners [[x, z], ...] of an upright plate in order, mm (at least three)",
    )
    y: Coordinate | None = Field(
        default=None, description="the inner face of an upright plate, mm; both sides get one unless it is 0"
    )
    at: Point2 = Field(
        default=(0.0, 0.0), description="where the drawing's origin or the rectangle's centre lies, mm"
    )
    z: Coordinate = Field(default=0.0, description="the underside of a lying plate, mm")
    t: Thickness = Field(description="the thickness, mm (0.2 to 60)")
    material: Material = Field(default="carbon_plate", description="the material's key in the density table")
    corner: Annotated[float, Field(ge=0, le=200)] = Field(
        default=4.0, description="the corner radius of rect, mm (0 to 200)"
    )
    holes: Annotated[tuple[tuple[Coordinate, Coordinate, Length], ...], Field(max_length=POINTS_MAX)] = Field(
        default=(), description="round holes [[x, y, diameter], ...], mm (x, z for an upright plate)"
    )
    slots: Annotated[
        tuple[tuple[Coordinate, Coordinate, Length, Length], ...], Field(max_length=POINTS_MAX)
    ] = Field(default=(), description="openings [[x, y, length along x, width], ...], mm")
    mass: Grams | None = Field(
        default=None, description="the weighed mass, g; left out, volume times density"
    )

    @model_validator(mode="after")
    def _one_outline(self) -> Plate:
        given = [k for k in ("dxf", "rect", "poly", "side") if getattr(self, k) is not None]
        if len(given) != 1:
            what = f"gives {' and '.join(given)}" if given else "gives no outline"
            raise problem(f"the plate {what}", "give exactly one of dxf, rect, poly or side")
        if (self.side is None) != (self.y is None):
            raise problem(
                "side and y belong together", "give both for upright plates, neither for lying ones"
            )
        if self.dxf is None and (self.layer is not None or self.scale is not None):
            raise problem("layer and scale are for drawings", "take them out or give dxf")
        return self


class Standoffs(Row):
    """Equal spacers between plates."""

    at: Annotated[tuple[Point2, ...], Field(min_length=1, max_length=40)] = Field(
        description="the places [[x, y], ...], mm; each with y other than 0 stands on the other side too"
    )
    z: Coordinate = Field(description="the lower end, mm")
    h: Length = Field(description="the height, mm")
    d: Annotated[float, Field(ge=1, le=40)] = Field(
        default=5.0, description="the outer diameter, mm (1 to 40)"
    )
    bore: Annotated[float, Field(ge=0, le=30)] = Field(
        default=3.0, description="the bore, mm (0 for a solid one; less than d)"
    )
    mirror: bool = Field(default=True, description="true to repeat each on the other side, else false")
    material: Material = Field(default="al6061", description="the material's key in the density table")
    mass: Grams | None = Field(
        default=None, description="the weighed mass of one, g; left out, volume times density"
    )

    @model_validator(mode="after")
    def _bore_fits(self) -> Standoffs:
        if self.bore >= self.d:
            raise problem("bore is not smaller than d", "give the bore's diameter, mm, or 0 for a solid one")
        return self


class Screws(Row):
    """One joint group."""

    thread: Thread = Field(description='the thread: "M1.4" to "M6"')
    length: Annotated[float, Field(ge=1, le=120)] = Field(
        description="the length under the head, mm (1 to 120)"
    )
    grade: Grade = Field(
        default="8.8",
        description='the strength class marked on the head, such as "8.8", "10.9", "12.9", "A2-70" or "ti64" '
        '("8.8" is the careful choice when unmarked)',
    )
    nut: Literal["none", "nyloc", "press", "threaded"] = Field(
        default="none", description="what it turns into: none (a tapped hole), nyloc, press or threaded"
    )
    threadlock: bool = Field(default=False, description="true when a thread locker is on, else false")
    per: Count | None = Field(
        default=None, description="how many for each arm, motor, standoff, stack or camera (1 to 64)"
    )
    upkeep: Literal["arm", "motor", "other"] | None = Field(
        default=None, description='whose interval it takes: "arm", "motor" or "other"; left out, by its name'
    )
    at: Annotated[tuple[Point3, ...], Field(min_length=1, max_length=200)] | None = Field(
        default=None, description="the places [[x, y, z], ...], mm; left out, they follow from the geometry"
    )
    joins: tuple[Name, ...] | None = Field(
        default=None, description="the parts it holds; left out, they follow from the geometry"
    )
