"""Pictures of what the journal moved: strengths, the mix of crashes, what is left of parts, pooled rates."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.pictures.arrows import Arrow, arrows

if TYPE_CHECKING:
    from crashworthy.upkeep.learned import Learned
    from crashworthy.upkeep.mine import Mine
    from crashworthy.upkeep.retire import WearReport
    from crashworthy.workshop.building import Calibration

__all__ = ["left_arrows", "mix_arrows", "stiffness_arrows", "strength_arrows"]

SHOWN = 10
"""Rows in a picture; the table beside it has all of them."""


def strength_arrows(learned: Learned) -> str:
    """Load over strength of each kind: as tabled, then as the crashes say."""
    rows = [k for k in learned.kinds if k.use > 0.005][:SHOWN]
    if not rows:
        return ""
    return arrows(
        [
            Arrow(
                k.plural[:1].upper() + k.plural[1:],
                k.use,
                k.use_now[0],
                k.use_now[1],
                k.use_now[2],
                f"{k.use:.2f} → {k.use_now[0]:.2f} ({k.use_now[1]:.2f}–{k.use_now[2]:.2f})",
                (k.use / k.prior[2], k.use / k.prior[1]),
            )
            for k in rows
        ],
        title="Load over strength, as tabled and as crashes say",
        x_label="load over strength that a tenth of the loads exceed",
        one="strength",
    )


def mix_arrows(mine: Mine) -> str:
    """Share of each obstacle: assumed, then with the journal; no interval, the Dirichlet mean."""
    rows = sorted((r for r in mine.rows if r.assumed > 0.0 and r.share > 0.0), key=lambda r: -r.share)[:SHOWN]
    if not rows:
        return ""
    return arrows(
        [
            Arrow(
                r.name[:1].upper() + r.name[1:],
                100 * r.assumed,
                100 * r.share,
                100 * r.share,
                100 * r.share,
                f"{100 * r.assumed:.0f} → {100 * r.share:.0f} %",
            )
            for r in rows
        ],
        title="What is hit, assumed and as the journal says",
        x_label="% of crashes",
    )


def stiffness_arrows(found: Calibration) -> str:
    """Stiffness of an arm at its motor, assumed and as measured, up and down and sideways."""
    rows = []
    for axis, way in ((1, "Up and down"), (0, "Sideways")):
        before, after = found.before, found.after
        ranges = [[x * b.ideal[axis] / 1e3 for x in b.belief.range90(axis)] for b in (before, after)]
        (a, b), (low, high) = ranges
        middle = after.stiffness[axis] / 1e3
        words = f"{middle:.1f} ({low:.1f}–{high:.1f})"
        rows.append(Arrow(way, before.stiffness[axis] / 1e3, middle, low, high, words, (a, b)))
    return arrows(rows, title="Stiffness at the motor, assumed and now", x_label="N/mm, logarithmic")


def left_arrows(report: WearReport) -> str:
    """Strength left of each part that its crashes wore, from a new part's 1."""
    rows = [p for p in report.parts if p.worn is not None and p.worn.damage[2] > 0.02]
    rows.sort(key=lambda p: p.worn.left[0] if p.worn else 1.0)
    if not rows:
        return ""
    return arrows(
        [
            Arrow(
                p.label[:1].upper() + p.label[1:],
                1.0,
                p.worn.left[0],
                p.worn.left[1],
                p.worn.left[2],
                f"{100 * p.worn.left[0]:.0f} % ({100 * p.worn.left[1]:.0f}–{100 * p.worn.left[2]:.0f})",
            )
            for p in rows[:SHOWN]
            if p.worn
        ],
        title="Strength left",
        x_label="share of a new part's strength",
        one="new",
    )
