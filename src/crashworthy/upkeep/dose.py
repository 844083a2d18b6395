"""Dose: how much one pack or one crash uses up the tightness of the screws, in packs of ordinary flying.

d = (v/v_ref)^m · minutes/minutes_ref, clipped; without a log d = minutes/minutes_ref (1 when unknown), and a
bent prop counts as a fixed ratio of vibration. All numbers are assumptions of ``priors.toml`` [dose].
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.errors import JournalError, Problem

if TYPE_CHECKING:
    from crashworthy.upkeep.priors import DosePrior

__all__ = ["crash_dose", "pack_dose"]


def pack_dose(
    prior: DosePrior,
    *,
    minutes: float | None = None,
    rms: float | None = None,
    reference_rms: float | None = None,
    bent_prop: bool = False,
) -> float:
    """Dose of one pack.

    Args:
        prior: exponent, clip, reference length and bent-prop ratio.
        minutes: length of the flight; None counts as an ordinary pack.
        rms: vibration rms of the flight in any unit, or None without a log.
        reference_rms: rms of this quad when clean, same unit; needed with ``rms`` (else ``rms`` is unused).
        bent_prop: the pilot flew with a bent prop; used only when the log does not tell.

    Returns:
        Dose in packs, between ``prior.low`` and ``prior.high``.

    Raises:
        JournalError: minutes or rms is negative or not finite.
    """
    for name, number in (("minutes", minutes), ("rms", rms), ("reference_rms", reference_rms)):
        if number is not None and (not math.isfinite(number) or number < 0):
            raise JournalError(
                Problem(f"{name} is {number!r}", "give a number of 0 or more, or leave it out", field=name)
            )
    ratio = prior.bent_prop_ratio if bent_prop else 1.0
    if rms is not None and reference_rms:
        ratio = rms / reference_rms
    length = 1.0 if minutes is None else minutes / prior.reference_minutes
    # The clip comes before the power can overflow.
    ratio = min(ratio, 1e6)
    return min(max(math.pow(ratio, prior.exponent) * length, prior.low), prior.high)


def crash_dose(prior: DosePrior, severity: str) -> float:
    """Dose that one crash adds to the screws, packs.

    Args:
        prior: the jumps.
        severity: "scuff", "hit" or "slam".

    Raises:
        JournalError: the severity is not one of these.
    """
    jumps = {"scuff": prior.jump_scuff, "hit": prior.jump_hit, "slam": prior.jump_slam}
    try:
        return jumps[severity]
    except KeyError:
        raise JournalError(
            Problem(f"no severity is called {severity!r}", "use scuff, hit or slam", field="severity")
        ) from None
