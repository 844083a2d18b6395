"""What antennas, leads and soft mounts bear: how the sheet's rows are read, and their capacities."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.materials.table import datum, value

if TYPE_CHECKING:
    from crashworthy.build.equipment_rows import Antenna, Lead, Mount
    from crashworthy.build.quad import Quad
    from crashworthy.materials.table import Datum

__all__ = ["is_whip", "lead_pull", "limb_source", "mount_of", "mount_stiffness", "stack_frequency"]

THIN = 3.0
"""An antenna thinner than this and without a head is taken for a soft whip, mm (assumption)."""


def is_whip(row: Antenna) -> bool:
    """Whether an antenna bends along its length, instead of tilting about its root."""
    if row.flex is not None:
        return row.flex == "whip"
    return row.head_d == 0.0 and row.d < THIN


def lead_pull(row: Lead) -> float:
    """Pull that tears a lead off what it is soldered or crimped to, N."""
    return value("part_lead", f"pull_{row.joint}")


def mount_of(quad: Quad, index: int) -> Mount | None:
    """The sheet's row of the soft mount under a part; None when it is screwed down."""
    part = quad.parts[index]
    if not quad.sheet or part.kind not in ("camera", "box"):
        return None
    row = quad.sheet.camera if part.kind == "camera" else quad.sheet.boxes.get(part.name)
    return None if row is None else row.mount


def mount_stiffness(row: Mount) -> float:
    """Stiffness of a soft mount at first, N/m."""
    return 1000.0 * row.k if row.k is not None else value(row.material, "mount_stiffness")


def stack_frequency(quad: Quad) -> float:
    """Natural frequency of the boards on their mount, Hz: the sheet's, or the table's."""
    row = quad.sheet.stack if quad.sheet else None
    return value("stack_mount", "frequency") if row is None or row.hz is None else row.hz


def limb_source(quad: Quad, index: int) -> tuple[str, float, str, tuple[Datum, ...]] | None:
    """How a limb other than an arm fails: in words, its spread, the source, and the data used."""
    part, sheet = quad.parts[index], quad.sheet
    if not sheet:
        return None
    if part.kind == "antenna" and part.name in sheet.antennas:
        pull = datum("part_antenna", "pull")
        beta = datum("part_antenna", "limb_beta")
        if is_whip(sheet.antennas[part.name]):
            travel = datum("part_antenna", "travel_share")
            told = f"tip {travel.value:g} of its length aside, or {pull.value:g} N along it"
            return (
                "bent over or pulled out",
                beta.value,
                f"{told}; {travel.source}; {pull.source}",
                (travel, pull),
            )
        moment = datum("part_antenna", "root_moment")
        told = f"{moment.value:g} N m at its root, or {pull.value:g} N along it"
        return "broken at its root", beta.value, f"{told}; {moment.source}; {pull.source}", (moment, pull)
    if part.kind == "lead" and part.name in sheet.leads:
        pull = datum("part_lead", f"pull_{sheet.leads[part.name].joint}")
        way, force = datum("part_lead", "snag_travel"), datum("part_lead", "snag_force")
        told = (
            f"{pull.value:g} N at its ends once it was dragged {1e3 * way.value:g} mm under more than "
            f"{force.value:g} N"
        )
        beta = datum("part_lead", "limb_beta")
        return "snagged and torn off", beta.value, f"{told}; {pull.source}", (pull, way, force)
    if mount_of(quad, index) is not None:
        pull = datum("soft_mount", "pull")
        beta = datum("soft_mount", "pull_beta")
        return "torn from its mount", beta.value, f"{pull.value:g} N on the mount; {pull.source}", (pull,)
    return None
