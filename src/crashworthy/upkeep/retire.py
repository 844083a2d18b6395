"""Keep, watch or retire: what the journal, tapping and simulated crashes say of each part, with reasons.

Reasons in order of weight: damage that was seen; stiffness lost; use beyond what such parts stand; damage
added up from crashes; and whether this crew's old parts break sooner than new ones. None is a statement of
safety.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from crashworthy.upkeep.wear import age_replacement, p_wearing_out, stiffness
from crashworthy.upkeep.words import in_100

if TYPE_CHECKING:
    from crashworthy.build.quad import Part
    from crashworthy.upkeep.accumulate import Accumulated
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.lives import Life, Lives
    from crashworthy.upkeep.priors import Priors
    from crashworthy.upkeep.wear import Stiffness
    from crashworthy.upkeep.wear_priors import WearPriors

__all__ = ["VERDICTS", "FrameCost", "PartWear", "WearReport", "wear_report"]

VERDICTS: Final = ("retire", "watch", "keep")
"""In falling urgency."""

_SURE: Final = 0.9
_LAMINATE: Final = ("arm", "plate")
"""Kinds for which an S-N line of laminate means something; shafts bend and leads tear instead."""
_ODDS_CRASHES: Final = 20.0
"""Crashes of a hard day, for the chance that a part breaks on it (assumption)."""


@dataclass(frozen=True, slots=True)
class PartWear:
    """One part.

    Attributes:
        name, label, kind: of the part; kind "battery" for packs by their mark.
        life: what it has lived through; None for batteries.
        verdict: one of ``VERDICTS``.
        why: reasons in words, weightiest first.
        damage: (middle, low, high) share of its life used up by crashes, or None without a crash test.
        stiffness: from tapping, or None.
        p_day: chance that it breaks in 20 crashes, or None without a crash test.
        keep_cost: bench minutes to expect of keeping it over 100 crashes, or None.
        replace_cost: minutes of replacing it now, its price counted in.
        worn: what its own crashes and taps say together, or None without a crash test.
    """

    name: str
    label: str
    kind: str
    life: Life | None
    verdict: str
    why: tuple[str, ...]
    damage: tuple[float, float, float] | None
    stiffness: Stiffness | None
    p_day: float | None
    keep_cost: float | None
    replace_cost: float
    worn: Accumulated | None = None

    def summary(self) -> str:
        """One sentence with numbers."""
        lived = f" {self.life.summary()};" if self.life is not None else ""
        return f"{self.label[:1].upper()}{self.label[1:]}:{lived} {self.verdict}: {'; '.join(self.why)}."

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {
            "name": self.name,
            "label": self.label,
            "kind": self.kind,
            "life": None if self.life is None else self.life.to_json(),
            "verdict": self.verdict,
            "why": list(self.why),
            "damage": None if self.damage is None else list(self.damage),
            "stiffness": None
            if self.stiffness is None
            else {n: getattr(self.stiffness, n) for n in self.stiffness.__slots__},
            "p_day": self.p_day,
            "keep_cost": self.keep_cost,
            "replace_cost": self.replace_cost,
            "worn": None if self.worn is None else self.worn.to_json(),
            "summary": self.summary(),
        }


@dataclass(frozen=True, slots=True)
class FrameCost:
    """The frame, arms and plates: what keeping it costs against a new one.

    Attributes:
        keep: minutes of mending arms and plates over 100 crashes.
        new: minutes of a new frame over 100 crashes: its price and fitting, written off.
    """

    keep: float
    new: float

    def summary(self) -> str:
        """One sentence."""
        if self.keep > self.new:
            return (
                f"Frame: mending arms and plates costs {self.keep:.0f} min in 100 crashes, a new one "
                f"{self.new:.0f}: replace it if the new one breaks much less."
            )
        return (
            f"Frame: keep: mending arms and plates costs {self.keep:.0f} min in 100 crashes, a new one "
            f"{self.new:.0f}."
        )


@dataclass(frozen=True, slots=True)
class WearReport:
    """Every part of a quad that wears, most urgent first."""

    quad: str
    parts: tuple[PartWear, ...]
    frame: FrameCost | None
    ageing: dict[str, str]

    def summary(self) -> str:
        """The answer in one sentence."""
        counts = [sum(p.verdict == v for p in self.parts) for v in VERDICTS]
        if not any(counts[:2]):
            return f"{self.quad}: nothing to retire; all {counts[2]} parts that wear can stay."
        first = self.parts[0]
        due = f"retire {counts[0] or 'nothing'}, watch {counts[1] or 'nothing'}"
        return f"{self.quad}: {due}. {first.label[:1].upper()}{first.label[1:]}: {'; '.join(first.why)}."

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {
            "quad": self.quad,
            "summary": self.summary(),
            "parts": [p.to_json() for p in self.parts],
            "frame": None
            if self.frame is None
            else {"keep": self.frame.keep, "new": self.frame.new, "summary": self.frame.summary()},
            "ageing": dict(self.ageing),
        }


def _damage(
    life: Life, per_crash: Mapping[str, Mapping[str, tuple[float, float, float]]], name: str, kind: str
) -> tuple[float, float, float] | None:
    """Damage of the crashes lived through, at the middle, low and high slope."""
    if kind not in _LAMINATE or name not in per_crash["value"]:
        return None
    sums = [
        sum(n * d for n, d in zip(life.lived.crashes, per_crash[end][name], strict=True))
        for end in ("value", "low", "high")
    ]
    return sums[0], min(sums), max(sums)


class _Judge:
    """Collects reasons; the worst decides."""

    def __init__(self) -> None:
        self.level = VERDICTS.index("keep")
        self.why: list[str] = []

    def say(self, verdict: str, reason: str) -> None:
        self.level = min(self.level, VERDICTS.index(verdict))
        self.why.append(reason)


def _ageing(kind: str, lives: Lives, kinds: Mapping[tuple[str, str], str]) -> tuple[float, float, float]:
    broke = [
        sum(e.lived.crashes) for e in lives.ended if kinds.get((e.quad, e.part)) == kind and e.why == "broke"
    ]
    well = [
        sum(e.lived.crashes) for e in lives.ended if kinds.get((e.quad, e.part)) == kind and e.why != "broke"
    ]
    well += [life.crashes for place, life in lives.now.items() if kinds.get(place) == kind]
    return p_wearing_out(broke, well)


def wear_report(
    quad: str,
    slug: str,
    parts: Sequence[Part],
    history: QuadHistory,
    lives: Lives,
    kinds: Mapping[tuple[str, str], str],
    rates: Sequence[BreakRate],
    per_crash: Mapping[str, Mapping[str, tuple[float, float, float]]],
    priors: Priors,
    wear: WearPriors,
    worn: Mapping[str, Accumulated] = MappingProxyType({}),
) -> WearReport:
    """Judge every part that wears.

    Args:
        quad: its name.
        slug: of the quad.
        parts: of its build; screws, loose and shapeless ones are passed over.
        history: its journal.
        lives: of the whole fleet.
        kinds: kind of each (quad, part) of the fleet, so that parts of a kind are compared.
        rates: break rates of the quad; empty without a crash test.
        per_crash: damage of a scuff, hit and slam by part, for "value", "low" and "high" of the slope; each
            empty without a crash test.
        priors: prices.
        wear: beliefs about wear.
        worn: damage, strength left and stiffness by part, from its own crashes and taps; takes the place of
            the sum over severities and of the two-test rule where it is there.
    """
    mix = _mix(history)
    rate_of = {name: r for r in rates for name in r.parts}
    found: list[PartWear] = []
    ageing: dict[str, str] = {}
    plans = {}
    for kind in dict.fromkeys(p.kind for p in parts):
        p_old, eta, k = _ageing(kind, lives, kinds)
        plans[kind] = (p_old, eta, k)
        if p_old >= _SURE:
            ageing[kind] = f"{in_100(p_old)} in 100 that an old {kind} breaks sooner than a new one"
    for part in parts:
        if part.kind in ("screw", "loose", "battery", "lead", "plug") or (slug, part.name) not in lives.now:
            continue
        life = lives.now[slug, part.name]
        judge = _Judge()
        _by_eye(judge, part.name, life, history)
        taps = [
            t
            for t in history.taps
            if t.part == part.name and (life.since is None or t.occurred >= life.since)
        ]
        rang = stiffness(taps, wear["tap.error"], wear["tap.limit"], wear["tap.step"])
        sums = worn.get(part.name)
        if sums is not None:
            _by_worn(judge, sums, rang, wear)
        elif rang is not None:
            _by_tap(judge, rang, wear)
        tired = wear.packs(part.kind)
        if life.lived.packs >= tired:
            judge.say("watch", f"{life.lived.packs} packs, past {tired:.0f}")
        damage = _damage(life, per_crash, part.name, part.kind)
        if damage is not None and sums is None:
            _by_damage(judge, damage, wear)
        price = priors.kit.price.get(part.kind, 0.0) * wear["cost.coin"]
        planned, failed = wear["cost.planned"] + price, wear["cost.failed"] + price
        p_old, eta, k = plans[part.kind]
        if p_old >= _SURE and math.isfinite(eta):
            age = age_replacement(eta, k, planned, failed).age
            if life.crashes >= age:
                judge.say("watch", f"{life.crashes} crashes, and swapping early pays from {age:.0f}")
        p_day, keep = None, None
        rate = rate_of.get(part.name)
        if rate is not None:
            own = rate.hazards[rate.parts.index(part.name)]
            per = rate.ratio * float(own @ mix) * (1.0 if sums is None else sums.weaker)
            p_day, keep = -math.expm1(-_ODDS_CRASHES * per), 100.0 * per * failed
        if not judge.why:
            judge.say("keep", _calm(rang is not None, damage if sums is None else sums.damage, p_day))
        found.append(
            PartWear(
                part.name, part.label, part.kind, life, VERDICTS[judge.level], tuple(judge.why), damage, rang,
                p_day, keep, planned, sums,
            )
        )  # fmt: skip
    found += _batteries(history, priors, wear)
    found.sort(key=lambda p: (VERDICTS.index(p.verdict), -(p.damage[0] if p.damage else 0.0), p.name))
    return WearReport(quad, tuple(found), _frame(found, priors, wear), ageing)


def _mix(history: QuadHistory) -> tuple[float, float, float]:
    crashes = history.clock.crashes
    total = sum(crashes)
    return (crashes[0] / total, crashes[1] / total, crashes[2] / total) if total else (0.6, 0.3, 0.1)


def _by_eye(judge: _Judge, name: str, life: Life, history: QuadHistory) -> None:
    seen = [
        f for f in history.findings if f.part == name and (life.since is None or f.occurred >= life.since)
    ]
    if not seen or seen[-1].state == "fine":
        return
    last = seen[-1]
    words = f": {last.text}" if last.text else ""
    judge.say("retire" if last.state == "damaged" else "watch", f"looked {last.state}{words}")


def _by_tap(judge: _Judge, rang: Stiffness, wear: WearPriors) -> None:
    if rang.cracked:
        judge.say("retire", f"{rang.summary()}, and dropped at once: look for a crack or a loose root")
    elif rang.p_below > wear["tap.sure"]:
        judge.say("retire", f"{rang.summary()}; tighten its root and tap again before you blame it")
    elif rang.p_below > 0.1 * wear["tap.sure"]:
        judge.say("watch", f"{rang.summary()}: tap again after the next hard day")


def _by_worn(judge: _Judge, sums: Accumulated, rang: Stiffness | None, wear: WearPriors) -> None:
    """Strength and stiffness left, from damage and taps in one posterior; a step or a misfit is a crack."""
    sure, (left, low, high) = wear["tap.sure"], (100 * x for x in sums.left)
    text = (
        f"strength left {left:.0f} % ({low:.0f}-{high:.0f}), {in_100(sums.p_below)} in 100 below "
        f"{100 * sums.limit:.0f} %"
    )
    if sums.p_below > sure:
        judge.say("retire", text)
    elif sums.p_below > 0.5 * sure:
        judge.say("watch", f"{text}: tap and look closely")
    if rang is None or sums.p_soft is None or sums.stiffness is None:
        return
    if rang.cracked:
        judge.say("retire", f"{rang.summary()}, and dropped at once: look for a crack or a loose root")
    elif sums.misfit is not None and sums.misfit < -wear["tap.step"]:
        judge.say(
            "retire", f"{rang.summary()}, more than its damage explains: look for a crack or a loose root"
        )
    if sums.p_soft > 0.5 * sure:
        k, a, b = (100 * x for x in sums.stiffness)
        judge.say(
            "retire" if sums.p_soft > sure else "watch",
            f"stiffness left {k:.0f} % ({a:.0f}-{b:.0f}) by taps and damage; tighten its root and tap again",
        )


def _by_damage(judge: _Judge, damage: tuple[float, float, float], wear: WearPriors) -> None:
    middle, low, high = damage
    text = f"its crashes used up {100 * middle:.0f} % of its life ({100 * low:.0f}-{100 * high:.0f})"
    if low >= 1.0:
        judge.say("retire", text)
    elif middle >= wear["damage.watch"]:
        judge.say("watch", f"{text}: tap and look closely")


def _calm(tapped: bool, damage: tuple[float, float, float] | None, p_day: float | None) -> str:
    parts = []
    if p_day is not None:
        parts.append(f"{in_100(p_day)} in 100 that it breaks in {_ODDS_CRASHES:.0f} crashes")
    if damage is not None:
        parts.append(f"{100 * damage[0]:.0f} % of its life used")
    if tapped:
        parts.append("rings as it did")
    return ", ".join(parts) or "nothing speaks against it"


def _batteries(history: QuadHistory, priors: Priors, wear: WearPriors) -> list[PartWear]:
    tired = wear.packs("battery")
    rows = []
    for mark, packs in history.batteries.items():
        verdict = "watch" if packs >= tired else "keep"
        why = f"{packs} flights of {tired:.0f}; retire it at once when it is puffed, dented or weak"
        price = priors.kit.price.get("battery", 0.0)
        rows.append(
            PartWear(f"battery_{mark}", f"battery {mark}", "battery", None, verdict, (why,), None, None, None,
                     None, price * wear["cost.coin"])
        )  # fmt: skip
    return rows


def _frame(found: Sequence[PartWear], priors: Priors, wear: WearPriors) -> FrameCost | None:
    frame = [p for p in found if p.kind in ("arm", "plate")]
    costs = [p.keep_cost for p in frame if p.keep_cost is not None]
    if not costs:
        return None
    price = sum(priors.kit.price.get(p.kind, 0.0) for p in frame) * wear["cost.coin"]
    new = 100.0 * (price + len(frame) * wear["cost.planned"]) / wear["cost.frame_crashes"]
    return FrameCost(sum(costs), new)
