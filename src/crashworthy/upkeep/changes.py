"""What could be changed about a build: edits of its sheet, made from the build itself.

Prices and bench minutes are the assumptions of ``priors.toml`` ([price], [change]).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from crashworthy.build.drafts import in_words
from crashworthy.build.sheet import Sheet
from crashworthy.materials.table import value
from crashworthy.upkeep.edits import Change, Edit
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.rides import STACK

if TYPE_CHECKING:
    from crashworthy.build.equipment_rows import Antenna, Mount
    from crashworthy.upkeep.priors import BenchPrior, Priors

__all__ = ["candidates"]

ARM_T, ARM_ROOT, ARM_TIP = 1.0, 3.0, 2.0
"""Steps: thicker arm, wider root, wider tip, mm."""

PLATE_T, STANDOFF_D, SHAFT_D, WALL = 0.5, 1.0, 1.0, 0.3
"""Steps: thicker plate, standoff, shaft and bell wall, mm."""

IN, DOWN, RECESS, PACK, BACK, LOOP = 5.0, 8.0, 4.0, 5.0, 5.0, 6.0
"""Steps, mm: antenna further in and lower, camera deeper, pack and heavy box shifted, lead pulled in."""

SHORTER: Final = 12.0
"""Step: shorter antenna, mm."""

STRAP, SLAB = 5.0, 1.0
"""Steps: wider strap, thicker shield, mm."""

HEAVY: Final = 30.0
"""A box of this mass, g, is worth shifting."""

_TWICE: Final = (("softer", "softer", 0.5), ("stiffer", "stiffer", 2.0))
"""Mounts half and twice as stiff."""

TOUCH: Final = 0.5
"""Plates nearer to the arms' upper side than this, mm, move with it."""


def candidates(sheet: Sheet, priors: Priors | None = None) -> tuple[Change, ...]:
    """Every change that makes sense for this build, in the order of the sheet's sections.

    Args:
        sheet: the build.
        priors: prices and bench minutes; the packaged assumptions by default.
    """
    bench = (priors or load_priors()).bench
    makers = (
        _arms, _motors, _plates, _standoffs, _camera, _antennas, _pack, _leads, _stack, _boxes, _mounts,
        _screws,
    )  # fmt: skip
    return tuple(change for maker in makers for change in maker(sheet, bench))


def _arms(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    arms = sheet.arms
    coins, minutes = 4 * bench.price["arm"], 4 * bench.change["fit_arm"]
    costs = "four arms bought and changed"
    t = arms.t + ARM_T
    lifted = tuple(
        Edit(("plates", name, "z"), p.z + ARM_T)
        for name, p in sheet.plates.items()
        if p.side is None and abs(p.z - arms.t) < TOUCH
    )
    if t <= 20:
        yield Change(
            "arm_thicker", f"arms {t:g} mm thick, not {arms.t:g}", (Edit(("arms", "t"), t), *lifted),
            coins, minutes, costs,
        )  # fmt: skip
    root, tip = arms.w_root + ARM_ROOT, arms.w_tip + ARM_TIP
    yield Change(
        "arm_wider", f"arms {root:g} to {tip:g} mm wide, not {arms.w_root:g} to {arms.w_tip:g}",
        (Edit(("arms", "w_root"), root), Edit(("arms", "w_tip"), tip)), coins, minutes, costs,
    )  # fmt: skip


def _motors(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    motors = sheet.motors
    coins, minutes = 4 * bench.price["motor"], 4 * bench.change["fit_motor"]
    costs = "four motors bought and changed"
    if motors.shaft_d < 5.0:
        d = motors.shaft_d + SHAFT_D
        yield Change(
            "shaft", f"motors with {d:g} mm shafts, not {motors.shaft_d:g}",
            (Edit(("motors", "shaft_d"), d),),
            coins, minutes, costs,
        )  # fmt: skip
    wall = round(motors.bell_wall + WALL, 3)
    yield Change(
        "bell_wall", f"motors with {wall:g} mm bell walls, not {motors.bell_wall:g}",
        (Edit(("motors", "bell_wall"), wall),), coins, minutes, costs,
    )  # fmt: skip
    other = {"al6061": "al7075", "al7075": "al6061"}.get(motors.material)
    if other is not None:
        words = {"al6061": "6061", "al7075": "7075"}
        yield Change(
            "bell_alloy", f"bells of {words[other]} alloy, not {words[motors.material]}",
            (Edit(("motors", "material"), other),), coins, minutes, costs,
        )  # fmt: skip


def _plates(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    for name, plate in sheet.plates.items():
        if plate.side is None and plate.z < 0.0:
            t = plate.t + PLATE_T
            yield Change(
                f"plate_{name}", f"{name} plate {t:g} mm thick, not {plate.t:g}",
                (Edit(("plates", name, "t"), t), Edit(("plates", name, "z"), plate.z - PLATE_T)),
                bench.price["plate"], bench.change["fit_plate"], "one plate bought and changed",
            )  # fmt: skip


def _standoffs(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    for name, row in sheet.standoffs.items():
        d = row.d + STANDOFF_D
        number = len(row.at) + (sum(1 for x in row.at if x[1] != 0) if row.mirror else 0)
        yield Change(
            f"standoff_{name}", f"{name} standoffs {d:g} mm thick, not {row.d:g}",
            (Edit(("standoffs", name, "d"), d),),
            number * bench.price["standoff"], bench.change["fit_plate"], f"{number} standoffs, top plate off",
        )  # fmt: skip


def _camera(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    if sheet.camera is None:
        return
    at = sheet.camera.at
    yield Change(
        "camera_deeper", f"camera {RECESS:g} mm deeper in the frame",
        (Edit(("camera", "at", "recess"), at.recess + RECESS),),
        bench.change["print"], bench.change["fit_print"], "a printed mount",
    )  # fmt: skip


def _antenna_groups(sheet: Sheet) -> list[tuple[str, list[str]]]:
    """Antennas that are mirror images of each other change together."""
    groups: list[tuple[str, list[str]]] = []
    for name, row in sheet.antennas.items():
        for _, members in groups:
            twin = sheet.antennas[members[0]]
            if _mirrored(row, twin):
                members.append(name)
                break
        else:
            groups.append((name, [name]))
    return [(_antenna_words(members), members) for _, members in groups]


def _antenna_words(members: list[str]) -> str:
    if len(members) == 1:
        return f"{members[0].replace('_', ' ')} antenna"
    stem = members[0].rpartition("_")[0]
    if len(members) == 2 and stem and members[1].rpartition("_")[0] == stem:
        return f"both {stem.replace('_', ' ')} antennas"
    return " and ".join(m.replace("_", " ") for m in members) + " antennas"


def _mirrored(a: Antenna, b: Antenna) -> bool:
    same = a.length == b.length and a.at[0] == b.at[0] and a.at[2] == b.at[2] and a.at[1] == -b.at[1]
    return same and a.at[1] != 0.0


def _antennas(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    coins, minutes, costs = bench.change["print"], bench.change["fit_print"], "a printed mount"
    for words, members in _antenna_groups(sheet):
        key = members[0]
        rows = {m: sheet.antennas[m] for m in members}
        inward = tuple(
            Edit(("antennas", m, "at"), (_towards_zero(r.at[0], IN), r.at[1], r.at[2]))
            for m, r in rows.items()
        )
        if any(abs(r.at[0]) > IN for r in rows.values()):
            yield Change(f"{key}_in", f"{words} {IN:g} mm further in", inward, coins, minutes, costs)
        lower = tuple(
            Edit(("antennas", m, "at"), (r.at[0], r.at[1], r.at[2] - DOWN)) for m, r in rows.items()
        )
        yield Change(f"{key}_lower", f"{words} {DOWN:g} mm lower", lower, coins, minutes, costs)
        # A bare wire has its length from its frequency; only the stem of a headed antenna is free.
        if all(r.head_d and r.length - SHORTER > (r.head_l or r.head_d) + 5.0 for r in rows.values()):
            length = tuple(Edit(("antennas", m, "length"), r.length - SHORTER) for m, r in rows.items())
            yield Change(
                f"{key}_shorter", f"{words} {SHORTER:g} mm shorter", length,
                len(members) * bench.price["antenna"], bench.repair["antenna"] * len(members),
                f"{len(members)} antenna bought and changed",
            )  # fmt: skip
        leaning = {m: r for m, r in rows.items() if r.dir[0] * r.at[0] > 0 and abs(r.dir[0]) > 0.15}
        upright = {m: r for m, r in leaning.items() if abs(r.dir[1]) + abs(r.dir[2]) > 0.0}
        if upright:
            edits = tuple(Edit(("antennas", m, "dir"), (0.0, r.dir[1], r.dir[2])) for m, r in upright.items())
            way = "not leaning out" if sheet.antennas[key].at[0] > 0 else "not leaning back"
            yield Change(f"{key}_upright", f"{words} {way}", edits, coins, minutes, costs)


def _towards_zero(x: float, step: float) -> float:
    return x - step if x > step else x + step if x < -step else 0.0


def _pack(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    pack = sheet.battery
    if pack is None:
        return
    quick = bench.change["fit_small"]
    if pack.size[0] != pack.size[1]:
        other = "y" if pack.long_axis == "x" else "x"
        words = "across" if other == "y" else "along"
        yield Change(
            "pack_turned", f"pack turned to lie {words} the frame", (Edit(("battery", "long_axis"), other),),
            0.0, quick, "nothing bought",
        )  # fmt: skip
    for key, step, words in (("forward", PACK, "further forward"), ("back", -PACK, "further back")):
        yield Change(
            f"pack_{key}", f"pack {PACK:g} mm {words}",
            (Edit(("battery", "at"), (pack.at[0] + step, pack.at[1], pack.at[2])),),
            0.0, quick, "nothing bought",
        )  # fmt: skip
    yield from _shields(sheet, bench)
    strap = pack.strap
    if strap is not None:
        width = strap.width + STRAP
        yield Change(
            "strap", f"strap {width:g} mm wide, not {strap.width:g}",
            (
                Edit(("battery", "strap", "width"), width),
                Edit(("battery", "strap", "mass"), round(strap.mass * width / strap.width, 3)),
            ),
            bench.price["strap"], quick, "one strap bought",
        )  # fmt: skip


def _shields(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    assert sheet.battery is not None  # noqa: S101 - asked by the caller
    have = sheet.battery.shield
    resting = "top" if sheet.battery.under else "bottom"
    outer = "bottom" if sheet.battery.under else "top"
    for faces, words in (
        (("front",), "front"),
        (("rear",), "rear"),
        (("left", "right"), "left and right"),
        ((outer,), outer),
    ):
        new = tuple(f for f in faces if f not in have and f != resting)
        if new:
            yield Change(
                f"shield_{faces[0]}", f"soft shield on the pack's {words}",
                (Edit(("battery", "shield"), (*have, *new)),),
                len(new) * bench.price["shield"], bench.change["fit_print"], f"{len(new)} printed",
            )  # fmt: skip
    for face in have:
        yield Change(
            f"no_shield_{face}", f"no shield on the pack's {face}",
            (Edit(("battery", "shield"), tuple(f for f in have if f != face)),),
            0.0, bench.change["fit_small"], "nothing bought",
        )  # fmt: skip
    if have:
        t = sheet.battery.shield_t + SLAB
        yield Change(
            "shield_thicker", f"pack shields {t:g} mm thick, not {sheet.battery.shield_t:g}",
            (Edit(("battery", "shield_t"), t),),
            len(have) * bench.price["shield"], bench.change["fit_print"], f"{len(have)} printed",
        )  # fmt: skip


def _leads(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    for name, lead in sheet.leads.items():
        # Each point moves in proportion to how far out it lies: the root stays where it is soldered.
        out = [x - lead.path[0][0] for x, _, _ in lead.path]
        reach = max(abs(o) for o in out)
        if reach <= LOOP:
            continue
        path = tuple(
            (round(x - LOOP * o / reach, 2), y, z) for (x, y, z), o in zip(lead.path, out, strict=True)
        )
        edits = [Edit(("leads", name, "path"), path)]
        if not lead.retained:
            edits.append(Edit(("leads", name, "retained"), True))
        words = name.replace("_", " ")
        yield Change(
            f"lead_{name}", f"loop of the {words} lead {LOOP:g} mm further in", tuple(edits),
            bench.change["small"], bench.change["fit_lead"], "shortened and tied",
        )  # fmt: skip


def _stack(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    if sheet.stack is not None and not sheet.stack.soft:
        yield Change(
            "stack_soft", "stack on soft grommets", (Edit(("stack", "soft"), True),),
            bench.change["small"], bench.change["fit_plate"], "grommets, stack off and on",
        )  # fmt: skip
        return
    if sheet.stack is None:
        return
    now = sheet.stack.hz or value("stack_mount", "frequency")
    for key, words, factor in _TWICE:
        hz = float(f"{now * math.sqrt(factor):.3g}")
        if 20.0 <= hz <= 2000.0:
            yield Change(
                f"stack_{key}", f"{words} stack grommets ({hz:g} Hz, not {now:g})",
                (Edit(("stack", "hz"), hz),),
                bench.change["small"], bench.change["fit_plate"], "grommets, stack off and on",
                rides=(STACK,),
            )  # fmt: skip


def _mounts(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    """Soft mounts half and twice as stiff; none in place of a hard one, whose strength the model lacks."""
    found: list[tuple[str, tuple[str, ...], Mount | None]] = []
    if sheet.camera is not None:
        found.append(("camera", ("camera",), sheet.camera.mount))
    found += [(name, ("boxes", name), row.mount) for name, row in sheet.boxes.items()]
    for name, path, mount in found:
        if mount is None:
            continue
        now = mount.k if mount.k is not None else value(mount.material, "mount_stiffness") / 1000.0
        for key, words, factor in _TWICE:
            k = float(f"{now * factor:.3g}")
            if 0.5 <= k <= 5000.0:
                yield Change(
                    f"mount_{name}_{key}",
                    f"{words} mount of the {in_words(name)} ({k:g} N/mm, not {now:g})",
                    (Edit((*path, "mount", "k"), k),),
                    bench.change["print"], bench.change["fit_print"], "a printed mount", rides=(name,),
                )  # fmt: skip


def _boxes(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    for name, box in sheet.boxes.items():
        if box.mass + box.holder >= HEAVY and abs(box.at[0]) > BACK:
            at = (_towards_zero(box.at[0], BACK), box.at[1], box.at[2])
            words = name.replace("_", " ")
            yield Change(
                f"box_{name}", f"{words} {BACK:g} mm further in", (Edit(("boxes", name, "at"), at),),
                bench.change["print"], bench.change["fit_print"], "a printed mount",
            )  # fmt: skip


def _screws(sheet: Sheet, bench: BenchPrior) -> Iterator[Change]:
    for name in ("arm", "motor"):
        row = sheet.screws.get(name)
        if row is None or row.grade == "12.9":
            continue
        number = 4 * (row.per or (2 if name == "arm" else sheet.motors.screws))
        yield Change(
            f"screws_{name}", f"{name} screws of grade 12.9, not {row.grade}",
            (Edit(("screws", name, "grade"), "12.9"),),
            number * bench.price["screw"], 4 * bench.change["fit_small"], f"{number} screws",
        )  # fmt: skip
