"""Draw the two plates of the invented example build as DXF files (for maintainers).

Run from the top of the repository: ``PYTHONHASHSEED=0 python tools/make_example_drawings.py``; the fixed seed
keeps the order of entries, and with it the files, the same from run to run. The drawings are made of
lines, arcs, circles and polylines in millimetres, with a centre line on a layer of its own, as a drawing
program would leave them. All shapes are invented.
"""

from __future__ import annotations

import math
from pathlib import Path

import ezdxf

FOLDER = Path(__file__).parent.parent / "examples" / "gannet"
CUT = {"layer": "cut"}


def rounded(space, corners, radius):
    """A closed outline: straight lines, an arc of ``radius`` at each corner, counter-clockwise."""
    n = len(corners)
    ends = []
    for i in range(n):
        (ax, ay), (bx, by), (cx, cy) = corners[i - 1], corners[i], corners[(i + 1) % n]
        into, out = (
            (vx / math.hypot(vx, vy), vy / math.hypot(vx, vy))
            for vx, vy in ((bx - ax, by - ay), (cx - bx, cy - by))
        )
        turn = math.atan2(into[0] * out[1] - into[1] * out[0], into[0] * out[0] + into[1] * out[1])
        back = radius * math.tan(abs(turn) / 2)
        start = (bx - back * into[0], by - back * into[1])
        stop = (bx + back * out[0], by + back * out[1])
        side = 1 if turn > 0 else -1
        centre = (start[0] - side * radius * into[1], start[1] + side * radius * into[0])
        a, b = (math.degrees(math.atan2(p[1] - centre[1], p[0] - centre[0])) for p in (start, stop))
        space.add_arc(centre, radius, *((a, b) if side > 0 else (b, a)), dxfattribs=CUT)
        ends.append((start, stop))
    for i in range(n):
        space.add_line(ends[i - 1][1], ends[i][0], dxfattribs=CUT)


def slot(space, x, y, length, width):
    """An opening with round ends along x, as one polyline with bulges."""
    a, r = length / 2 - width / 2, width / 2
    space.add_lwpolyline(
        [(x - a, y - r, 0), (x + a, y - r, 1), (x + a, y + r, 0), (x - a, y + r, 1)],
        format="xyb",
        close=True,
        dxfattribs=CUT,
    )


def drawing():
    """An empty drawing in mm with its layers."""
    document = ezdxf.new("R2010", units=4)
    document.layers.add("cut", color=7)
    document.layers.add("centre", color=8)
    document.modelspace().add_line((-90, 0), (90, 0), dxfattribs={"layer": "centre"})
    return document


def holes(space, places, diameter):
    """Round holes at [x, ±y]."""
    for x, y in places:
        for side in (1, -1) if y else (1,):
            space.add_circle((x, side * y), diameter / 2, dxfattribs=CUT)


STANDOFFS = [(72, 15), (42, 17), (-42, 17), (-66, 15)]


def bottom():
    """The bottom plate: a hexagonal middle that carries the arms, a nose and a tail."""
    document = drawing()
    space = document.modelspace()
    half = [(78, 20), (48, 22), (38, 34), (-38, 34), (-48, 22), (-72, 20)]
    rounded(space, [(x, -y) for x, y in reversed(half)] + half, 4)
    holes(space, STANDOFFS, 3.2)
    holes(space, [(15.25, 15.25), (-15.25, 15.25)], 3.2)
    for r in (26.5, 34.0):
        c = r * math.cos(math.pi / 4)
        holes(space, [(c, c), (-c, c)], 3.2)
    slot(space, 0, 0, 20, 12)
    slot(space, -56, 0, 18, 14)
    slot(space, 55, 0, 22, 12)
    return document


def top():
    """The top plate: the battery's seat, with openings for the strap and the leads."""
    document = drawing()
    space = document.modelspace()
    half = [(77, 20), (40, 21), (-50, 21), (-71, 19)]
    rounded(space, [(x, -y) for x, y in reversed(half)] + half, 4)
    holes(space, STANDOFFS, 3.2)
    slot(space, 55, 0, 26, 14)
    slot(space, 8, 0, 24, 18)
    slot(space, -29, 0, 20, 18)
    slot(space, -56, 0, 14, 10)
    for x in (-12, 26):
        for y in (17, -17):
            slot(space, x, y, 12, 3)
    return document


def main():
    """Write both drawings."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    # Fixed metadata keeps the files the same from run to run.
    ezdxf.options.write_fixed_meta_data_for_testing = True
    for name, document in (("bottom.dxf", bottom()), ("top.dxf", top())):
        document.saveas(FOLDER / name)


if __name__ == "__main__":
    main()
