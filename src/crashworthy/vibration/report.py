"""From a flight log and a build to findings: what could be computed, what could not, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from crashworthy.vibration.airframe import BELL_SHARE, Airframe, airframe
from crashworthy.vibration.answers import Answer, LogReport, MotorCard
from crashworthy.vibration.bearing import ball_level
from crashworthy.vibration.cards import BladePass, blade_pass, gain_notes, motor_cards
from crashworthy.vibration.features import features, structure
from crashworthy.vibration.lag import Lag, lag_search, speed_scale
from crashworthy.vibration.shafts import Shafts
from crashworthy.vibration.orders import baseband, fit_tracks
from crashworthy.vibration.pack import CAVEAT, PackResistance, pack_resistance
from crashworthy.vibration.quality import QUESTIONS, Rule, clipped, quality
from crashworthy.vibration.shorttime import short_time
from crashworthy.vibration.spectra import DOSE_BAND, campbell, mean_spectrum, noise_floor, v_rms
from crashworthy.vibration.unbalance import fit_unbalance
from crashworthy.vibration.unknown import unknown
from crashworthy.vibration.verdict import baseline, judge

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.vibration.features import Features
    from crashworthy.vibration.log import FlightLog

    Floats = NDArray[np.float64]

__all__ = ["analyse"]

_MODEL = (
    "Least squares over all motors and axes in 0.5 s blocks, through the build's inertia: an error "
    "of the inertia "
    "passes into the figure one to one and cancels between flights of one quad. "
    "Apparent: arms that bend in their plane near the shaft speed amplify it."
)


def analyse(
    log: FlightLog,
    quad: Quad | Airframe | None,
    *,
    cutoff_hz: float | None = None,
    cutoff_order: int = 1,
    baselines: Sequence[Features] = (),
    progress: Callable[[float, str], None] | None = None,
) -> LogReport:
    """Ask a log everything it can answer.

    Args:
        log: the flight.
        quad: the build that flew it; None computes what needs no build.
        cutoff_hz: cut-off (-3 dB) of the gyro's low pass, when known; unbalance is divided by its gain.
        cutoff_order: its order; the gain taken is Butterworth's, 1/√(1 + (f/fc)^(2n)).
        baselines: features of the quad's own earlier flights in good order, for the verdict.
        progress: called with the share done (0 to 1) and what is being done.

    Raises:
        LogError: the build's motor order is not usable.
    """
    say = progress or (lambda _share, _what: None)
    frame = None if quad is None else airframe(quad)
    rules = quality(log, frame)
    notes = _notes(log, frame)
    answers: list[Answer] = []

    lag, shafts, band, tracks = None, None, None, None
    blades = frame.blades if frame else 3
    say(0.05, "telemetry lag")
    followed = rules["unbalance"].can or rules["blade pass"].can
    if followed and log.speed_t is not None and log.speed is not None:
        lag = lag_search(log)
        notes += _lag_notes(log, lag, frame)
        shafts = Shafts.of(log.speed_t, log.speed, lag.seconds)

    say(0.2, "spectrum")
    told = frame if shafts is not None and frame is not None else None
    short = short_time(log, shafts, told) if rules["spectrum"].can else None
    density = None if short is None else mean_spectrum(short)
    floor = None if density is None else noise_floor(density)
    answers.append(_spectrum_answer(rules["spectrum"], floor))
    dose = None
    if rules["dose"].can and density is not None and frame is not None:
        dose = v_rms(density, frame.radius)
    answers.append(_dose_answer(rules["dose"], dose, frame))

    say(0.4, "orders")
    blade = None
    if shafts is not None:
        band = baseband(log, shafts, _orders(log, shafts, blades if rules["blade pass"].can else 0))
        tracks = fit_tracks(band)
    if rules["blade pass"].can and tracks is not None:
        blade = blade_pass(tracks, log.fs, blades)
    answers.append(_blade_answer(rules["blade pass"], blade, frame))
    say(0.6, "unbalance")
    cards: tuple[MotorCard, ...] = ()
    low_pass = None if cutoff_hz is None else (cutoff_hz, cutoff_order)
    fitted = None
    if rules["unbalance"].can and shafts is not None and frame is not None:
        fitted = fit_unbalance(log, frame, shafts, band=band)
        if any(not m.separable for m in fitted.motors):
            longer = fit_unbalance(log, frame, shafts, 1.0, band)
            if sum(m.separable for m in longer.motors) > sum(m.separable for m in fitted.motors):
                fitted = longer
        cards = motor_cards(fitted, frame, blade, low_pass)
        notes += gain_notes(cards, low_pass)
    answers.append(_unbalance_answer(rules["unbalance"], cards, lag, low_pass))
    say(0.75, "structure")
    found, own, verdict = None, None, None
    if short is not None and shafts is not None and told is not None:
        found = structure(log, short, shafts)
        if rules["unbalance"].can:
            balls = ball_level(log, shafts)
            own = features(told, fitted, tracks, found, shafts, balls, log.duration)
            verdict = judge(own, baseline(baselines), unknown(log, own, rules))
    say(0.9, "map")
    chart = None
    if short is not None:
        chart = campbell(short, shafts, blades)
        if chart is None and shafts is not None:
            chart = campbell(short, None, blades)
    say(0.95, "pack")
    pack = None
    if rules["pack"].can and log.power_t is not None and log.volts is not None and log.amps is not None:
        pack = pack_resistance(log.power_t, log.volts, log.amps)
    answers.append(_pack_answer(rules["pack"], pack))
    say(1.0, "done")
    order = ["unbalance", "blade pass", "dose", "pack", "spectrum"]
    answers.sort(key=lambda a: (not a.computed, order.index(a.question)))
    return LogReport(
        quad="" if quad is None or isinstance(quad, Airframe) else quad.slug,
        duration=log.duration,
        meta=log.meta,
        answers=tuple(answers),
        motors=cards,
        spectrum=density,
        noise_floor=None if floor is None else (float(floor[0]), float(floor[1]), float(floor[2])),
        campbell=chart,
        lag=lag,
        pack=pack,
        v_rms=dose,
        dose_band=DOSE_BAND,
        notes=tuple(notes),
        structure=found,
        features=own,
        verdict=verdict,
        speed_source="" if shafts is None else "inferred" if shafts.inferred else "logged",
    )


def _orders(log: FlightLog, shafts: Shafts, blades: int) -> list[float]:
    """Orders worth following: those that the log shows at the usual speed, and blade passing where asked."""
    usual = float(np.median(shafts.speed))
    orders = [k for k in (1.0, 1.5, 2.0, 3.0) if k == 1.0 or k * usual * 2.5 <= log.fs]
    if blades and float(blades) not in orders:
        orders.append(float(blades))
    return sorted(orders)


def _notes(log: FlightLog, frame: Airframe | None) -> list[str]:
    notes = list(log.meta.notes)
    if log.meta.invented:
        notes.append("The file says that it is simulated: no real quad flew this.")
    stretches = log.segments()
    if len(stretches) > 1:
        lost = sum(g.samples for g in log.meta.gaps)
        notes.append(
            f"{len(log.meta.gaps)} gaps with about {lost} lost samples split the log into "
            f"{len(stretches)} parts."
        )
    if log.meta.jitter > 0.1:
        notes.append(
            f"The clock is uneven (steps vary by {100 * log.meta.jitter:.0f} %): spectra are blurred, "
            "orders are not."
        )
    share = clipped(log)
    if share > 0.001:
        notes.append(f"{100 * share:.2f} % of the gyro's samples stand at full scale.")
    if frame is None:
        notes.append("No build was given, so nothing that needs inertia was computed.")
    return notes


def _lag_notes(log: FlightLog, lag: Lag, frame: Airframe | None) -> list[str]:
    notes = []
    if not lag.known:
        notes.append(
            "The telemetry's lag is not certain (speeds hardly change or no line follows them); the "
            "likeliest is taken off."
        )
        return notes
    if lag.seconds > 0.0235:
        notes.append("The telemetry seems later than 24 ms, the most that is tried: unbalance may be wrong.")
    pairs = frame.pole_pairs if frame and frame.pole_pairs else 7
    tried = [p for p in range(5, 10) if p != pairs]
    got = speed_scale(log, lag.seconds, [1.0, *(pairs / p for p in tried)])
    best = int(np.argmax(got))
    if best and got[best] > 1.5 * got[0]:
        notes.append(
            f"Order 1 fits better with {tried[best - 1]} pole pairs than with {pairs}: check the "
            "motors' pole pairs "
            "or the speed column's unit."
        )
    return notes


def _none(rule: Rule) -> Answer:
    return Answer(
        rule.question, QUESTIONS[rule.question], rule.verdict, None, "", None, rule.why, rule.why, rule.change
    )


def _word(rule: Rule) -> str:
    return "caution" if rule.verdict == "caution" else "computed"


def _spectrum_answer(rule: Rule, floor: Floats | None) -> Answer:
    if floor is None:
        return _none(rule)
    worst = float(np.degrees(floor.max()))
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        _word(rule),
        worst,
        "deg/s/√Hz",
        None,
        f"Noise floor {worst:.3g} deg/s/√Hz on the worst axis.",
        "Welch density, Hann window, half overlap; median between 0.6 and 0.9 of half the log's "
        f"rate. {rule.why}.",
        "Softer mounting of the board, or a filter ahead of the log, lowers it.",
    )


def _dose_answer(rule: Rule, dose: float | None, frame: Airframe | None) -> Answer:
    if dose is None or frame is None:
        return _none(rule)
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        _word(rule),
        dose * 1e3,
        "mm/s rms",
        None,
        f"Vibration {dose * 1e3:.1f} mm/s rms at the rotors ({DOSE_BAND[0]:.0f} to {DOSE_BAND[1]:.0f} Hz).",
        "Gyro density summed over the band and the axes, times the rotors' radius of "
        f"{frame.radius * 1e3:.0f} mm. "
        "The band is an assumption, kept the same for every log so that flights compare.",
        "Compare it with the same quad's own flights, not with other quads.",
    )


def _blade_answer(rule: Rule, blade: BladePass | None, frame: Airframe | None) -> Answer:
    if not rule.can:
        return _none(rule)
    if blade is None:
        slow = Rule(
            rule.question, False, "too short", "too few blocks in which every speed is known", rule.change
        )
        return _none(slow)
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
        _word(rule),
        value,
        "deg/s",
        error,
        words,
        f"Order {count} ({count} blades) fitted in {blade.blocks} blocks; median over "
        f"blocks less the noise near the line, three axes together. {rule.why}.",
        rule.change or "It tells blades apart only by comparison with the same quad's own flights.",
    )


def _unbalance_answer(
    rule: Rule, cards: tuple[MotorCard, ...], lag: Lag | None, low_pass: tuple[float, int] | None
) -> Answer:
    if not rule.can:
        return _none(rule)
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
            f"{_MODEL}{late}",
            cards[0].change if cards else "log a longer flight",
        )
    worst = max(told, key=lambda c: c.unbalance or 0.0)
    loud = next((c for c in cards if c.verdict == "stands out"), None)
    top = loud or worst
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        _word(rule),
        top.unbalance,
        "g mm",
        top.error,
        top.text,
        f"{_MODEL} {filtered}{late} {rule.why}. Grades take the prop and {100 * BELL_SHARE:.0f} % of "
        "the motor as "
        "turning mass (assumption).",
        top.change,
    )


def _pack_answer(rule: Rule, pack: PackResistance | None) -> Answer:
    if pack is None:
        return _none(rule)
    return Answer(
        rule.question,
        QUESTIONS[rule.question],
        _word(rule),
        pack.r0 * 1e3,
        "mΩ",
        pack.error * 1e3,
        pack.summary(),
        "Regression of voltage on current with a falling open-circuit voltage and one relaxation of "
        f"{pack.tau:g} s "
        f"(assumption). {CAVEAT}",
        "A flight with the pack at another temperature, or a better current sensor.",
    )
