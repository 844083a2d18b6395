"""The answers to each question, in words with their figures."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.vibration.airframe import BELL_SHARE
from crashworthy.vibration.answers import Answer, MotorCard
from crashworthy.vibration.pack import CAVEAT, PackResistance
from crashworthy.vibration.quality import QUESTIONS, Rule
from crashworthy.vibration.shorttime import CHANNELS
from crashworthy.vibration.spectra import DOSE_BAND

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.airframe import Airframe
    from crashworthy.vibration.cards import BladePass
    from crashworthy.vibration.features import Structure
    from crashworthy.vibration.lag import Lag
    from crashworthy.vibration.ridge import Ridge
    from crashworthy.vibration.strikes import Strike
    from crashworthy.vibration.verdict import Verdict

    Floats = NDArray[np.float64]

__all__ = [
    "arms_answer",
    "blade_answer",
    "causes_answer",
    "crashes_answer",
    "dose_answer",
    "pack_answer",
    "spectrum_answer",
    "speed_answer",
    "unbalance_answer",
]

MODEL: Final = (
    "Least squares over all motors and axes in 0.5 s blocks, through the build's inertia: an error "
    "of the inertia "
    "passes into the figure one to one and cancels between flights of one quad. "
    "Apparent: arms that bend in their plane near the shaft speed amplify it."
)


def none(rule: Rule) -> Answer:
    return Answer(
        rule.question, QUESTIONS[rule.question], rule.verdict, None, "", None, rule.why, rule.why, rule.change
    )


def word(rule: Rule) -> str:
    return "caution" if rule.verdict == "caution" else "computed"


def spectrum_answer(rule: Rule, floor: Floats | None) -> Answer:
    """Noise floor."""
    if floor is None:
        return none(rule)
    worst = float(np.degrees(floor.max()))
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        worst,
        "deg/s/√Hz",
        None,
        f"Noise floor {worst:.3g} deg/s/√Hz on the worst axis.",
        "Welch density, Hann window, half overlap; median between 0.6 and 0.9 of half the log's "
        f"rate. {rule.why}.",
        "Softer mounting of the board, or a filter ahead of the log, lowers it.",
    )


def speed_answer(rule: Rule, found: Ridge | None) -> Answer:
    """Motor speed from the spectrum, when none was logged."""
    change = "Log the motors' speed (telemetry), 50 updates/s or more: then each motor is told by itself."
    if found is None:
        if not rule.can:
            return none(replace(rule, question="speed"))
        why = "no motor speed was logged, and no comb of lines stands out of the spectrum"
        return none(Rule("speed", can=False, verdict="not logged", why=why, change=change))
    return Answer(
        "speed",
        QUESTIONS["speed"],
        "computed" if found.sure else "caution",
        float(np.median(found.f)),
        "Hz",
        found.error,
        found.summary(),
        f"Lines at once and twice a turn and at the passing of {found.blades} blades, followed through the "
        f"flight ({found.strength:.1f} nats over their surroundings; the next best ratio is "
        f"{found.margin:.1f} nats weaker a line). It is the loudest motor of each moment, or several "
        "close together.",
        change,
    )


def dose_answer(rule: Rule, dose: float | None, frame: Airframe | None) -> Answer:
    """Vibration that the dose counts."""
    if dose is None or frame is None:
        return none(rule)
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        dose * 1e3,
        "mm/s rms",
        None,
        f"Vibration {dose * 1e3:.1f} mm/s rms at the rotors ({DOSE_BAND[0]:.0f} to {DOSE_BAND[1]:.0f} Hz).",
        "Gyro density summed over the band and the axes, times the rotors' radius of "
        f"{frame.radius * 1e3:.0f} mm. "
        "The band is an assumption, kept the same for every log so that flights compare.",
        "Compare it with the same quad's own flights, not with other quads.",
    )


def blade_answer(rule: Rule, blade: BladePass | None, frame: Airframe | None) -> Answer:
    """Blade passing."""
    if not rule.can:
        return none(rule)
    if blade is None:
        slow = Rule(
            rule.question, False, "too short", "too few blocks in which every speed is known", rule.change
        )
        return none(slow)
    worst = int(np.argmax(blade.amplitude))
    label = frame.labels[worst] if frame and worst < len(frame.labels) else f"motor {worst + 1}"
    value = float(blade.amplitude[worst])
    count = frame.blades if frame else 3
    error = float(blade.error[worst])
    words = f"Blade passing is strongest at {label}: {value:.2g} ± {error:.1g} deg/s."
    if value < 2.0 * error:
        words = f"Blade passing is not above the noise ({value:.2g} ± {error:.1g} deg/s at most, {label})."
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        value,
        "deg/s",
        error,
        words,
        f"Order {count} ({count} blades) fitted in {blade.blocks} blocks; median over "
        f"blocks less the noise near the line, three axes together. {rule.why}.",
        rule.change or "It tells blades apart only by comparison with the same quad's own flights.",
    )


def unbalance_answer(
    rule: Rule, cards: tuple[MotorCard, ...], lag: Lag | None, low_pass: tuple[float, int] | None
) -> Answer:
    """Unbalance of the motors."""
    if not rule.can:
        return none(rule)
    told = [c for c in cards if c.unbalance is not None]
    filtered = (
        "The gyro's low pass is not known, so near its cut-off the figure is a lower bound."
        if low_pass is None
        else f"Divided by the gain of a low pass of order {low_pass[1]} at {low_pass[0]:.0f} Hz."
    )
    late = f" Speed telemetry is {lag.seconds * 1e3:.1f} ms late; taken off." if lag and lag.known else ""
    if not told:
        text = (
            "no motor could be told from the others"
            if cards
            else "too few blocks in which every speed is known"
        )
        return Answer(
            rule.question,
            QUESTIONS[rule.question],
            "not separable" if cards else "too short",
            None,
            "g mm",
            None,
            text,
            f"{MODEL}{late}",
            cards[0].change if cards else "log a longer flight",
        )
    worst = max(told, key=lambda c: c.unbalance or 0.0)
    loud = next((c for c in cards if c.verdict == "stands out"), None)
    top = loud or worst
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        top.unbalance,
        "g mm",
        top.error,
        top.text,
        f"{MODEL} {filtered}{late} {rule.why}. Grades take the prop and {100 * BELL_SHARE:.0f} % of "
        "the motor as "
        "turning mass (assumption).",
        top.change,
    )


def pack_answer(rule: Rule, pack: PackResistance | None) -> Answer:
    """Resistance of the pack."""
    if pack is None:
        return none(rule)
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        pack.r0 * 1e3,
        "mΩ",
        pack.error * 1e3,
        pack.summary(),
        "Regression of voltage on current with a falling open-circuit voltage and one relaxation of "
        f"{pack.tau:g} s "
        f"(assumption). {CAVEAT}",
        "A flight with the pack at another temperature, or a better current sensor.",
    )


def arms_answer(rule: Rule, found: Structure | None) -> Answer:
    """Resonance of the arms."""
    if not rule.can:
        return none(rule)
    modes = [] if found is None else [(n, m) for n, m in zip(CHANNELS, found.modes, strict=False) if m]
    if not modes:
        why = "no resonance stands out between the orders"
        return none(Rule(rule.question, False, "too short", why, "fly throttle moves, 40 s or more"))
    said = []
    for name, m in modes:
        split = f" (two: {m.pair[0]:.1f} and {m.pair[1]:.1f} Hz)" if m.pair else ""
        said.append(
            f"{name}: {m.f:.1f} ± {m.f_error:.1f} Hz, damping {100 * m.damping:.1f} ± "
            f"{100 * m.damping_error:.1f} %{split}"
        )
    low = min(modes, key=lambda row: row[1].f)[1]
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule),
        low.f,
        "Hz",
        low.f_error,
        f"Arms ring at {'; '.join(said)}.",
        "Density about each diagonal with every order left out and segments evened by loudness, fitted by "
        "one and two damped modes (Whittle's likelihood). A tenth less stiffness lowers a mode by 5 %.",
        "Compare with the same quad's own flights; tap the arms to tell which of the two it is.",
    )


def causes_answer(rule: Rule, verdict: Verdict | None) -> Answer:
    """What is likely wrong."""
    if not rule.can:
        return none(rule)
    if verdict is None or not verdict.findings:
        why = "motor speeds are inferred from commands, which is too rough to name causes"
        return none(Rule(rule.question, False, "not logged", why, "log the motors' speed"))
    top = verdict.findings[0]
    rows = " ".join(f"{e.text[:-1]}, {e.nats:+.1f} nats." for e in top.evidence[:4])
    against = "Its own flights make it surer: keep logs of fine flights." if verdict.baseline < 4 else ""
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        word(rule) if verdict.baseline else "caution",
        max(top.nats, -99.0),
        "nats over fine",
        None,
        verdict.summary(),
        f"{rows} Cannot tell: {' '.join(verdict.cannot) or 'nothing left open.'}",
        f"{top.look if top.level != 'no finding' else ''} {against}".strip() or "A flight that differs more.",
    )


def crashes_answer(rule: Rule, found: tuple[Strike, ...], acceleration: bool) -> Answer:
    """Crashes in the log."""
    if not rule.can:
        return none(rule)
    said = " ".join(s.summary() for s in found)
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        "computed" if acceleration else "caution",
        float(len(found)),
        "",
        None,
        f"{len(found)} proposed for the journal. {said}" if found else "No crash is seen in it.",
        "A push over 8 g or full scale with a jump of the rates by over 150 deg/s."
        if acceleration
        else "Only a jump of the rates by over 400 deg/s: without acceleration light ones are missed.",
        "You confirm each; severity by change of velocity is an assumption.",
    )
