"""What is wrong, as likelihoods: each cause against "fine", feature by feature, from the quad's own flights.

A cause says how far it moves which features (``templates``), from the quad's baseline, for slight, usual and
strong cases. The log-likelihood ratio against "fine" is the sum over features of Gaussian terms, in nats;
the strengths are averaged. Every term is kept as a row of evidence, so that a person can follow it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.vibration.features import GROUP, OWN
from crashworthy.vibration.templates import CAUSES, PRIOR_SD, STRENGTHS, TYPICAL, Cause

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.vibration.features import Features

__all__ = ["FINDING", "Baseline", "Evidence", "Finding", "Verdict", "baseline", "judge"]

FINDING: Final = 6.0
"""Nats over "fine" from which a cause is called a finding; set on development flights."""

WATCH: Final = 3.0
"""Nats over "fine" from which it is worth watching."""

CAP: Final = 25.0
"""Most nats that one feature may say for or against: models are never that sure."""

PRIOR_FLIGHTS: Final = 4.0
"""How many flights the assumed scatter counts for beside the quad's own."""

CORNER: Final = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}
PAIRS: Final = {"fl": "arm_a", "rr": "arm_a", "fr": "arm_b", "rl": "arm_b"}


@dataclass(frozen=True, slots=True)
class Baseline:
    """What is usual for a quad.

    Attributes:
        flights: how many flights stand behind it.
        mean, sd: by (corner or "", feature).
    """

    flights: int
    mean: Mapping[tuple[str, str], float]
    sd: Mapping[tuple[str, str], float]


@dataclass(frozen=True, slots=True)
class Evidence:
    """One feature's say.

    Attributes:
        feature: in words.
        value, usual, sd: now, by the baseline, and its scatter, natural logarithms.
        expected: what the cause would make of it.
        nats: for (+) or against (-) the cause, against "fine".
        text: in words.
    """

    feature: str
    value: float
    usual: float
    sd: float
    expected: float
    nats: float
    text: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One cause and how likely it is.

    Attributes:
        cause: key ("chipped prop"...).
        where: corner, pair of arms, or "".
        nats: log-likelihood over "fine".
        share: posterior share among all causes, priors of ``templates`` taken.
        level: "finding", "watch" or "no finding".
        evidence: strongest first.
        look: what to look at, in words.
    """

    cause: str
    where: str
    nats: float
    share: float
    level: str
    evidence: tuple[Evidence, ...]
    look: str

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "cause": self.cause,
            "where": self.where,
            "nats": round(self.nats, 2),
            "share": round(self.share, 4),
            "level": self.level,
            "look": self.look,
            "evidence": [
                {
                    "feature": e.feature,
                    "value": round(e.value, 4),
                    "usual": round(e.usual, 4),
                    "sd": round(e.sd, 4),
                    "expected": round(e.expected, 4),
                    "nats": round(e.nats, 2),
                    "text": e.text,
                }
                for e in self.evidence
            ],
        }


@dataclass(frozen=True, slots=True)
class Verdict:
    """Every cause, likeliest first.

    Attributes:
        findings: at most eight, likeliest first; empty when nothing could be judged.
        fine: posterior share of "fine".
        baseline: how many of the quad's own flights it was judged against.
        cannot: what this log cannot tell, and why.
    """

    findings: tuple[Finding, ...]
    fine: float
    baseline: int
    cannot: tuple[str, ...]

    @property
    def called(self) -> str:
        """The cause that is called: a cause's key, or "fine"."""
        if self.findings and self.findings[0].level == "finding":
            return self.findings[0].cause
        return "fine"

    def summary(self) -> str:
        """One sentence."""
        against = (
            f"against {self.baseline} of its own flights"
            if self.baseline
            else "against a typical quad, for want of its own flights"
        )
        if not self.findings:
            return "Nothing could be judged from this log."
        top = self.findings[0]
        place = f" {top.where}" if top.where else ""
        if top.level == "finding":
            return (
                f"Likeliest: {top.cause}{place} ({top.nats:.0f} nats over fine, {against}). {top.look} "
                f"{top.evidence[0].text if top.evidence else ''}".strip()
            )
        if top.level == "watch":
            return f"Nothing sure; watch {top.cause}{place} ({top.nats:.1f} nats over fine, {against})."
        return f"No finding ({against})."

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "summary": self.summary(),
            "called": self.called,
            "fine": round(self.fine, 4),
            "baseline": self.baseline,
            "findings": [f.to_json() for f in self.findings],
            "cannot": list(self.cannot),
        }


def _flat(flight: Features) -> dict[tuple[str, str], float]:
    out = {(c, k): v for c, own in flight.motors.items() for k, v in own.items()}
    out.update({("", k): v for k, v in flight.group.items()})
    return {k: v for k, v in out.items() if math.isfinite(v)}


def baseline(flights: Sequence[Features]) -> Baseline:
    """Mean and scatter of a quad's own flights; with fewer than two, a typical quad stands in.

    The scatter is that of the flights pooled with an assumed one that counts for four flights, and widened
    for the mean being uncertain itself.
    """
    rows = [_flat(f) for f in flights]
    mean: dict[tuple[str, str], float] = {}
    sd: dict[tuple[str, str], float] = {}
    keys = {k for row in rows for k in row}
    for key in keys:
        x = np.array([row[key] for row in rows if key in row])
        if len(x) < 2:
            continue
        prior = PRIOR_SD[key[1]]
        middle = float(np.median(x)) if len(x) > 4 else float(x.mean())
        square = (PRIOR_FLIGHTS * prior**2 + float(((x - middle) ** 2).sum())) / (PRIOR_FLIGHTS + len(x) - 1)
        mean[key], sd[key] = middle, math.sqrt(square * (1.0 + 1.0 / len(x)))
    return Baseline(len(flights) if mean else 0, mean, sd)


def _usual(
    own: Baseline, key: tuple[str, str], now: dict[tuple[str, str], float]
) -> tuple[float, float] | None:
    if key in own.mean:
        return own.mean[key], own.sd[key]
    if key[1] in TYPICAL and own.flights == 0:
        level, scatter = TYPICAL[key[1]]
        # The other motors of the same flight say what is usual for this quad.
        rest = [v for (c, k), v in now.items() if k == key[1] and c not in ("", key[0])]
        return (float(np.median([level, *rest])) if rest else level), scatter
    return None


def _term(x: float, shift: float, spread: float, sd: float) -> float:
    """Log-likelihood ratio of one feature: moved by ``shift`` ± ``spread`` against not moved, capped."""
    wide = math.hypot(sd, spread)
    got = 0.5 * (x / sd) ** 2 - 0.5 * ((x - shift) / wide) ** 2 + math.log(sd / wide)
    return max(-CAP, min(CAP, got))


def _score(
    cause: Cause, corner: str, now: dict[tuple[str, str], float], own: Baseline, flight: Features
) -> tuple[float, list[Evidence]]:
    rows: list[tuple[tuple[str, str], float, float, float, float, float]] = []
    for name, (shift, spread) in cause.moves.items():
        key = ("", PAIRS[corner]) if name == "arm" else ("", name) if name in GROUP else (corner, name)
        if name == "all_unbalance":
            continue
        usual = _usual(own, key, now)
        if key not in now or usual is None:
            continue
        error = flight.errors.get(key[0], {}).get(key[1], 0.0)
        rows.append((key, now[key], usual[0], math.hypot(usual[1], error), shift, spread))
    if "all_unbalance" in cause.moves:
        shift, spread = cause.moves["all_unbalance"]
        for c in flight.motors:
            key = (c, "unbalance")
            usual = _usual(own, key, now)
            if key in now and usual is not None:
                rows.append((key, now[key], usual[0], usual[1], shift, spread))
    if not rows or not any(k[1] in cause.needs or k[1].startswith("arm") for k, *_ in rows):
        return -math.inf, []
    best = [sum(_term(x - m, k * a, b * k, s) for _, x, m, s, a, b in rows) for k in STRENGTHS]
    top = max(best)
    nats = top + math.log(sum(math.exp(b - top) for b in best) / len(best))
    strength = STRENGTHS[int(np.argmax(best))]
    said = []
    for key, x, m, s, a, b in rows:
        word = OWN.get(key[1]) or GROUP[key[1]]
        place = CORNER.get(key[0], "")
        times = math.exp(x - m)
        change = f"{times:.2f} times" if abs(x - m) > 0.1 else f"{100 * (times - 1):+.1f} % of"
        said.append(
            Evidence(
                f"{word} {place}".strip(),
                x,
                m,
                s,
                m + strength * a,
                _term(x - m, strength * a, b * strength, s),
                f"{word.capitalize()}{' ' + place if place else ''}: {change} the usual "
                f"({(x - m) / s:+.1f} scatters).",
            )
        )
    said.sort(key=lambda e: -e.nats)
    return nats, said


def judge(flight: Features, own: Baseline, cannot: Sequence[str] = ()) -> Verdict:
    """Weigh every cause at every place.

    Args:
        flight: what this flight showed.
        own: the quad's own flights.
        cannot: what the log cannot tell, and why.
    """
    now = _flat(flight)
    found: list[tuple[Cause, str, float, list[Evidence]]] = []
    for cause in CAUSES:
        for corner in flight.motors if cause.own else ("",):
            nats, said = _score(cause, corner, now, own, flight)
            if math.isfinite(nats):
                found.append((cause, corner, nats, said))
    found.sort(key=lambda row: -(row[2] + math.log(row[0].prior)))
    weights = [math.exp(min(n, 500.0)) * c.prior for c, _, n, _ in found]
    total = 1.0 + sum(weights)
    out = []
    for (cause, corner, nats, said), w in zip(found[:8], weights[:8], strict=True):
        level = "finding" if nats > FINDING else "watch" if nats > WATCH else "no finding"
        if level == "finding" and cause.most == "watch" and (corner, "bearing") not in now:
            level = "watch"
        out.append(
            Finding(
                cause.name,
                CORNER.get(corner, ""),
                nats,
                w / total,
                level,
                tuple(said),
                cause.look.format(where=CORNER.get(corner, "")),
            )
        )
    return Verdict(tuple(out), 1.0 / total, own.flights, tuple(cannot))
