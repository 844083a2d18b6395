"""How stiff the arms are, from a pull and a tap: the prior belief about the root factors, corrected.

What bends at the tip is arm and clamp together: stiffness k = c k0, where k0 is the ideal cantilever of
``beam`` and c the root factor. Neither test can tell a softer laminate from a softer clamp, so the factor
takes both. ln c of the two directions (in plane, out of plane) is believed to be normal, with the medians and
the spread of the table ``arm_root`` and a correlation between them, since modulus and clamp are shared.

Each test gives one observation y = ln(k / k0) of one of the two:

* pull: k = F / d, var = sF² + (sd / d)² + sa²,
* tap: k = (2 pi f)² m, m the swinging mass, var = (2 sf)² + sm² + sa² (Rayleigh; Rao, Mechanical Vibrations),

with sa for the arms that were not measured. The normal belief is updated by each in turn, a Kalman step:
g = S h / (h' S h + var), mu + g (y - h' mu), S - g h' S. For one direction alone that is the mean weighted by
precision (Gelman et al., Bayesian Data Analysis, 3rd ed., eq. 2.10).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.materials.table import datum, value

if TYPE_CHECKING:
    from crashworthy.build.quad import Arm, StiffnessTest

__all__ = ["Z90", "ArmBelief", "Observed", "arm_belief", "observed", "updated"]

Z90: Final = 1.6449
"""Standard deviations to either side that hold 90 % of a normal belief."""

APART: Final = 2.5
"""Two tests of one direction further apart than this many standard deviations disagree."""

_WORDS: Final = {True: "sideways", False: "up and down"}


@dataclass(frozen=True, slots=True)
class Observed:
    """One test as an observation.

    Attributes:
        how: "pull" or "tap".
        in_plane: its direction.
        stiffness: that it shows, N/m.
        factor: that stiffness over the ideal one.
        sd_ln: standard deviation of the logarithm, all causes together.
        own_sd_ln: the same without what differs from arm to arm, which two tests of one arm share.
    """

    how: str
    in_plane: bool
    stiffness: float
    factor: float
    sd_ln: float
    own_sd_ln: float


@dataclass(frozen=True, slots=True)
class ArmBelief:
    """What is believed about the root factors; pairs are (in plane, out of plane).

    Attributes:
        prior: medians before any test.
        factor: medians now.
        prior_sd_ln: standard deviations of the logarithms before.
        sd_ln: and now.
        tests: what was observed.
        doubts: tests that disagree, in words.
    """

    prior: tuple[float, float]
    factor: tuple[float, float]
    prior_sd_ln: float
    sd_ln: tuple[float, float]
    tests: tuple[Observed, ...]
    doubts: tuple[str, ...]

    def range90(self, axis: int) -> tuple[float, float]:
        """Range of the factor of one direction (0 in plane, 1 out of plane) that holds 90 %."""
        spread = math.exp(Z90 * self.sd_ln[axis])
        return self.factor[axis] / spread, self.factor[axis] * spread

    @property
    def shift(self) -> tuple[float, float]:
        """Factor now over factor before: (in plane, out of plane)."""
        return self.factor[0] / self.prior[0], self.factor[1] / self.prior[1]

    def summary(self) -> str:
        """One sentence with numbers first."""
        up, side = self.factor[1], self.factor[0]
        (ul, uh), (sl, sh) = self.range90(1), self.range90(0)
        how = " and ".join(dict.fromkeys(f"a {t.how} {_WORDS[t.in_plane]}" for t in self.tests))
        whence = f"from {how}" if how else "assumed, nothing was measured"
        return (
            f"Arm roots are {up:.2f} ({ul:.2f}-{uh:.2f}) times as stiff as a perfect clamp up and down, "
            f"{side:.2f} ({sl:.2f}-{sh:.2f}) sideways, {whence}."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "factor": {
                words: {
                    "before": self.prior[axis],
                    "now": round(self.factor[axis], 4),
                    "range90": [round(x, 4) for x in self.range90(axis)],
                    "sd_ln": round(self.sd_ln[axis], 4),
                }
                for axis, words in ((1, "up"), (0, "side"))
            },
            "tests": [
                {
                    "how": t.how,
                    "direction": "side" if t.in_plane else "up",
                    "stiffness_n_per_mm": round(t.stiffness / 1000.0, 4),
                    "factor": round(t.factor, 4),
                    "sd_ln": round(t.sd_ln, 4),
                }
                for t in self.tests
            ],
            "doubts": list(self.doubts),
        }


def observed(test: StiffnessTest, ideal: float, tip_mass: float) -> Observed:
    """A test as an observation of the root factor.

    Args:
        test: what was read.
        ideal: stiffness in its direction with a rigid root, N/m.
        tip_mass: mass that swings with everything on, kg.
    """
    between = value("arm_test", "arms_sd")
    if test.how == "pull":
        stiffness = test.force / test.deflection
        own = math.hypot(value("arm_test", "force_sd"), value("arm_test", "deflection_sd") / test.deflection)
    else:
        mass = max(tip_mass - test.off, 0.1 * tip_mass)
        stiffness = (2.0 * math.pi * test.frequency) ** 2 * mass
        own = math.hypot(2.0 * value("arm_test", "frequency_sd"), value("arm_test", "mass_sd"))
    return Observed(test.how, test.in_plane, stiffness, stiffness / ideal, math.hypot(own, between), own)


def updated(
    mean: tuple[float, float],
    sd: float,
    correlation: float,
    seen: tuple[tuple[int, float, float], ...],
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two normal beliefs corrected by observations: their means and standard deviations.

    Args:
        mean: of the two.
        sd: of either.
        correlation: between them.
        seen: (which, value, standard deviation) of each observation.
    """
    mu = np.array(mean, dtype=np.float64)
    cov = sd**2 * np.array([[1.0, correlation], [correlation, 1.0]])
    for axis, y, error in seen:
        gain = cov[:, axis] / (cov[axis, axis] + error**2)
        mu = mu + gain * (y - mu[axis])
        cov = cov - np.outer(gain, cov[axis])
    return (float(mu[0]), float(mu[1])), (math.sqrt(cov[0, 0]), math.sqrt(cov[1, 1]))


def arm_belief(arm: Arm, ideal: tuple[float, float], tip_mass: float) -> ArmBelief:
    """What is believed about the root factors of an arm, its tests taken in.

    Args:
        arm: with its tests.
        ideal: stiffness with a rigid root (in plane, out of plane), N/m.
        tip_mass: mass that swings at its tip, kg.
    """
    prior = (datum("arm_root", "factor_in_plane").value, datum("arm_root", "factor_out_of_plane").value)
    spread = value("arm_root", "stiffness_sd_ln")
    tests = tuple(observed(t, ideal[0 if t.in_plane else 1], tip_mass) for t in arm.tests)
    # Tests of one direction share the arm they were made on: combine them first, then let that arm stand
    # for the others.
    seen = []
    for axis, in_plane in ((0, True), (1, False)):
        own = [t for t in tests if t.in_plane == in_plane]
        if own:
            weight = [1.0 / max(t.own_sd_ln, 1e-6) ** 2 for t in own]
            y = sum(w * math.log(t.factor) for w, t in zip(weight, own, strict=True)) / sum(weight)
            seen.append((axis, y, math.hypot(sum(weight) ** -0.5, value("arm_test", "arms_sd"))))
    mean, sd = updated(
        (math.log(prior[0]), math.log(prior[1])), spread, value("arm_root", "correlation"), tuple(seen)
    )
    return ArmBelief(
        prior, (math.exp(mean[0]), math.exp(mean[1])), spread, sd, tests, _doubts(tests, prior, spread)
    )


def _doubts(tests: tuple[Observed, ...], prior: tuple[float, float], spread: float) -> tuple[str, ...]:
    words = []
    for in_plane in (False, True):
        own = [t for t in tests if t.in_plane == in_plane]
        if len(own) == 2:
            gap = abs(math.log(own[0].factor / own[1].factor)) / math.hypot(*(t.own_sd_ln for t in own))
            if gap > APART:
                words.append(
                    f"pull and tap {_WORDS[in_plane]} disagree by {gap:.1f} standard deviations: hold the "
                    "body down firmly, screws tight, and repeat both"
                )
    for t in tests:
        usual = prior[0 if t.in_plane else 1]
        if abs(math.log(t.factor / usual)) > APART * math.hypot(spread, t.sd_ln):
            words.append(
                f"the {t.how} {_WORDS[t.in_plane]} gives a factor of {t.factor:.2f}, far from the usual "
                f"{usual:g}: check the force, the way, and the thickness and width of the arms in the sheet"
            )
    return tuple(words)
