"""Joint groups: where their screws sit, what they hold, and what they weigh."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.build.arms import TOUCH, bolt_circle
from crashworthy.build.drafts import Draft, fixed, in_words
from crashworthy.build.quad import CORE, CORNER_NAMES, CORNERS, Joint
from crashworthy.build.solids import Mesh, frame_to, lathe, merge, rotation
from crashworthy.errors import Problem, SheetError
from crashworthy.materials import table
from crashworthy.quantities import DEG, MM

if TYPE_CHECKING:
    from crashworthy.build.arms import ArmPlan
    from crashworthy.build.frame_rows import Screws
    from crashworthy.build.plates import Lying
    from crashworthy.build.sheet import Sheet

__all__ = ["KNOWN", "fasten", "screw_mass"]

KNOWN: Final = ("arm", "motor", "standoff", "stack", "camera")
"""Groups whose places follow from the geometry; so do those named like a row of standoffs."""

HEAD: Final = (1.9, 0.55)
"""Head diameter and height over the thread's diameter: ISO 7380-1 button heads M3 to M5 (recalled)."""

NUT: Final = (1.8, 0.8)
"""Nut width across flats and height over the thread's diameter: near ISO 4032 M3 to M5 (recalled)."""

SHANK: Final = 0.85
"""Mean section of a threaded shank over that of its outer diameter (assumption)."""


def screw_mass(thread: str, length: float, grade: str, nut: str) -> float:
    """Mass of one screw with its nut, kg, for a length under the head in m.

    Shank, button head and hexagon nut of steel, stainless steel or titanium, as the constants above say.
    """
    d = float(thread[1:]) * MM
    metal = "ti64" if grade == "ti64" else "stainless" if grade.startswith("A") else "steel"
    density = table.value(metal, "density")
    head = math.pi / 4 * (HEAD[0] * d) ** 2 * HEAD[1] * d
    volume = math.pi / 4 * d * d * SHANK * length + head
    nuts = 0.0
    if nut in ("nyloc", "press"):
        flats, height = NUT[0] * d, NUT[1] * d
        nuts = (
            (math.sqrt(3) / 2 * flats * flats - math.pi / 4 * d * d)
            * height
            * table.value("steel", "density")
        )
    return volume * density + nuts


Place = tuple[Any, Any, int]
"""A screw: (3,) m where its head bears, (3,) unit vector head to tip, and the arm that carries it."""


def _turned(layout: ArmPlan, corner: int, x: float, y: float) -> tuple[float, float]:
    """A point of the arm drawn along x, (x, y) m, on the arm at ``corner``; right arms are mirror images."""
    side = 1.0 if corner % 2 == 0 else -1.0
    azimuth = layout.azimuth[corner] * side
    return (
        x * math.cos(azimuth) - y * math.sin(azimuth),
        side * (x * math.sin(azimuth) + y * math.cos(azimuth)),
    )


class _Site:
    """Everything that screw places are derived from."""

    def __init__(self, sheet: Sheet, layout: ArmPlan, lying: list[Lying], drafts: list[Draft]) -> None:
        self.sheet = sheet
        self.layout = layout
        self.lying = lying
        self.names = {d.name for d in drafts}
        self.by_kind: dict[str, list[Draft]] = {}
        for draft in drafts:
            self.by_kind.setdefault(draft.kind, []).append(draft)

    def of(self, kind: str) -> list[str]:
        return [d.name for d in self.by_kind.get(kind, [])]

    def arm(self, _row: Screws) -> tuple[list[Place], list[str], list[str]]:
        under = min((p.low for p in self.lying if p.name in self.layout.clamped_by), default=0.0)
        head = min(under, 0.0)
        places: list[Place] = []
        for corner in range(4):
            for r in self.layout.bolts:
                x, y = _turned(self.layout, corner, r, 0.0)
                places.append((np.array([x, y, head]), np.array([0.0, 0.0, 1.0]), CORE))
        return places, self.of("arm"), [*self.of("arm"), *self.layout.clamped_by]

    def motor(self, _row: Screws) -> tuple[list[Place], list[str], list[str]]:
        places: list[Place] = []
        for corner in range(4):
            for x, y in bolt_circle(self.sheet):
                u, v = _turned(self.layout, corner, self.layout.reach + x, y)
                places.append((np.array([u, v, 0.0]), np.array([0.0, 0.0, 1.0]), corner))
        return places, self.of("motor"), [*self.of("motor"), *self.of("arm")]

    def standoff(self, row: Screws, only: str = "") -> tuple[list[Place], list[str], list[str]]:
        places: list[Place] = []
        held = []
        plates: list[str] = []
        for name, spec in self.sheet.standoffs.items():
            if only and name != only:
                continue
            low, high = spec.z * MM, (spec.z + spec.h) * MM
            over = next((p for p in self.lying if abs(p.low - high) < TOUCH), None)
            below = next((p for p in self.lying if abs(p.high - low) < TOUCH), None)
            plates += [p.name for p in (below, over) if p is not None and p.name not in plates]
            for draft in self.by_kind.get("standoff", []):
                if draft.field != f"standoffs.{name}" or draft.mesh is None:
                    continue
                held.append(draft.name)
                x, y = (draft.mesh.vertices[:, :2].min(axis=0) + draft.mesh.vertices[:, :2].max(axis=0)) / 2
                ends: list[Place] = [
                    (np.array([x, y, over.high if over else high]), np.array([0.0, 0.0, -1.0]), CORE),
                    (np.array([x, y, below.low if below else low]), np.array([0.0, 0.0, 1.0]), CORE),
                ]
                places += ends[: row.per or 2]
        return places, held, [*held, *plates]

    def stack(self, row: Screws) -> tuple[list[Place], list[str], list[str]]:
        stack = self.sheet.stack
        if stack is None:
            return [], [], []
        half = stack.pattern * MM / 2
        under = [p for p in self.lying if p.high <= stack.z * MM + 1e-9]
        plate = max(under, key=lambda p: p.high, default=None)
        z = plate.low if plate is not None else stack.z * MM
        cx, cy = (v * MM for v in stack.at)
        spots = [(1, 1), (-1, -1), (1, -1), (-1, 1)][: row.per or 4]
        places: list[Place] = [
            (np.array([cx + half * a, cy + half * b, z]), np.array([0.0, 0.0, 1.0]), CORE) for a, b in spots
        ]
        boards = self.of("board")
        return places, boards, [*boards, *([plate.name] if plate is not None else [])]

    def camera(self, row: Screws) -> tuple[list[Place], list[str], list[str]]:
        camera = self.sheet.camera
        if camera is None:
            return [], [], []
        turn = rotation(y=-camera.at.tilt * DEG)
        depth, width, _ = (v * MM for v in camera.body)
        front = np.array([camera.at.edge_x - camera.at.recess, camera.at.y, camera.at.z]) * MM
        middle = front + turn @ np.array([-camera.lens_l * MM - depth / 2, 0.0, 0.0])
        # Upright plates beside the camera are what it is screwed to.
        cheeks = [d for d in self.by_kind.get("plate", []) if d.name not in {p.name for p in self.lying}]
        reach = width / 2
        for draft in cheeks:
            if draft.mesh is not None:
                reach = max(reach, float(np.abs(draft.mesh.vertices[:, 1] - middle[1]).max()))
        n = row.per or 2
        places: list[Place] = []
        for k in range(n):
            side = 1.0 if k % 2 == 0 else -1.0
            along = 0.0 if n <= 2 else (k // 2 - (n // 2 - 1) / 2) * 6e-3
            spot = middle + turn @ np.array([along, 0.0, 0.0])
            places.append((spot + np.array([0.0, side * reach, 0.0]), np.array([0.0, -side, 0.0]), CORE))
        body = [*self.of("camera"), *self.of("lens")]
        return places, body, [*body, *(d.name for d in cheeks)]

    def places(self, group: str, row: Screws) -> tuple[list[Place], list[str], list[str]]:
        """Screws of a group, the parts whose hold it is, and all it joins."""
        joins = list(row.joins) if row.joins is not None else []
        if row.at is not None:
            given: list[Place] = [(np.array(p) * MM, np.array([0.0, 0.0, -1.0]), CORE) for p in row.at]
            found: tuple[list[Place], list[str], list[str]] = (given, joins, joins)
            if not joins and group in KNOWN:
                found = (given, *getattr(self, group)(row)[1:])
        elif group in KNOWN:
            found = getattr(self, group)(row)
        elif group in self.sheet.standoffs:
            found = self.standoff(row, only=group)
        else:
            raise SheetError(
                Problem(
                    "where these screws sit does not follow from the geometry",
                    "give at = [[x, y, z], ...], mm, or name the group arm, motor, standoff, stack, camera "
                    "or like a row of standoffs",
                    field=f"screws.{group}",
                )
            )
        if not found[0]:
            raise SheetError(
                Problem(
                    f"there is nothing on this quad that {group} screws hold",
                    "describe what they hold, give at = [[x, y, z], ...], or take the row out",
                    field=f"screws.{group}",
                )
            )
        lost = [n for n in joins if n not in self.names]
        if lost:
            raise SheetError(
                Problem(
                    f"no part is called {lost[0]!r}",
                    f"use names of parts: {', '.join(sorted(self.names))}",
                    field=f"screws.{group}.joins",
                )
            )
        return (found[0], joins or found[1], joins or found[2])


def _screw_mesh(row: Screws, places: list[Place]) -> Mesh:
    d = float(row.thread[1:]) * MM
    head, tall = HEAD[0] * d / 2, HEAD[1] * d
    one = lathe([(head, -tall), (head, 0.0), (d / 2, 0.0), (d / 2, row.length * MM)], 8)
    return merge(*(one.moved(frame_to(axis), spot) for spot, axis, _ in places))


def fasten(
    sheet: Sheet, layout: ArmPlan, lying: list[Lying], drafts: list[Draft]
) -> tuple[list[Draft], list[Joint], list[SheetError]]:
    """Place the screws of every group; the held drafts learn which group holds them.

    Returns:
        The screws as parts (one a group, one a corner for those that ride on an arm), the joints, and the
        mistakes found.
    """
    site = _Site(sheet, layout, lying, drafts)
    parts: list[Draft] = []
    joints: list[Joint] = []
    errors: list[SheetError] = []
    by_name = {d.name: d for d in drafts}
    for group, row in sheet.screws.items():
        try:
            places, holds, joins = site.places(group, row)
        except SheetError as error:
            errors.append(error)
            continue
        for name in holds:
            if not by_name[name].joint:
                by_name[name].joint = group
        upkeep = row.upkeep or (group if group in ("arm", "motor") else "other")
        joints.append(
            Joint(
                name=group,
                upkeep=upkeep,
                thread=row.thread,
                screw_length=row.length * MM,
                grade=row.grade,
                nut=row.nut,
                threadlock=row.threadlock,
                positions=fixed([p[0] for p in places]),
                joins=tuple(joins),
            )
        )
        each = screw_mass(row.thread, row.length * MM, row.grade, row.nut)
        metal = "ti64" if row.grade == "ti64" else "stainless" if row.grade.startswith("A") else "steel"
        for arm in sorted({p[2] for p in places}):
            mine = [p for p in places if p[2] == arm]
            on = "" if arm == CORE else f"_{CORNERS[arm]}"
            where = "" if arm == CORE else f"{CORNER_NAMES[arm]} "
            parts.append(
                Draft(
                    f"screws_{group}{on}",
                    f"{where}{in_words(group)} screws",
                    "screw",
                    metal,
                    f"screws.{group}",
                    _screw_mesh(row, mine),
                    each * len(mine),
                    arm=arm,
                    joint=group,
                    measures={"diameter": float(row.thread[1:]) * MM, "count": float(len(mine))},
                )
            )
    # Plates are held by whatever joins them last: standoffs before arms.
    for joint in sorted(joints, key=lambda j: j.name == "arm"):
        for name in joint.joins:
            if by_name[name].kind == "plate" and not by_name[name].joint:
                by_name[name].joint = joint.name
    return parts, joints, errors
