"""Causes against "fine": named right, inspectable, silent where nothing can be said."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.demo.faults import Faults
from crashworthy.demo.flight import simulate_flight
from crashworthy.vibration.features import Features
from crashworthy.vibration.report import analyse
from crashworthy.vibration.templates import CAUSES, PRIOR_SD
from crashworthy.vibration.verdict import CAP, FINDING, baseline, judge

CORNERS = ("fl", "fr", "rl", "rr")


def made_up(rng: np.random.Generator, **moved: float) -> Features:
    """A fine flight drawn from the assumed scatter, features of the front left motor or the frame moved."""
    own = ("unbalance", "track", "half", "second", "third", "effort")
    motors = {c: {k: float(rng.normal(0, PRIOR_SD[k])) for k in own} for c in CORNERS}
    group = {k: float(rng.normal(0, PRIOR_SD[k])) for k in ("arm_a", "arm_b", "floor", "tone", "stack")}
    for k, v in moved.items():
        place = motors["fl"] if k in own else group
        place[k] += v
    return Features(motors, group, {}, 40.0)


@pytest.fixture(scope="module")
def usual() -> Any:
    """A baseline of eight fine flights."""
    rng = np.random.default_rng(1)
    return baseline([made_up(rng) for _ in range(8)])


@pytest.mark.parametrize(
    ("cause", "moved"),
    [
        ("chipped prop", {"unbalance": 1.4}),
        ("bent prop", {"unbalance": 0.5, "track": 2.2}),
        ("loose motor screws", {"unbalance": 0.6, "second": 2.0, "third": 3.0, "floor": 1.0, "stack": -0.8}),
        ("loose arm screws", {"arm_a": -0.04}),
        ("electrical noise", {"tone": 2.2, "floor": 0.35}),
        ("blades worn alike", {"effort": 0.06}),
    ],
)
def test_each_cause_is_named_with_its_evidence(usual: Any, cause: str, moved: dict[str, float]) -> None:
    """Features moved as a cause moves them: it is called, at the right place, and its rows add up."""
    verdict = judge(made_up(np.random.default_rng(2), **moved), usual)
    top = verdict.findings[0]
    assert verdict.called == cause
    assert top.nats > FINDING
    assert top.where in ("front left", "rear right", "")
    assert top.evidence[0].nats == max(e.nats for e in top.evidence)
    assert top.look
    assert "nats over fine" in verdict.summary()


def test_fine_flights_stay_fine(usual: Any) -> None:
    """Of 200 fine flights drawn from the assumed scatter at most 3 % are called."""
    rng = np.random.default_rng(3)
    called = sum(judge(made_up(rng), usual).called != "fine" for _ in range(200))
    assert called <= 6


def test_without_its_own_flights_it_says_so() -> None:
    """No baseline: only unbalance and track are judged, against a typical quad, and that is said."""
    verdict = judge(made_up(np.random.default_rng(4)), baseline([]))
    assert verdict.baseline == 0
    assert "typical quad" in verdict.summary()
    assert all(f.cause not in ("loose stack", "electrical noise") for f in verdict.findings)


def test_bearing_is_never_called_without_its_tone(usual: Any) -> None:
    """A flight without acceleration names no bearing, whatever else it shows."""
    verdict = judge(made_up(np.random.default_rng(5), unbalance=0.5), usual)
    assert all(f.cause != "worn bearing" for f in verdict.findings)


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["unbalance", "track", "third", "arm_a", "tone", "stack"]), st.floats(-50, 50)
    )
)
def test_any_numbers_give_a_verdict(moved: dict[str, float]) -> None:
    """Whatever the features: shares lie between 0 and 1, no term passes its cap, JSON is plain."""
    rng = np.random.default_rng(6)
    own = baseline([made_up(rng) for _ in range(5)])
    verdict = judge(made_up(rng, **moved), own)
    json.dumps(verdict.to_json(), allow_nan=False)
    assert 0.0 <= verdict.fine <= 1.0
    assert sum(f.share for f in verdict.findings) + verdict.fine <= 1.0 + 1e-9
    for f in verdict.findings:
        assert all(abs(e.nats) <= CAP for e in f.evidence)
        assert math.isfinite(f.nats)


def test_features_survive_json() -> None:
    """What is kept with the report is what is compared later."""
    flight = made_up(np.random.default_rng(7))
    again = Features.from_json(json.loads(json.dumps(flight.to_json())))
    for c in CORNERS:
        for k, v in flight.motors[c].items():
            assert again.motors[c][k] == pytest.approx(v, abs=1e-5)


def test_every_cause_can_be_looked_at() -> None:
    """Each cause has words for what to look at, and needs a feature it moves."""
    for cause in CAUSES:
        assert cause.look.endswith((".", "?"))
        assert all(n in cause.moves for n in cause.needs)


def test_a_simulated_flight_is_judged_from_its_own_flights(quad: Any, tmp_path: Any) -> None:
    """Four fine flights and one with a chipped prop front right: it is named, and the report is small."""
    from crashworthy.vibration.readers import read_log

    def flown(seed: int, own: list[Features], unbalance: Any, faults: Faults | None = None) -> Any:
        made = simulate_flight(quad, 12.0, seed, unbalance, faults=faults, fs=2000.0)
        return analyse(read_log(made.write_csv(tmp_path / "a.csv")), quad, baselines=own)

    own = [flown(seed, [], (2.0, 2.8, 2.2, 2.4)).features for seed in range(301, 305)]
    report = flown(305, own, (2.0, 11.0, 2.2, 2.4))
    assert report.verdict.called == "chipped prop"
    assert report.verdict.findings[0].where == "front right"
    assert report.verdict.baseline == 4
    assert report.summary().startswith("Likeliest: chipped prop front right")
    assert len(json.dumps(report.to_json(), allow_nan=False)) < 300_000
    fine = flown(306, own, (2.05, 2.7, 2.25, 2.35))
    assert fine.verdict.called == "fine"
