"""A first build sheet to edit: complete enough to load, short enough to read."""

from __future__ import annotations

import json
from typing import Final

__all__ = ["starter"]

_TEXT: Final = """\
# Lengths mm, masses g, angles degrees. x forward, y left, z up; z = 0 is the underside of the arms;
# the origin is the centre of the motors. Every number here is only a start: measure yours.
# A line that starts with # is ignored. docs/build-sheet.md explains every field.

schema  = 1
name    = {name}
# weighed = 650                  # what the scales say, ready to fly, with pack

arms   = {{ wheelbase = 226, t = 5, w_root = 17, w_tip = 12 }}
motors = {{ d = 28, h = 19, mass = 33 }}
props  = {{ d = 127, blades = 3, mass = 4.2 }}

[plates]
bottom = {{ rect = [110, 44], corner = 6, t = 2.5, z = -2.5 }}
top    = {{ rect = [130, 40], corner = 6, t = 2, z = 35 }}

[standoffs]
post = {{ at = [[45, 16], [-45, 16]], z = 0, h = 35, d = 5 }}

[stack]
z      = 10
boards = [{{ name = "esc", size = [42, 38, 7], mass = 15 }}, {{ name = "fc", size = [36, 36, 6], mass = 8 }}]

[camera]
at   = {{ edge_x = 60, recess = 2, z = 25, tilt = 30 }}
view = {{ fov = 130, of = "h", aspect = 1.3333 }}   # of the picture across, as its data sheet says

[antennas]
video = {{ at = [-62, 0, 37], dir = [-0.4, 0, 1], length = 45, d = 3, mhz = 5800, mass = 6 }}

[battery]
size  = [76, 38, 36]
mass  = 190
at    = [-8, 0, 37]
strap = {{ width = 20, mass = 6 }}

[leads]
main = {{ path = [[-24, 10, 14], [-50, 12, 20], [-62, 11, 42]], d = 6, mass = 17, plug = [16, 16, 8] }}

[screws]
arm      = {{ thread = "M3", length = 12 }}
motor    = {{ thread = "M3", length = 8 }}
standoff = {{ thread = "M3", length = 8 }}
stack    = {{ thread = "M3", length = 30, nut = "nyloc" }}

[loose]
wiring = 15
"""


def starter(name: str) -> str:
    """A first build sheet as TOML for a quad called ``name``."""
    return _TEXT.format(name=json.dumps(name, ensure_ascii=False))
