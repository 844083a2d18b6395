"""From a flight log and a build to findings: what could be computed, what could not, and why."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.vibration.airframe import Airframe, airframe
from crashworthy.vibration.answers import Answer, LogReport, MotorCard
from crashworthy.vibration.bearing import ball_level
from crashworthy.vibration.cards import blade_pass, gain_notes, motor_cards
from crashworthy.vibration.features import features, structure
from crashworthy.vibration.lag import Lag, lag_search, speed_scale
from crashworthy.vibration.orders import Baseband, baseband, fit_tracks
from crashworthy.vibration.pack import pack_resistance
from crashworthy.vibration.quality import Rule, clipped, quality
from crashworthy.vibration.ridge import Ridge, ridge
from crashworthy.vibration.says import (
    arms_answer,
    blade_answer,
    causes_answer,
    crashes_answer,
    dose_answer,
    pack_answer,
    spectrum_answer,
    speed_answer,
    unbalance_answer,
)
from crashworthy.vibration.shafts import Shafts
from crashworthy.vibration.shorttime import short_time
from crashworthy.vibration.spectra import DOSE_BAND, campbell, mean_spectrum, noise_floor, v_rms
from crashworthy.vibration.strikes import strikes
from crashworthy.vibration.unbalance import Unbalance, fit_unbalance
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
    from crashworthy.vibration.threads import one_thread

    with one_thread():
        return _analyse(log, quad, cutoff_hz, cutoff_order, baselines, progress)


def _analyse(
    log: FlightLog,
    quad: Quad | Airframe | None,
    cutoff_hz: float | None,
    cutoff_order: int,
    baselines: Sequence[Features],
    progress: Callable[[float, str], None] | None,
) -> LogReport:
    say = progress or (lambda _share, _what: None)
    frame = None if quad is None else airframe(quad)
    say(0.02, "speeds")
    log, guessed = _with_speeds(log)
    rules = quality(log, frame)
    if guessed is not None:
        rules = {
            k: _doubtful(r) if r.question in ("unbalance", "blade pass") else r for k, r in rules.items()
        }
    notes = _notes(log, frame)
    if guessed is not None:
        notes.insert(0, INFERRED)
    answers: list[Answer] = []

    lag: Lag | None = None
    shafts: Shafts | None = None
    band, tracks = None, None
    blades = frame.blades if frame else 3
    say(0.05, "telemetry lag")
    if rules["unbalance"].can or rules["blade pass"].can:
        shafts, lag = _shafts(log, guessed)
        if lag is not None:
            notes += _lag_notes(log, lag, frame)

    say(0.2, "spectrum")
    told = frame if shafts is not None and frame is not None else None
    short = short_time(log, shafts, told) if rules["spectrum"].can else None
    density = None if short is None else mean_spectrum(short)
    floor = None if density is None else noise_floor(density)
    answers.append(spectrum_answer(rules["spectrum"], floor))
    dose = None
    if rules["dose"].can and density is not None and frame is not None:
        dose = v_rms(density, frame.radius)
    answers.append(dose_answer(rules["dose"], dose, frame))

    say(0.4, "orders")
    blade = None
    if shafts is not None:
        band = baseband(log, shafts, _orders(log, shafts, blades if rules["blade pass"].can else 0))
        tracks = fit_tracks(band)
    if rules["blade pass"].can and tracks is not None:
        blade = blade_pass(tracks, log.fs, blades)
    answers.append(blade_answer(rules["blade pass"], blade, frame))
    say(0.6, "unbalance")
    cards: tuple[MotorCard, ...] = ()
    low_pass = None if cutoff_hz is None else (cutoff_hz, cutoff_order)
    fitted = None
    if rules["unbalance"].can and shafts is not None and frame is not None:
        fitted = _fit(log, frame, shafts, band)
        cards = motor_cards(fitted, frame, blade, low_pass)
        notes += gain_notes(cards, low_pass)
    answers.append(unbalance_answer(rules["unbalance"], cards, lag, low_pass))
    say(0.75, "structure")
    found, own, verdict = None, None, None
    if short is not None and shafts is not None and told is not None:
        found = structure(log, short, shafts)
        if rules["unbalance"].can and guessed is None:
            balls = ball_level(log, shafts)
            own = features(told, fitted, tracks, found, shafts, balls, log.duration)
            verdict = judge(own, baseline(baselines), unknown(log, own, rules))
    say(0.9, "map")
    comb = None
    if shafts is None and log.speed is None:
        comb = None if short is None else ridge(short, blades)
        answers.append(speed_answer(rules["spectrum"], comb))
    drawn = shafts or (Shafts.of(comb.t, comb.f[:, None], inferred=True) if comb and comb.sure else None)
    chart = None if short is None else campbell(short, drawn, blades) or campbell(short, None, blades)
    say(0.95, "pack")
    pack = None
    if rules["pack"].can and log.power_t is not None and log.volts is not None and log.amps is not None:
        pack = pack_resistance(log.power_t, log.volts, log.amps)
    answers.append(pack_answer(rules["pack"], pack))
    say(1.0, "done")
    hits = strikes(log)
    answers.append(arms_answer(rules["arms"], found))
    answers.append(causes_answer(rules["causes"], verdict))
    answers.append(crashes_answer(rules["crashes"], hits, log.acc is not None))
    order = ["causes", "unbalance", "crashes", "arms", "blade pass", "dose", "pack", "speed", "spectrum"]
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
        strikes=hits,
        speed_source=_source(shafts, comb),
        comb=comb,
    )


def _source(shafts: Shafts | None, comb: Ridge | None) -> str:
    if shafts is not None:
        return "inferred" if shafts.inferred else "logged"
    return "" if comb is None else "spectrum"


INFERRED = (
    "No motor speed was logged: speeds are inferred from the motors' commands and the pack's voltage. On "
    "simulated flights unbalance then reads up to a third low, and single motors may be wrong."
)
"""Note that goes with inferred speeds."""


def _shafts(log: FlightLog, guessed: Shafts | None) -> tuple[Shafts | None, Lag | None]:
    """Speeds with their lag taken off; inferred ones have none."""
    if guessed is not None or log.speed_t is None or log.speed is None:
        return guessed, None
    lag = lag_search(log)
    return Shafts.of(log.speed_t, log.speed, lag.seconds), lag


def _fit(log: FlightLog, frame: Airframe, shafts: Shafts, band: Baseband | None) -> Unbalance:
    """Unbalance; with blocks of a second instead of a half where that parts more motors."""
    fitted = fit_unbalance(log, frame, shafts, band=band)
    if all(m.separable for m in fitted.motors):
        return fitted
    longer = fit_unbalance(log, frame, shafts, 1.0, band)
    more = sum(m.separable for m in longer.motors) > sum(m.separable for m in fitted.motors)
    return longer if more else fitted


def _with_speeds(log: FlightLog) -> tuple[FlightLog, Shafts | None]:
    """The log with speeds inferred from commands when none was logged and it can be done."""
    if log.speed is not None or log.gyro is None or log.command is None or log.volts is None:
        return log, None
    from crashworthy.vibration.inferred import infer_speeds

    shafts = infer_speeds(log)
    if shafts is None:
        return log, None
    meta = replace(log.meta, rates={**log.meta.rates, "speed": 200.0})
    return replace(log, speed_t=shafts.t, speed=shafts.speed, meta=meta), shafts


def _doubtful(rule: Rule) -> Rule:
    if not rule.can:
        return rule
    return replace(
        rule,
        verdict="caution",
        why=f"{rule.why}; motor speeds are inferred from commands",
        change="log the motors' speed (telemetry), 50 updates/s or more",
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
