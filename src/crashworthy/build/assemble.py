"""From a sheet to a quad: parts, arms, joints, contact points, mass, and what a pilot should know."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build import mass as mass_of
from crashworthy.build.arms import ArmPlan, clamping, corner_drafts, plan
from crashworthy.build.drafts import Draft, fixed
from crashworthy.build.equipment import equipment
from crashworthy.build.fasteners import fasten
from crashworthy.build.lines import Key, find_line, key_lines
from crashworthy.build.models import model
from crashworthy.build.overlaps import overlaps
from crashworthy.build.plates import Lying, plate, standoffs
from crashworthy.build.points import COUNT, contact_points
from crashworthy.build.quad import Arm, MassProperties, Part, Quad, StiffnessTest
from crashworthy.build.reading import parse, read_text
from crashworthy.build.writing import canonical, to_toml
from crashworthy.errors import CrashworthyError, DrawingError, Problem, SheetError
from crashworthy.quantities import GRAM, MM

if TYPE_CHECKING:
    from crashworthy.build.sheet import Sheet

__all__ = ["assemble", "built", "load", "parse", "to_toml"]

MISSING: Final = 0.03
"""Share of the weighed mass that may go undescribed without a note."""

OFFSET: Final = 5e-3
"""Distance of the centre of gravity from the motors' centre, m, without a note."""

SOLID: Final = ("battery", "motor", "board", "box", "model", "camera")
"""Kinds whose mass is given beside their size."""

DENSITIES: Final = (30.0, 12_000.0)
"""Mean density, kg/m³, outside which a note asks for the unit: foam and lead (assumption)."""

ABSENT: Final = ("screws", "battery", "stack")


def load(path: str | Path, points: int = COUNT) -> Quad:
    """Read a build sheet and assemble the quad.

    Args:
        path: the TOML file; drawings and models lie beside it.
        points: about how many contact points.

    Raises:
        SheetError: the sheet has mistakes; all are named with file, line, field and remedy.
        DrawingError: a drawing or model file cannot be used.
    """
    path = Path(path)
    return built(read_text(path), path.parent, str(path), points)


def built(text: str, folder: Path, file: str, points: int = COUNT) -> Quad:
    """The quad of a sheet's text; every mistake is told with its line.

    Args:
        text: TOML.
        folder: where its drawings and models lie.
        file: what to call the sheet in messages.
        points: about how many contact points.

    Raises:
        SheetError: as ``load``.
        DrawingError: as ``load``.
    """
    sheet = parse(text, folder, file)
    try:
        return assemble(sheet, folder, points)
    except CrashworthyError as error:
        lines = key_lines(text)
        raise type(error)(*(_placed(p, lines, file) for p in error.problems)) from None


def _placed(problem: Problem, lines: dict[Key, int], file: str) -> Problem:
    """The problem with the sheet's file and line, unless it already names another file."""
    if not problem.field:
        return problem
    line = find_line(lines, tuple(problem.field.split(".")))
    what = problem.what
    if problem.file and problem.file != file:
        what = f"{problem.file}: {what}"
    return Problem(what, problem.remedy, file, line, problem.field)


def assemble(sheet: Sheet, folder: str | Path | None = None, points: int = COUNT) -> Quad:
    """Build the quad that a sheet describes.

    Args:
        sheet: a validated sheet.
        folder: where its drawings and models lie; needed only when it names some.
        points: about how many contact points.

    Raises:
        SheetError: rows that cannot be built or do not fit together; all are named.
        DrawingError: only drawings or model files are at fault.
    """
    where = None if folder is None else Path(folder)
    drafts, lying, notes = _shapes(sheet, where)
    layout = plan(sheet, clamping(sheet, lying))
    drafts = [*corner_drafts(sheet, layout), *drafts]
    screws, joints, mistakes = fasten(sheet, layout, lying, drafts)
    drafts += screws
    _refuse([*mistakes, *_twice(drafts)])
    parts = tuple(d.finish() for d in drafts)
    arms = _arms(sheet, layout, parts)
    total = mass_of.assembly(MassProperties(p.mass, p.centre, p.inertia) for p in parts)
    total = MassProperties(total.mass, fixed(total.cog), fixed(total.inertia))
    weighed = None if sheet.weighed is None else sheet.weighed * GRAM
    return Quad(
        name=sheet.name,
        slug=sheet.slug,
        parts=parts,
        arms=arms,
        joints=tuple(joints),
        points=contact_points(parts, arms, points),
        mass_properties=total,
        weighed=weighed,
        notes=(
            *_mass_notes(total, weighed),
            *_density_notes(parts),
            *_overlap_notes(drafts),
            *notes,
            *_absent_notes(sheet, layout),
        ),
        sheet=sheet,
        digest=_digest(sheet, where),
    )


def _shapes(sheet: Sheet, folder: Path | None) -> tuple[list[Draft], list[Lying], list[str]]:
    """Plates, standoffs, equipment and imports; every row that fails is reported."""
    drafts: list[Draft] = []
    lying: list[Lying] = []
    notes: list[str] = []
    errors: list[CrashworthyError] = []
    for name, row in sheet.plates.items():
        try:
            made, place = plate(name, row, folder)
        except CrashworthyError as error:
            errors.append(_named(error, f"plates.{name}.dxf"))
            continue
        drafts += made
        lying += [place] if place is not None else []
    for name, spacer in sheet.standoffs.items():
        drafts += standoffs(name, spacer)
    drafts += equipment(sheet)
    for name, imported in sheet.imports.items():
        try:
            draft, note = model(name, imported, folder)
        except CrashworthyError as error:
            errors.append(_named(error, f"imports.{name}.file"))
            continue
        drafts.append(draft)
        notes += [note] if note else []
    _refuse(errors)
    return drafts, lying, notes


def _named(error: CrashworthyError, field: str) -> CrashworthyError:
    """The same error with the field filled in where it was not known."""
    return type(error)(
        *(p if p.field else Problem(p.what, p.remedy, p.file, p.line, field) for p in error.problems)
    )


def _refuse(errors: list[CrashworthyError] | list[SheetError]) -> None:
    """Raise all errors as one, if there are any."""
    if not errors:
        return
    problems = [p for error in errors for p in error.problems]
    if all(isinstance(error, DrawingError) for error in errors):
        raise DrawingError(*problems)
    raise SheetError(*problems)


def _twice(drafts: list[Draft]) -> list[SheetError]:
    seen: dict[str, str] = {}
    errors = []
    for draft in drafts:
        if draft.name in seen:
            errors.append(
                SheetError(
                    Problem(
                        f"the part name {draft.name!r} is already used by {seen[draft.name]}",
                        "give it another name",
                        field=draft.field,
                    )
                )
            )
        seen.setdefault(draft.name, draft.field)
    return errors


def _arms(sheet: Sheet, layout: ArmPlan, parts: tuple[Part, ...]) -> tuple[Arm, ...]:
    index = {p.name: i for i, p in enumerate(parts)}
    rows = sheet.arms
    height = np.array([0.0, 0.0, rows.t * MM / 2])
    span = layout.reach - rows.r0 * MM
    arms = []
    for i, corner in enumerate(("fl", "fr", "rl", "rr")):
        axis = layout.direction(i)
        root, tip = layout.root * axis + height, layout.reach * axis + height
        # The taper runs from r0 to the motor axis; the free length begins part of the way along it.
        start = (layout.root - rows.r0 * MM) / span
        width = (rows.w_root + (rows.w_tip - rows.w_root) * start) * MM
        own = index[f"arm_{corner}"]
        arms.append(
            Arm(
                corner=i,
                part=own,
                motor=index[f"motor_{corner}"],
                prop=index[f"prop_{corner}"],
                root=fixed(root),
                tip=fixed(tip),
                axis=fixed(axis),
                length=layout.reach - layout.root,
                width_root=width,
                width_tip=rows.w_tip * MM,
                thickness=rows.t * MM,
                hole=layout.hole,
                material=rows.material,
                mass=parts[own].mass,
                carried=sum(p.mass for k, p in enumerate(parts) if p.arm == i and k != own),
                tests=_tests(sheet, parts[index[f"prop_{corner}"]].mass),
            )
        )
    return tuple(arms)


def _tests(sheet: Sheet, prop: float) -> tuple[StiffnessTest, ...]:
    """What was measured on an arm; ``prop`` is the mass of one prop, kg."""
    rows = sheet.arms
    found = []
    for pull, side in ((rows.pull_up, False), (rows.pull_side, True)):
        if pull is not None:
            found.append(StiffnessTest("pull", side, force=pull.n, deflection=pull.mm * MM))
    for tap, side in ((rows.tap_up, False), (rows.tap_side, True)):
        if tap is not None:
            found.append(StiffnessTest("tap", side, frequency=tap.hz, off=0.0 if tap.prop else prop))
    return tuple(found)


def _mass_notes(total: MassProperties, weighed: float | None) -> list[str]:
    notes = []
    if weighed is None:
        notes.append(
            f"The parts weigh {total.mass / GRAM:.0f} g together; weigh the quad and give weighed to see "
            "what the sheet forgets."
        )
    elif abs(weighed - total.mass) > MISSING * weighed:
        gap = weighed - total.mass
        notes.append(
            f"{abs(gap) / GRAM:.0f} g ({abs(gap) / weighed:.1%}) {'missing' if gap > 0 else 'too much'}: "
            f"the parts weigh {total.mass / GRAM:.0f} g, the scales said {weighed / GRAM:.0f} g."
        )
    x, y = total.cog[:2]
    if np.hypot(x, y) > OFFSET:
        fore = f"{abs(x) / MM:.1f} mm {'ahead of' if x > 0 else 'behind'}"
        side = f"{abs(y) / MM:.1f} mm {'left' if y > 0 else 'right'} of"
        notes.append(
            f"The centre of gravity lies {fore} and {side} the motors' centre; "
            f"up to {OFFSET / MM:.0f} mm go unnoticed in flight (assumption)."
        )
    return notes


def _density_notes(parts: tuple[Part, ...]) -> list[str]:
    """Solid things so light or so heavy that a unit was meant otherwise."""
    notes = []
    for part in parts:
        if part.kind not in SOLID or not len(part.faces):
            continue
        volume = abs(mass_of.solid(part.vertices, part.faces).volume)
        density = part.mass / volume
        if not DENSITIES[0] <= density <= DENSITIES[1]:
            unit = "kg" if density < DENSITIES[0] else "g, not mg"
            name = f"{part.label[0].upper()}{part.label[1:]}"
            notes.append(
                f"{name}: {part.mass / GRAM:.3g} g in {volume * 1e6:.3g} cm³ is {density * 1e-3:.2g} g/cm³; "
                f"was the mass meant in {unit}?"
            )
    return notes


def _overlap_notes(drafts: list[Draft]) -> list[str]:
    return [
        f"{a[0].upper()}{a[1:]} and {b} overlap by {volume:.0f} mm³; check their places."
        for a, b, volume in overlaps(drafts)
    ]


def _absent_notes(sheet: Sheet, layout: ArmPlan) -> list[str]:
    notes = []
    if layout.assumed:
        notes.append(
            f"No plate touches the arms, so their free length is assumed to begin {layout.root / MM:.0f} mm "
            "from the centre; give arms.clamp, mm, to settle it."
        )
    words = {
        "screws": "No screws are described, so nothing can come due.",
        "battery": "No battery is described, so masses are without the pack.",
        "stack": "No stack is described, so shocks to the electronics cannot be judged.",
    }
    return notes + [words[key] for key in ABSENT if not getattr(sheet, key)]


def _digest(sheet: Sheet, folder: Path | None) -> str:
    """Hash of the sheet with its defaults and of every file it names."""
    state = hashlib.sha256(canonical(sheet))
    files = {p.dxf for p in sheet.plates.values() if p.dxf} | {r.file for r in sheet.imports.values()}
    for name in sorted(files):
        raw = (folder / name).read_bytes() if folder is not None else b""
        state.update(f"\0{name}\0{len(raw)}\0".encode())
        state.update(raw)
    return state.hexdigest()
