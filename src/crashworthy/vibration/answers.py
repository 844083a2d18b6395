"""The shapes in which a flight log's answers are given."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crashworthy.vibration.features import Features, Structure
    from crashworthy.vibration.lag import Lag
    from crashworthy.vibration.log import LogMeta
    from crashworthy.vibration.pack import PackResistance
    from crashworthy.vibration.ridge import Ridge
    from crashworthy.vibration.spectra import Campbell, Spectrum
    from crashworthy.vibration.strikes import Strike
    from crashworthy.vibration.verdict import Verdict

__all__ = ["Answer", "LogReport", "MotorCard", "number"]


def number(x: float | None, digits: int = 4) -> float | None:
    """A number rounded to significant digits for JSON; None when there is none."""
    if x is None or not math.isfinite(x):
        return None
    return float(f"{x:.{digits}g}")


@dataclass(frozen=True, slots=True)
class Answer:
    """One question to the log and what came of it.

    Attributes:
        question: key ("unbalance", "pack"...).
        title: the same in words.
        verdict: "computed", "caution", "too slow", "not logged", "too short", "no build" or "not separable".
        value: the figure, or None.
        unit: of the figure.
        uncertainty: standard error in the same unit, or None.
        text: the answer in words, or the reason why there is none.
        why: what it rests on, with assumptions named.
        change: what would change it, or let it be answered.
    """

    question: str
    title: str
    verdict: str
    value: float | None
    unit: str
    uncertainty: float | None
    text: str
    why: str
    change: str

    @property
    def computed(self) -> bool:
        """Whether there is a figure behind it."""
        return self.verdict in ("computed", "caution")

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "question": self.question,
            "title": self.title,
            "verdict": self.verdict,
            "value": number(self.value),
            "unit": self.unit,
            "uncertainty": number(self.uncertainty),
            "text": self.text,
            "why": self.why,
            "change": self.change,
        }


@dataclass(frozen=True, slots=True)
class MotorCard:
    """One motor of one flight.

    Attributes:
        corner: "fl", "fr", "rl" or "rr".
        label: the same in words.
        motor: 1-based number in the log.
        verdict: "stands out", "in line", "not separable" or "no reference" (no other motor to compare with).
        unbalance, error: apparent unbalance and its standard error, g mm; None when not separable.
        others: median of the other motors, g mm, or None.
        ratio: unbalance over others, or None.
        grade: ISO 21940-11 grade at the median speed ("G250"), or "".
        track, track_error: once-a-turn force along the shaft at 300 Hz, N, or None.
        blade_pass: rate at blade passing, deg/s amplitude, or None.
        speed: median speed, Hz.
        blocks, offered: blocks that could tell it, and all.
        inflation: how much the nearness of the other speeds raises the error.
        cloud: unbalance of each block as (real, imaginary), g mm, at most 200.
        text: the finding in words.
        change: what would change it.
    """

    corner: str
    label: str
    motor: int
    verdict: str
    unbalance: float | None
    error: float | None
    others: float | None
    ratio: float | None
    grade: str
    track: float | None
    track_error: float | None
    blade_pass: float | None
    speed: float
    blocks: int
    offered: int
    inflation: float
    cloud: tuple[tuple[float, float], ...]
    text: str
    change: str

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "corner": self.corner,
            "label": self.label,
            "motor": self.motor,
            "verdict": self.verdict,
            "unbalance_g_mm": number(self.unbalance),
            "error_g_mm": number(self.error),
            "others_g_mm": number(self.others),
            "ratio": number(self.ratio),
            "grade": self.grade,
            "track_n": number(self.track),
            "track_error_n": number(self.track_error),
            "blade_pass_dps": number(self.blade_pass),
            "speed_hz": number(self.speed),
            "blocks": self.blocks,
            "offered": self.offered,
            "inflation": number(self.inflation),
            "cloud_g_mm": [[round(a, 3), round(b, 3)] for a, b in self.cloud],
            "text": self.text,
            "change": self.change,
        }


@dataclass(frozen=True, slots=True, eq=False)
class LogReport:
    """Everything one flight log said, and what it could not say and why.

    Attributes:
        quad: slug, or "" without a build.
        duration: s.
        meta: how it was read.
        answers: one for each question, computed ones first.
        motors: one card a motor, worst first; empty without order analysis.
        spectrum: of the gyro, or None.
        noise_floor: (roll, pitch, yaw) rad/s/√Hz, or None.
        campbell: map of density over motor speed or time, or None.
        lag: of the speed telemetry, or None.
        pack: resistance, or None.
        v_rms: vibration velocity at the rotors within the dose band, m/s, or None.
        dose_band: Hz.
        notes: what a person should know, worst first.
        structure: resonances, floor and lines, or None.
        features: the flight in a few numbers, for the quad's own baseline, or None.
        verdict: causes by likelihood, or None.
        strikes: crashes in the log, proposed for the journal.
        comb: motor speed as the spectrum shows it, when none was logged and none could be inferred.
        speed_source: "logged", "inferred" (from the motors' commands), "spectrum" (of the loudest comb of
            lines, whichever motor that is) or "".
    """

    quad: str
    duration: float
    meta: LogMeta
    answers: tuple[Answer, ...]
    motors: tuple[MotorCard, ...]
    spectrum: Spectrum | None
    noise_floor: tuple[float, float, float] | None
    campbell: Campbell | None
    lag: Lag | None
    pack: PackResistance | None
    v_rms: float | None
    dose_band: tuple[float, float]
    notes: tuple[str, ...] = field(default=())
    structure: Structure | None = None
    features: Features | None = None
    verdict: Verdict | None = None
    strikes: tuple[Strike, ...] = ()
    speed_source: str = ""
    comb: Ridge | None = None

    def answer(self, question: str) -> Answer:
        """The answer to one question.

        Raises:
            KeyError: there is no such question.
        """
        return {a.question: a for a in self.answers}[question]

    def summary(self) -> str:
        """One sentence of what matters most, with numbers; never silence read as health."""
        if self.verdict is not None and self.verdict.baseline and self.verdict.called != "fine":
            return self.verdict.summary()
        loud = [m for m in self.motors if m.verdict == "stands out"]
        if loud:
            return loud[0].text
        told = [m for m in self.motors if m.unbalance is not None]
        unbalance = self.answer("unbalance")
        if len(told) == len(self.motors) and told:
            low = min(m.unbalance or 0.0 for m in told)
            high = max(m.unbalance or 0.0 for m in told)
            return f"No motor stands out: apparent unbalance {low:.1f} to {high:.1f} g mm."
        if told:
            silent = ", ".join(m.label for m in self.motors if m.unbalance is None)
            return f"{unbalance.text} Not separable: {silent}."
        said = (self.answer(q) for q in ("pack", "dose", "blade pass", "spectrum"))
        head = next((f"{a.text} " for a in said if a.computed), "")
        return f"{head}Unbalance not computed: {unbalance.text}."

    def to_json(self) -> dict[str, Any]:
        """Plain values for pages and machines."""
        return {
            "summary": self.summary(),
            "quad": self.quad,
            "duration_s": number(self.duration),
            "meta": self.meta.to_json(),
            "answers": [a.to_json() for a in self.answers],
            "motors": [m.to_json() for m in self.motors],
            "spectrum": None if self.spectrum is None else self.spectrum.to_json(),
            "noise_floor_dps_rthz": None
            if self.noise_floor is None
            else [number(math.degrees(x)) for x in self.noise_floor],
            "campbell": None if self.campbell is None else self.campbell.to_json(),
            "lag_ms": None if self.lag is None or not self.lag.known else round(self.lag.seconds * 1e3, 2),
            "pack": None if self.pack is None else self.pack.to_json(),
            "v_rms_mm_s": None if self.v_rms is None else number(self.v_rms * 1e3),
            "dose_band_hz": list(self.dose_band),
            "notes": list(self.notes),
            "structure": None if self.structure is None else self.structure.to_json(),
            "features": None if self.features is None else self.features.to_json(),
            "verdict": None if self.verdict is None else self.verdict.to_json(),
            "strikes": [s.to_json() for s in self.strikes],
            "speed_source": self.speed_source,
            "comb": None if self.comb is None else self.comb.to_json(),
        }
