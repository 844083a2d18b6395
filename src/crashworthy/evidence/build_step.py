"""Outside checks of STEP bodies: a box and a cylinder written as text, read by the extra."""

from __future__ import annotations

import math
from typing import Final

from crashworthy.build import mass
from crashworthy.evidence.registry import Check

__all__ = ["CHECKS"]

SPACER: Final = (2.5, 30.0)
"""Radius and height, mm, of the cylinder. Chords 0.01 mm off take 4/3 · 0.01 / 2.5 = 0.53 % of its volume."""


def _step(quantity: str) -> tuple[float, float]:
    """A box of 1 x 0.5 x 0.25 inch or a cylinder, written as STEP text and read again."""
    from crashworthy.build.step import bodies_of
    from crashworthy.evidence.step_text import StepText

    if quantity == "box":
        text = StepText(inch=True).box("block", (0.1, 0.2, 0.3), (1.0, 0.5, 0.25))
        expected = 0.125 * 25.4**3
    else:
        text = StepText().cylinder("spacer", *SPACER)
        expected = math.pi * SPACER[0] ** 2 * SPACER[1]
    (body,) = bodies_of(text.text().encode(), "body.step")
    found = mass.solid(body.mesh.vertices, body.mesh.faces)
    if quantity == "izz":
        return SPACER[0] ** 2 / 2, float(found.of_mass(1.0).inertia[2, 2])
    return expected, found.volume


def _checks() -> tuple[Check, ...]:
    """Rows that need the extra ``step``; none without it."""
    from crashworthy.build.step import installed

    rows = (
        (
            "box",
            "volume of a STEP box drawn in inches",
            "1 x 0.5 x 0.25 inch, 1 inch = 25.4 mm exactly",
            1e-6,
        ),
        ("cylinder", "volume of a STEP cylinder", "r 2.5 mm, h 30 mm: π r² h; chords within 0.01 mm", 6e-3),
        ("izz", "axial inertia of a STEP cylinder", "the same, per kg: r² / 2", 6e-3),
    )
    if not installed():
        return ()
    return tuple(
        Check(
            f"build.step.{key}",
            title,
            inputs,
            "mm²" if key == "izz" else "mm³",
            tolerance,
            True,
            "closed form; the file written as text by ISO 10303-21, read by OpenCASCADE",
            "derived",
            lambda q=key: _step(q),  # type: ignore[misc] # the default binds the loop's value
        )
        for key, title, inputs, tolerance in rows
    )


CHECKS: Final[tuple[Check, ...]] = _checks()
"""Empty where the extra is not installed."""
