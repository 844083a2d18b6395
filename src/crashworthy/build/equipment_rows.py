"""The equipment's sections of a build sheet, one model each. Lengths mm, masses g, angles degrees.

Defaults are common sizes of a 5-inch freestyle quad (common practice, no source), there to be overwritten.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from crashworthy.build.fields import (
    Coordinate,
    Degrees,
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

__all__ = [
    "Antenna",
    "Battery",
    "Board",
    "Box",
    "Camera",
    "CameraPlace",
    "Import",
    "Lead",
    "Mount",
    "Stack",
    "Strap",
    "View",
]

Face = Literal["front", "rear", "left", "right", "top", "bottom"]


class Board(Row):
    """One board of the stack."""

    name: Name = Field(description="its name: small letters, digits and _")
    size: tuple[Length, Length, Length] = Field(description="length, width and height with its parts on, mm")
    mass: Grams = Field(description="the mass, g")


class Stack(Row):
    """Boards on a common pattern of screws, from the bottom up."""

    z: Coordinate = Field(description="the underside of the lowest board, mm")
    boards: Annotated[tuple[Board, ...], Field(min_length=1, max_length=12)] = Field(
        description="the boards [{name, size, mass}, ...] from the bottom up"
    )
    at: Point2 = Field(default=(0.0, 0.0), description="the centre of the pattern, mm")
    pattern: Annotated[float, Field(ge=5, le=60)] = Field(
        default=30.5, description="the screw spacing, mm (5 to 60)"
    )
    gap: Annotated[float, Field(ge=0, le=60)] = Field(
        default=4.0, description="the gap between boards, mm (0 to 60)"
    )
    soft: bool = Field(default=True, description="true when the boards stand on soft grommets, else false")
    hz: Annotated[float, Field(ge=20, le=2000)] | None = Field(
        default=None,
        description="the natural frequency of the stack on its mount, Hz (20 to 2000); 150 when left out",
    )
    material: Material = Field(default="fr4", description="the material's key in the density table")


class View(Row):
    """What the lens sees: either a field of view, or a sensor and a focal length."""

    fov: Annotated[float, Field(gt=0, lt=360)] | None = Field(
        default=None, description="the field of view, degrees, together with of"
    )
    of: Literal["h", "v", "d"] | None = Field(
        default=None, description='what fov is measured along: "h" across, "v" up and down, "d" the diagonal'
    )
    aspect: Annotated[float, Field(ge=0.2, le=5)] = Field(
        default=4 / 3, description="picture width over height (1.3333 for 4:3, 1.7778 for 16:9)"
    )
    sensor: tuple[Length, Length] | None = Field(
        default=None, description="the sensor's width and height, mm"
    )
    f: Length | None = Field(default=None, description="the focal length, mm")
    projection: Literal["equidistant", "rectilinear", "equisolid", "stereographic", "orthographic"] = Field(
        default="equidistant",
        description='how the lens maps angles: "equidistant", "rectilinear", "equisolid", "stereographic" '
        'or "orthographic"',
    )

    @model_validator(mode="after")
    def _one_way(self) -> View:
        by_angle = (self.fov is not None, self.of is not None)
        by_sensor = (self.sensor is not None, self.f is not None)
        if not ((all(by_angle) and not any(by_sensor)) or (all(by_sensor) and not any(by_angle))):
            raise problem("the view is not settled", "give either fov and of, or sensor and f (and not both)")
        return self


class Mount(Row):
    """A soft mount: what it is printed from, or how stiff it is."""

    material: Material = Field(
        default="tpu", description="the material it is printed from; it sets how stiff the mount is"
    )
    k: Annotated[float, Field(ge=0.5, le=5000)] | None = Field(
        default=None,
        description="the stiffness, N/mm (0.5 to 5000), when measured: push with a scale and read the way",
    )
    room: Annotated[float, Field(ge=0.5, le=100)] | None = Field(
        default=None,
        description="the way, mm (0.5 to 100), after which it is twice as stiff; left out, it stays as stiff",
    )

    @model_validator(mode="after")
    def _known(self) -> Mount:
        from crashworthy.materials.table import rows

        if self.k is None and (self.material, "mount_stiffness") not in rows():
            known = ", ".join(sorted(m for m, n in rows() if n == "mount_stiffness"))
            raise problem(
                f"no stiffness is tabled for a mount of {self.material!r}",
                f"give k, N/mm, or use one of: {known}",
            )
        return self


class CameraPlace(Row):
    """Where the lens is."""

    edge_x: Coordinate = Field(description="the front edge of the frame beside the lens, mm")
    recess: Annotated[float, Field(ge=-60, le=120)] = Field(
        default=0.0, description="how far the lens front stays behind edge_x, mm (negative sticks out)"
    )
    z: Coordinate = Field(description="the height of the lens front's centre, mm")
    y: Coordinate = Field(default=0.0, description="the sideways place of the lens, mm")
    tilt: Annotated[float, Field(ge=-90, le=90)] = Field(
        default=0.0, description="upward tilt, degrees (-90 to 90)"
    )


class Camera(Row):
    """The flight camera: a body and a lens in front of it."""

    at: CameraPlace = Field(description="{ edge_x, recess, z, tilt }")
    view: View | None = Field(default=None, description="{ fov, of, aspect, projection } or { sensor, f }")
    body: tuple[Length, Length, Length] = Field(
        default=(19.0, 19.0, 20.0), description="depth, width and height of the body, mm"
    )
    lens_d: Length = Field(default=13.0, description="the diameter of the lens barrel, mm")
    lens_l: Length = Field(default=11.0, description="the length of the lens barrel, mm")
    pupil: Annotated[float, Field(ge=0, le=40)] = Field(
        default=2.0,
        description="how far the entrance pupil lies behind the lens front, mm (a guess unless measured)",
    )
    pupil_sd: Annotated[float, Field(ge=0, le=20)] | None = Field(
        default=None,
        description="how well that is known: standard deviation, mm; left out, nobody measured it",
    )
    mount: Mount | None = Field(
        default=None, description="{ material } or { k } of a soft mount; left out, it is screwed down hard"
    )
    mass: Grams = Field(default=7.0, description="the mass of the body, g")
    lens_mass: Grams = Field(default=3.0, description="the mass of the lens with its barrel, g")
    material: Material = Field(default="pc", description="the body's material")
    lens_material: Material = Field(default="glass", description="the lens front's material")


class Antenna(Row):
    """One antenna."""

    at: Point3 = Field(description="where it starts [x, y, z], mm")
    dir: Point3 = Field(description="which way it points [x, y, z], any length but zero")
    length: Length = Field(description="the whole length, mm")
    d: Annotated[float, Field(ge=0.3, le=40)] = Field(
        default=2.0, description="the diameter of the stem, mm (0.3 to 40)"
    )
    head_d: Annotated[float, Field(ge=0, le=80)] = Field(
        default=0.0, description="the diameter of the head at the end, mm (0 for none)"
    )
    head_l: Length | None = Field(
        default=None, description="the length of the head, mm; left out, as long as it is wide"
    )
    flex: Literal["stub", "whip"] | None = Field(
        default=None,
        description='how it gives: "stub" tilts about its root, "whip" bends along its length; left out, a '
        "whip when it has no head and is thinner than 3 mm",
    )
    kind: Literal["dipole", "monopole", "circular", "patch"] = Field(
        default="monopole", description='what it is electrically: "dipole", "monopole", "circular" or "patch"'
    )
    pol: Literal["linear", "lhcp", "rhcp"] = Field(
        default="linear", description='its polarisation: "linear", "lhcp" or "rhcp"'
    )
    mhz: Annotated[float, Field(ge=30, le=100000)] | None = Field(
        default=None, description="the frequency, MHz (30 to 100000)"
    )
    mass: Grams = Field(default=2.0, description="the mass, g")
    material: Material = Field(default="pc", description="the material's key in the density table")

    @model_validator(mode="after")
    def _points_somewhere(self) -> Antenna:
        if max(abs(v) for v in self.dir) < 1e-6:
            raise problem("dir has no direction", "give a vector such as [0, 0, 1] for straight up")
        if self.head_d and (self.head_l or self.head_d) > self.length:
            raise problem("the head is longer than the antenna", "make head_l smaller or length larger")
        return self


class Strap(Row):
    """The strap over the pack."""

    width: Length = Field(default=20.0, description="the width, mm")
    mass: Grams = Field(default=6.0, description="the mass, g")
    t: Annotated[float, Field(ge=0.3, le=10)] = Field(
        default=1.5, description="the thickness, mm (0.3 to 10)"
    )


class Battery(Row):
    """The pack, as flown."""

    size: tuple[Length, Length, Length] = Field(description="length, width and height, mm")
    mass: Grams = Field(description="the mass, g")
    at: Point3 = Field(description="the centre of the face it rests on [x, y, z], mm")
    long_axis: Literal["x", "y"] = Field(
        default="x", description='the axis its length lies along: "x" or "y"'
    )
    under: bool = Field(default=False, description="true when it hangs below that face, else false")
    cells: Annotated[int, Field(ge=1, le=16)] = Field(default=6, description="cells in series (1 to 16)")
    shield: tuple[Face, ...] = Field(
        default=(),
        description='faces that carry a soft slab: any of "front", "rear", "left", "right", "top", "bottom"',
    )
    shield_t: Annotated[float, Field(ge=0.4, le=30)] = Field(
        default=2.0, description="the thickness of those slabs, mm (0.4 to 30)"
    )
    shield_material: Material = Field(default="tpu", description="the slabs' material")
    strap: Strap | None = Field(default=None, description="{ width, mass }")
    material: Material = Field(default="lipo", description="the material's key in the density table")

    @model_validator(mode="after")
    def _faces_once(self) -> Battery:
        if len(set(self.shield)) != len(self.shield):
            raise problem("shield names a face twice", "name each face once")
        return self


class Lead(Row):
    """A cable outside the frame, with the plug at its end."""

    path: Annotated[tuple[Point3, ...], Field(min_length=2, max_length=200)] = Field(
        description="the points [[x, y, z], ...] it runs through, mm (at least two)"
    )
    d: Annotated[float, Field(ge=0.3, le=40)] = Field(description="the diameter, mm (0.3 to 40)")
    mass: Grams = Field(description="the mass with the plug, g")
    plug: tuple[Length, Length, Length] | None = Field(
        default=None, description="length, width and height of the plug at the end of the path, mm"
    )
    joint: Literal["solder", "crimp"] = Field(
        default="solder", description='how its ends are fixed: "solder" or "crimp"'
    )
    retained: bool = Field(default=True, description="true when something holds the loop down, else false")
    material: Material = Field(default="copper", description="the material's key in the density table")

    @model_validator(mode="after")
    def _moves_on(self) -> Lead:
        for a, b in zip(self.path, self.path[1:], strict=False):
            if sum((x - y) ** 2 for x, y in zip(a, b, strict=True)) < 0.01:
                raise problem(
                    f"path repeats the point {list(b)}", "give each point once, 0.1 mm apart or more"
                )
        return self


class Box(Row):
    """Anything that is a box to a first approximation: action camera, transmitter, receiver, buzzer."""

    size: tuple[Length, Length, Length] = Field(description="length, width and height, mm")
    at: Point3 = Field(description="the centre of its underside [x, y, z] (it turns about this), mm")
    mass: Grams = Field(description="the mass, g")
    tilt: Degrees = Field(default=0.0, description="nose-up tilt, degrees")
    mount: Mount | None = Field(
        default=None, description="{ material } or { k } of a soft mount; left out, it is screwed down hard"
    )
    holder: Annotated[float, Field(ge=0, le=2000)] = Field(
        default=0.0, description="the mass of its holder, g, added to it"
    )
    material: Material = Field(default="pc", description="the material's key in the density table")


class Import(Row):
    """A part from a model file."""

    file: FileName = Field(description="the name of an STL, 3MF, OBJ or STEP file beside the sheet")
    body: Annotated[str, StringConstraints(min_length=1, max_length=80)] | None = Field(
        default=None, description="which body of a STEP file, by its name there; left out, all of them as one"
    )
    scale: Annotated[float, Field(gt=0, le=10000)] = Field(
        default=1.0, description="mm per unit of the file; a STEP file says its unit itself"
    )
    at: Point3 = Field(default=(0.0, 0.0, 0.0), description="where the file's origin lies [x, y, z], mm")
    rpy: tuple[Degrees, Degrees, Degrees] = Field(
        default=(0.0, 0.0, 0.0), description="turns about x, then y, then z, degrees"
    )
    material: Material = Field(default="tpu", description="the material's key in the density table")
    mass: Grams | None = Field(
        default=None, description="the weighed mass, g; needed unless the model is watertight"
    )
