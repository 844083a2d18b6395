"""Moves of a part: edits of the sheet that its rules accept, tried on the build, with what they cost."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import CrashworthyError, NotFoundError, Problem
from crashworthy.placement.antennas import Radio
from crashworthy.placement.camera import VIEW_LIMIT, CameraBench, CameraRow
from crashworthy.placement.hits import OBSTACLES, Approaches, hit_shares
from crashworthy.placement.reach import reach
from crashworthy.placement.skin import Skin, shapes_of, skin_of
from crashworthy.placement.spots import clash, positions
from crashworthy.quantities import MM

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.drafts import Draft
    from crashworthy.build.quad import Part, Quad
    from crashworthy.build.sheet import Sheet

__all__ = [
    "LINK_LOSS",
    "STEP",
    "TRY_DIRECTIONS",
    "Move",
    "MoveBench",
    "apply_move",
    "camera_row",
    "candidate_moves",
    "candidate_parts",
    "edited",
    "tried",
    "with_field",
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
        before, after: hit share of the part, stub and spike, props stopped.
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

    def gain(self) -> str:
        """The move and what it takes away, in words."""
        less = 1 - self.after / self.before if self.before > 0 else 0.0
        return f"{self.words}, touched {100 * less:.0f} % less"

    def summary(self) -> str:
        """One sentence, and what it costs."""
        shares = f"in {100 * self.after:.2f} instead of {100 * self.before:.2f} % of hits"
        return f"{self.gain()} ({shares}). {self.cost}"

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


def camera_row(bench: CameraBench, limit: float) -> tuple[CameraRow, float | None]:
    """The lens as it is, and its deepest recess, mm, within a view limit, or None where none is."""
    at = bench.camera.at
    return bench.row(at.recess, at.tilt), bench.deepest(at.tilt, limit)


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
    quad: Quad, part: str, limit: float = VIEW_LIMIT, bench: MoveBench | None = None
) -> tuple[tuple[str, str, str, Any], ...]:
    """Moves worth trying: (key, words, field, value); empty for a part the sheet cannot move alone.

    Args:
        quad: the build.
        part: name of the part; a plug moves with its lead, the lens with its camera.
        limit: share of the picture the cage may cover.
        bench: of the same quad, when it is at hand.
    """
    sheet = quad.sheet
    if part in ("lens", "camera") and sheet.camera is not None and sheet.camera.view is not None:
        at = sheet.camera.at
        deepest = (CameraBench(quad) if bench is None else bench.camera).deepest(at.tilt, limit)
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


class MoveBench:
    """A quad on which moves are tried; what all of them share is made once."""

    def __init__(
        self,
        quad: Quad,
        approaches: Mapping[str, Approaches] | None = None,
        limit: float = VIEW_LIMIT,
        *,
        skin: Skin | None = None,
        camera: CameraBench | None = None,
        radio: Radio | None = None,
    ) -> None:
        """Take a quad.

        Args:
            quad: the build.
            approaches: directions of obstacles by kind; few, evenly from everywhere, by default.
            limit: share of the picture the cage may cover.
            skin: of the quad with stopped props, when it is at hand.
            camera: the same.
            radio: the same.
        """
        self.quad, self.limit = quad, limit
        given = (approaches or {}).get("ball")
        self.few = Approaches.uniform(TRY_DIRECTIONS) if given is None else given.first(2 * TRY_DIRECTIONS)
        self.skin = skin or skin_of(quad)
        self._camera, self._radio = camera, radio

    @property
    def camera(self) -> CameraBench:
        """The quad without its camera, made at first use."""
        self._camera = self._camera or CameraBench(self.quad)
        return self._camera

    @property
    def radio(self) -> Radio:
        """The quad without its antennas, made at first use."""
        self._radio = self._radio or Radio(self.quad)
        return self._radio

    def share(self, other: Quad, part: str) -> float:
        """Mean share of first touches of a part over stub and spike, props stopped, in another build."""
        skin = self.skin
        if other is not self.quad:
            old = {p.name: p for p in self.quad.parts}
            new = {p.name for p in other.parts if p is not old[p.name]}
            skin = skin.swapped([s for s in shapes_of(other) if s[0] in new]) if new else skin
        return sum(hit_shares(skin, OBSTACLES[i], self.few)[part] for i in (0, 2)) / 2

    def best(self, part: str) -> Move | None:
        """The candidate that lowers a part's exposure most, if any lowers it by a tenth."""
        quad = self.quad
        options = candidate_moves(quad, part, self.limit, self)
        if not options:
            return None
        before, room = self.share(quad, part), clash(quad, part)
        antennas = quad.sheet.antennas
        had = self.radio.coverage(part).tenth if part in antennas else None
        best: Move | None = None
        chosen: Quad | None = None
        for key, words, field, value in options:
            try:
                moved = _posed(quad, with_field(quad.sheet, field, value))
            except (CrashworthyError, ValueError):
                continue
            if clash(moved, part) > room + 1.0:
                continue  # it would stand inside something
            if had is not None:  # asked first: rays cost a tenth of what shares do
                has = self.radio.coverage(part, moved.sheet.antennas[part]).tenth
                if had - has > LINK_LOSS:
                    continue
            after = self.share(moved, part)
            if after >= (0.9 * before if best is None else best.after):
                continue
            chosen = moved
            best = Move(key, part, words, field, value, before, after, 0.0, "")
        if best is None or chosen is None:
            return None
        radius = reach(skin_of(chosen), [part], axes=0)[0].ball
        return replace(best, reach=radius, cost=self._cost(chosen, part))

    def _cost(self, after: Quad, part: str) -> str:
        """What a move costs in view, link or access."""
        before = self.quad
        if part in ("lens", "camera") and before.sheet.camera is not None and after.sheet.camera is not None:
            one, two = (
                self.camera.cage_share(q.at.recess, q.at.tilt, 160)
                for q in (before.sheet.camera, after.sheet.camera)
            )
            return (
                f"It costs view: the cage covers {100 * two:.1f} % instead of {100 * one:.1f} % of "
                "the picture."
            )
        if part in before.sheet.antennas:
            a, b = (self.radio.coverage(part, q.sheet.antennas[part]).tenth for q in (before, after))
            if abs(b - a) < 0.05:
                return "Range stays as it is."
            verb = "gains" if b > a else "costs"
            return f"It {verb} range: {abs(b - a):.1f} dB in the worst tenth of directions."
        if part.removesuffix("_plug") in before.sheet.leads:
            return "It costs slack: leave enough to plug and unplug with cold fingers."
        shift = (after.mass_properties.cog - before.mass_properties.cog) / MM
        return f"It moves the centre of gravity by {shift[0]:+.1f} mm along and {shift[2]:+.1f} mm up."


def _is(draft: Draft, part: Part | None) -> bool:
    """Whether a draft would become a part that is there already."""
    return (
        part is not None
        and draft.mesh is not None
        and draft.material == part.material
        and (draft.mass is None or draft.mass == part.mass)
        and draft.mesh.vertices.shape == part.vertices.shape
        and bool((draft.mesh.vertices == part.vertices).all())
    )


def with_field(sheet: Sheet, field: str, value: Any) -> Sheet:
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

    old = {p.name: p for p in quad.parts}
    made = {d.name: d.finish() for d in equipment(sheet) if not _is(d, old.get(d.name))}
    parts = tuple(replace(made[p.name], joint=p.joint) if p.name in made else p for p in quad.parts)
    total = mass_of.assembly(MassProperties(p.mass, p.centre, p.inertia) for p in parts)
    return replace(quad, parts=parts, sheet=sheet, mass_properties=total)


def apply_move(sheet: Sheet, move: Move) -> Sheet:
    """A copy of the sheet with a move made.

    Raises:
        NotFoundError: the sheet has no such field.
        ValueError: its rules refuse the move.
    """
    return with_field(sheet, move.field, move.value)


def tried(quad: Quad, move: Move) -> Quad:
    """The build with a move made; frame and drawings are not read again."""
    return edited(quad, move.field, move.value)


def edited(quad: Quad, field: str, value: Any) -> Quad:
    """The build with one field of its equipment changed; frame and drawings are not read again.

    Raises:
        NotFoundError: the sheet has no such field.
        ValueError: its rules refuse the value.
    """
    return _posed(quad, with_field(quad.sheet, field, value))
