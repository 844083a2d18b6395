"""Moves of a part: edits of the sheet that its rules accept, tried on the build, with what they cost."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import CrashworthyError, NotFoundError, Problem
from crashworthy.placement.antennas import coverage, positions
from crashworthy.placement.camera import VIEW_LIMIT, CameraBench, CameraRow
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.reach import reach
from crashworthy.placement.skin import skin_of
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.placement.ranking import Exposure

__all__ = [
    "LINK_LOSS",
    "STEP",
    "TRY_DIRECTIONS",
    "Move",
    "apply_move",
    "best_move",
    "camera_row",
    "candidate_moves",
    "candidate_parts",
    "tried",
]

LINK_LOSS: Final = 6.0
"""A move that costs an antenna more than this, dB, half its range, is not advised (assumption)."""

TRY_DIRECTIONS: Final = 30
"""Directions by which a move is compared with staying; the same for both."""

STEP: Final = 10.0
"""How far a part is moved at a time, mm (assumption: what a printed mount allows)."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move of one part.

    Attributes:
        key: to ask for it again ("video.in").
        part: what moves.
        words: the move in mm.
        field: where it is written in the sheet ("antennas.video.at").
        value: what is written there.
        before, after: hit share of the part (for the camera: share of directions open to a stub).
        reach: radius of the largest ball that can touch it afterwards, m.
        cost: what it costs, in words with numbers.
    """

    key: str
    part: str
    words: str
    field: str
    value: Any
    before: float
    after: float
    reach: float
    cost: str

    def summary(self) -> str:
        """One sentence."""
        gain = 1 - self.after / self.before if self.before > 0 else 0.0
        return (
            f"{self.words}: exposure {100 * self.before:.2f} % to {100 * self.after:.2f} % "
            f"({100 * gain:.0f} % less). {self.cost}"
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "key": self.key,
            "part": self.part,
            "words": self.words,
            "field": self.field,
            "value": self.value,
            "before": round(self.before, 6),
            "after": round(self.after, 6),
            "reach_mm": round(self.reach / MM, 1) if math.isfinite(self.reach) else None,
            "cost": self.cost,
            "summary": self.summary(),
        }


def camera_row(quad: Quad, limit: float) -> tuple[CameraRow | None, float | None]:
    """The lens as it is, and its deepest recess, mm, within a view limit; None where there is no view."""
    camera = quad.sheet.camera
    if camera is None or camera.view is None:
        return None, None
    bench = CameraBench(quad)
    return bench.row(camera.at.recess, camera.at.tilt), bench.deepest(camera.at.tilt, limit)


def candidate_parts(quad: Quad, part: str) -> str:
    """Row of the sheet that a part moves with, or "" when the sheet cannot move it alone."""
    sheet = quad.sheet
    if part in ("lens", "camera"):
        return "camera" if sheet.camera is not None and sheet.camera.view is not None else ""
    for section, rows in (("antennas", sheet.antennas), ("boxes", sheet.boxes)):
        if part in rows:
            return f"{section}.{part}"
    lead = part.removesuffix("_plug")
    return f"leads.{lead}" if lead in sheet.leads else ""


def candidate_moves(
    quad: Quad, part: str, limit: float = VIEW_LIMIT
) -> tuple[tuple[str, str, str, Any], ...]:
    """Moves worth trying: (key, words, field, value); empty for a part the sheet cannot move alone.

    Args:
        quad: the build.
        part: name of the part; a plug moves with its lead, the lens with its camera.
        limit: share of the picture the cage may cover.
    """
    sheet = quad.sheet
    if part in ("lens", "camera") and sheet.camera is not None and sheet.camera.view is not None:
        at = sheet.camera.at
        deepest = CameraBench(quad).deepest(at.tilt, limit)
        if deepest is None or deepest <= at.recess + 0.2:
            return ()
        value = math.floor(deepest * 10) / 10
        return (
            (
                "camera.deeper",
                f"camera {value - at.recess:.1f} mm deeper",
                "camera.at",
                {**at.model_dump(exclude_unset=True), "recess": value},
            ),
        )
    section, row = (
        ("antennas", sheet.antennas.get(part)) if part in sheet.antennas else ("boxes", sheet.boxes.get(part))
    )
    if row is not None:
        x, y, z = row.at
        inward = -STEP if x > 0 else STEP
        field = f"{section}.{part}.at"
        spots = [
            (
                f"{part}.in",
                f"{abs(inward):g} mm further {'back' if x > 0 else 'forward'}",
                [x + inward, y, z],
            ),
            (f"{part}.down", f"{STEP / 2:g} mm lower", [x, y, z - STEP / 2]),
            (
                f"{part}.both",
                f"{abs(inward):g} mm further {'back' if x > 0 else 'forward'} and {STEP / 2:g} mm lower",
                [x + inward, y, z - STEP / 2],
            ),
        ]
        moves: list[tuple[str, str, str, Any]] = [
            (k, f"{quad.part(part).label} {w}", field, v) for k, w, v in spots
        ]
        if part in sheet.antennas:
            given = sheet.antennas[part].model_dump(exclude_unset=True, exclude_none=True)
            for where, other in positions(quad, part).items():
                if other is not sheet.antennas[part]:
                    spot = {**given, "at": [round(v, 1) for v in other.at], "dir": list(other.dir)}
                    shift = math.dist(other.at, row.at)
                    key = f"{part}.{where.replace(', ', '-').replace(' ', '-')}"
                    words = f"{quad.part(part).label} to the place '{where}', {shift:.0f} mm away"
                    moves.append((key, words, f"antennas.{part}", spot))
        return tuple(moves)
    lead = part.removesuffix("_plug")
    if lead in sheet.leads:
        cog = quad.mass_properties.cog / MM
        path = sheet.leads[lead].path
        # Everything but the soldered end moves a tenth of the way towards the middle, and no more than 10 mm.
        pulled = [
            list(path[0]),
            *(
                [
                    round(float(v + max(-STEP, min(STEP, 0.15 * (c - v)))), 1)
                    for v, c in zip(p, cog, strict=True)
                ]
                for p in path[1:]
            ),
        ]
        return (
            (
                f"{lead}.in",
                f"{quad.part(lead).label} drawn in by up to {STEP:g} mm",
                f"leads.{lead}.path",
                pulled,
            ),
        )
    return ()


def best_move(
    quad: Quad, exposure: Exposure, approaches: Mapping[str, Approaches], limit: float
) -> Move | None:
    """The candidate that lowers a part's exposure most, if any lowers it by a tenth."""
    obstacle = OBSTACLES[2]
    few = approaches.get("ball") or Approaches.uniform(TRY_DIRECTIONS)
    options = candidate_moves(quad, exposure.part, limit)
    if not options:
        return None
    before, clash = _share(quad, exposure.part, few, obstacle), _clash(quad, exposure.part)
    had = coverage(quad, exposure.part).tenth if exposure.part in quad.sheet.antennas else None
    best: Move | None = None
    chosen: Quad | None = None
    for key, words, field, value in options:
        try:
            moved = _posed(quad, _edited(quad.sheet, field, value))
        except (CrashworthyError, ValueError):
            continue
        if _clash(moved, exposure.part) > clash + 1.0:
            continue  # it would stand inside something
        after = _share(moved, exposure.part, few, obstacle)
        if after >= (0.9 * before if best is None else best.after):
            continue
        if had is not None and had - coverage(moved, exposure.part).tenth > LINK_LOSS:
            continue
        chosen = moved
        best = Move(key, exposure.part, words, field, value, before, after, 0.0, "")
    if best is None or chosen is None:
        return None
    radius = reach(skin_of(chosen), [exposure.part], axes=0)[0].ball
    return replace(best, reach=radius, cost=_cost(quad, chosen, exposure.part))


def _share(quad: Quad, part: str, approaches: Approaches, obstacle: Any) -> float:
    """Mean share over stub and spike, props stopped."""
    skin = skin_of(quad)
    return float(
        (hit_shares(skin, obstacle, approaches)[part] + hit_shares(skin, OBSTACLES[0], approaches)[part]) / 2
    )


def _clash(quad: Quad, part: str) -> float:
    """Volume, mm³, that a part and its fellows share with other solid parts."""
    from crashworthy.build.overlaps import manifold
    from crashworthy.build.solids import Mesh

    own = {"lens": ("lens", "camera"), "camera": ("lens", "camera")}.get(part, (part,))
    soft = ("screw", "strap", "lead", "loose", "prop")
    total = 0.0
    for name in own:
        it = quad.part(name)
        if it.kind in soft:
            continue
        low, high = it.vertices.min(axis=0), it.vertices.max(axis=0)
        solid = None
        for other in quad.parts:
            if other.name in own or other.kind in soft or not len(other.faces):
                continue
            if (other.vertices.min(axis=0) > high).any() or (other.vertices.max(axis=0) < low).any():
                continue
            solid = solid or manifold(Mesh(it.vertices, it.faces))
            total += float((solid ^ manifold(Mesh(other.vertices, other.faces))).volume())
    return total


def _cost(before: Quad, after: Quad, part: str) -> str:
    """What a move costs in view, link or access."""
    if part in ("lens", "camera"):
        rows = [camera_row(q, VIEW_LIMIT)[0] for q in (before, after)]
        if rows[0] is not None and rows[1] is not None:
            return (
                f"It costs view: the cage covers {100 * rows[1].cage:.1f} % instead of "
                f"{100 * rows[0].cage:.1f} % of the picture."
            )
    if part in before.sheet.antennas:
        a, b = coverage(before, part), coverage(after, part)
        return f"It costs range: {b.tenth - a.tenth:+.1f} dB where one direction in ten is worst."
    if part.removesuffix("_plug") in before.sheet.leads:
        return "It costs slack: leave enough to plug and unplug with cold fingers."
    shift = (after.mass_properties.cog - before.mass_properties.cog) / MM
    return f"It moves the centre of gravity by {shift[0]:+.1f} mm along and {shift[2]:+.1f} mm up."


def _edited(sheet: Sheet, field: str, value: Any) -> Sheet:
    """A copy of the sheet with one field changed, checked by the sheet's own rules.

    Raises:
        NotFoundError: the sheet has no such field.
        ValueError: its rules refuse the value.
    """
    data: Any = sheet.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    at: Any = data
    *way, last = field.split(".")
    for key in way:
        if not isinstance(at, dict) or key not in at:
            raise NotFoundError(Problem(f"the sheet has no {field}", "write it first"))
        at = at[key]
    at[last] = _tuples(value)
    return type(sheet).model_validate(data)


def _tuples(value: Any) -> Any:
    """Lists as the tuples that the sheet's rules want."""
    if isinstance(value, list):
        return tuple(_tuples(v) for v in value)
    if isinstance(value, dict):
        return {k: _tuples(v) for k, v in value.items()}
    return value


def _posed(quad: Quad, sheet: Sheet) -> Quad:
    """The build with its equipment as another sheet says; frame and drawings stay."""
    from crashworthy.build import mass as mass_of
    from crashworthy.build.equipment import equipment
    from crashworthy.build.quad import MassProperties

    made = {d.name: d.finish() for d in equipment(sheet)}
    parts = tuple(replace(made[p.name], joint=p.joint) if p.name in made else p for p in quad.parts)
    total = mass_of.assembly(MassProperties(p.mass, p.centre, p.inertia) for p in parts)
    return replace(quad, parts=parts, sheet=sheet, mass_properties=total)


def apply_move(sheet: Sheet, move: Move) -> Sheet:
    """A copy of the sheet with a move made.

    Raises:
        NotFoundError: the sheet has no such field.
        ValueError: its rules refuse the move.
    """
    return _edited(sheet, move.field, move.value)


def tried(quad: Quad, move: Move) -> Quad:
    """The build with a move made; frame and drawings are not read again."""
    return _posed(quad, apply_move(quad.sheet, move))
