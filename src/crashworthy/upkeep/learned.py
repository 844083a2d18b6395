"""Tabled strengths against what the crashes say, kind by kind: utilisation first, newtons as model values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from crashworthy.impact.damage import break_chance
from crashworthy.impact.words import plural_of
from crashworthy.strength.capacity import arm_root_moments
from crashworthy.upkeep.strengths import IDENTIFIABLE, pooled_shift, spreads
from crashworthy.upkeep.words import short

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.strength.capacity import Capacity
    from crashworthy.upkeep.crash_loads import CrashLoads
    from crashworthy.upkeep.strengths import Curve, Shift

__all__ = ["Learned", "LearnedKind", "learned"]

MOVED = 0.03
"""A factor further from 1 than this counts as moved in words."""


@dataclass(frozen=True, slots=True)
class LearnedKind:
    """One kind of part.

    Attributes:
        kind, plural: of the parts.
        crashes: own logged crashes.
        others: crashes of other quads of the fleet.
        breaks: parts of the kind broken in the own ones.
        expected: breaks that the tabled strengths expected in them.
        loaded: part-crashes that load it at all, as simulated.
        prior: (median, low, high) of the factor on the tabled strength beforehand, 5-95 %.
        own: the same by own crashes alone.
        pooled: the same with the other quads'.
        fleet: the same by the other quads alone.
        use: load over strength that a tenth of the loads exceed, as tabled.
        use_now: the same with learned strengths, (median, low, high).
        mode: the way in which the kind mostly breaks.
        unit: of the model values; "" for a ratio to capacity.
        model: median strength in that mode, as tabled.
        says: (median, low, high) with the factor.
    """

    kind: str
    plural: str
    crashes: int
    others: int
    breaks: int
    expected: float
    loaded: float
    prior: tuple[float, float, float]
    own: tuple[float, float, float]
    pooled: tuple[float, float, float]
    fleet: tuple[float, float, float]
    use: float
    use_now: tuple[float, float, float]
    mode: str
    unit: str
    model: float
    says: tuple[float, float, float]

    @property
    def told(self) -> float:
        """Share of the prior's uncertainty that the crashes took away, 0 to 1: from the intervals' widths."""
        width = [np.log(high / low) for _, low, high in (self.prior, self.pooled)]
        return float(max(0.0, 1.0 - width[1] / width[0]))

    def summary(self) -> str:
        """One sentence: utilisation, then model values."""
        middle, low, high = self.use_now
        a, b, c = self.says
        unit = f" {self.unit}" if self.unit else " times the tabled capacity"
        who = f"{self.crashes} crashes" + (f" and {self.others} of the fleet" if self.others else "")
        return (
            f"{self.plural[:1].upper()}{self.plural[1:]}: the load that a tenth exceeds is {self.use:.2f} of "
            f"the strength as tabled and {middle:.2f} ({low:.2f}-{high:.2f}) as your {who} say; {self.mode}: "
            f"model value {short(self.model)}{unit}, your crashes say {short(a)} ({short(b)}-{short(c)}); "
            f"{self.breaks} broke, {self.expected:.1f} expected."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        rows = {n: getattr(self, n) for n in self.__slots__}
        plain = {n: list(v) if isinstance(v, tuple) else v for n, v in rows.items()}
        return plain | {"told": self.told, "summary": self.summary()}


@dataclass(frozen=True, slots=True)
class Learned:
    """What the crashes of one quad, and of its fleet, say of strengths.

    Attributes:
        quad: its name.
        crashes: own ones used: those since the last change of the build.
        others: (name, crashes) of the other quads that speak.
        kinds: most told first.
    """

    quad: str
    crashes: int
    others: tuple[tuple[str, int], ...]
    kinds: tuple[LearnedKind, ...]

    @property
    def head(self) -> str:
        """What stands above every answer: "strengths: corrected by 131 crashes of yours"."""
        if not self.kinds:
            return (
                "strengths: as tabled; no crash of this build is in the journal, or it was never crash-tested"
            )
        more = "".join(f" and {n} of {name}" for name, n in self.others)
        return f"strengths: corrected by {self.crashes} crashes of yours{more}"

    def summary(self) -> str:
        """One sentence, numbers first."""
        moved = [k for k in self.kinds if abs(np.log(k.pooled[0])) > MOVED]
        if not moved:
            return f"{self.head[:1].upper()}{self.head[1:]}."
        listed = ", ".join(
            f"{k.plural} {k.pooled[0]:.2f} ({k.pooled[1]:.2f}-{k.pooled[2]:.2f})"
            for k in sorted(moved, key=lambda k: -abs(np.log(k.pooled[0])))[:4]
        )
        return f"{self.head[:1].upper()}{self.head[1:]}; times the tabled strength: {listed}."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "quad": self.quad,
            "summary": self.summary(),
            "head": self.head,
            "crashes": self.crashes,
            "others": [list(row) for row in self.others],
            "identifiable": IDENTIFIABLE,
            "kinds": [k.to_json() for k in self.kinds],
        }


def _ends(shift: Shift) -> tuple[float, float, float]:
    return shift.median, shift.low, shift.high


def _main_mode(loads: CrashLoads, modes: list[Capacity]) -> Capacity:
    """The mode that breaks the kind most often with the tabled strengths."""
    return max(modes, key=lambda m: float(break_chance(loads.load(m), m.median, m.beta).mean()))


def _model_value(quad: Quad, mode: Capacity) -> tuple[float, str]:
    """Strength of a mode in words of mechanics: an arm's interaction as its root moment out of plane."""
    if mode.load == "bending":
        arm = next(a for a in quad.arms if a.part == mode.part)
        return mode.median * arm_root_moments(arm)[0], "N m"
    return mode.median, mode.unit


def learned(
    quad: Quad,
    loads: CrashLoads | None,
    own: Mapping[str, Curve],
    others: Mapping[str, Mapping[str, Curve]],
    shifts: Mapping[str, Shift],
    fleet: Mapping[str, Shift],
) -> Learned:
    """Put prior and posterior side by side.

    Args:
        quad: the build.
        loads: its reference campaign with tabled strengths, or None.
        own: curves of its own crashes, by kind.
        others: curves of other quads, by name and kind.
        shifts: posteriors with all of them.
        fleet: posteriors by the others alone.
    """
    crashes = max((c.crashes for c in own.values()), default=0)
    told = tuple((name, max(c.crashes for c in theirs.values())) for name, theirs in others.items() if theirs)
    if loads is None or not shifts or not crashes + sum(n for _, n in told):
        return Learned(quad.name, 0, (), ())
    kinds = [p.kind for p in quad.parts]
    spread = spreads(loads.capacities, kinds)
    rows = []
    for kind, shift in shifts.items():
        modes = [m for m in loads.capacities if kinds[m.part] == kind]
        ratio = np.concatenate([loads.ratio(p) for p in dict.fromkeys(m.part for m in modes)])
        if not (ratio > 0.0).any():
            continue
        use = float(np.quantile(ratio[ratio > 0.0], 0.9))
        mode = _main_mode(loads, modes)
        model, unit = _model_value(quad, mode)
        curve = own.get(kind)
        middle, low, high = _ends(shift)
        none = pooled_shift(kind, spread[kind])
        rows.append(
            LearnedKind(
                kind=kind,
                plural=plural_of(kind),
                crashes=curve.crashes if curve else 0,
                others=sum(c[kind].crashes for c in others.values() if kind in c),
                breaks=curve.breaks if curve else 0,
                expected=curve.expected if curve else 0.0,
                loaded=curve.loaded if curve else 0.0,
                prior=_ends(none),
                own=_ends(pooled_shift(kind, spread[kind], curve)),
                pooled=(middle, low, high),
                fleet=_ends(fleet.get(kind, none)),
                use=use,
                use_now=(use / middle, use / high, use / low),
                mode=mode.mode,
                unit=unit,
                model=model,
                says=(model * middle, model * low, model * high),
            )
        )
    rows.sort(key=lambda k: (-k.told, k.kind))
    return Learned(quad.name, crashes, told, tuple(rows))
