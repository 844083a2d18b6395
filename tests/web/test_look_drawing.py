"""Where to look first, as numbered balloons on the drawing."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from crashworthy.build.starter import starter
from crashworthy.upkeep.crash_loads import Look
from crashworthy.web.pages.lives import look_drawing
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from pathlib import Path


def test_each_part_to_look_at_has_its_place_in_the_order_in_a_balloon(tmp_path: Path) -> None:
    """As many balloons as parts, numbered from 1, and the words of the drawing give the order."""
    with Workshop(tmp_path) as shop:
        quad = shop.quad(shop.add_quad(starter("Gannet")))
    names = ("prop_fl", "arm_rr", "motor_fr")
    look = [Look(n, quad.part(n).label, 0.5, 0.1, 0.2, "") for n in names]
    drawn = look_drawing(quad, look)
    assert drawn.count('class="balloon"') == 3
    said = ", ".join(f"{n} {row.label}" for n, row in enumerate(look, start=1))
    assert said in drawn
    assert sorted(re.findall(r">([0-9])</text>", drawn)) == ["1", "2", "3"]
