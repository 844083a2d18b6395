"""Crashes side by side: the same as one after the other, whoever shares the block."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from crashworthy.impact import blocks, lanes, width
from crashworthy.impact.contact import BED
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.start import sample

N = 30


@pytest.fixture(scope="module")
def scene(quad: Any) -> Any:
    """Model and starts of a few crashes of the everyday mix, every obstacle of it met."""
    model = model_of(quad)
    return model, sample(Scenario.default(), model.craft, 11, np.arange(N))


def crash(scene: Any, *, lanes_: int | None, pick: Any = slice(None), strength: Any = None) -> blocks.Outcome:
    """Run some of the crashes with so many lanes."""
    model, s = scene
    return blocks.crash(
        model.craft, model.beds, BED, s.kinds[pick], s.surfaces[pick], s.rows[:, pick], s.state[:, pick],
        np.maximum(s.closing, 1.0)[pick], dt=1e-5, steps=1000, settle=4e-3, width=lanes_,
        strength=None if strength is None else strength[:, pick],
    )  # fmt: skip


def close(a: blocks.Outcome, b: blocks.Outcome) -> None:
    """Every result within 1e-9 of the largest of its kind."""
    for name, x, y in zip(a._fields, a, b, strict=True):
        largest = np.nanmax(np.abs(x), initial=0.0, axis=-1, keepdims=True)
        np.testing.assert_allclose(
            y, x, rtol=1e-9, atol=1e-9 * float(np.max(largest, initial=0.0)), err_msg=name
        )


def test_lanes_agree_with_plain_numbers(scene: Any) -> None:
    """The scalar run is the oracle: every width gives its results to 1e-9, crash by crash."""
    oracle = crash(scene, lanes_=1)
    assert (oracle.peak.max(axis=0) > 0.0).all()
    for lanes_ in {4, width.register_width()} - {1}:
        close(oracle, crash(scene, lanes_=lanes_))


def test_neighbours_do_not_matter(scene: Any) -> None:
    """Other order, other neighbours, other width: the same bits."""
    wide = width.register_width()
    if wide == 1:
        pytest.skip("no vectors on this platform")
    whole = crash(scene, lanes_=wide)
    order = np.random.default_rng(3).permutation(N)[: N - 7]
    some = crash(scene, lanes_=wide, pick=order)
    narrow = crash(scene, lanes_=4)
    for name, x, y, z in zip(whole._fields, whole, some, narrow, strict=True):
        np.testing.assert_array_equal(y, x[..., order], err_msg=name)
        np.testing.assert_array_equal(z, x, err_msg=name)


def test_without_vectors_the_same_text_runs(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the vector types cannot be loaded, plain numbers give the same results, and the width says so."""
    few = slice(0, 6)
    oracle = crash(scene, lanes_=1, pick=few)
    monkeypatch.setattr(blocks, "vectors_work", lambda: False)
    close(oracle, crash(scene, lanes_=1, pick=few))
    monkeypatch.setattr(width, "vectors_work", lambda: False)
    width.register_width.cache_clear()
    try:
        assert width.register_width() == 1
        assert "plain numbers" in width.WHY[1]
    finally:
        width.register_width.cache_clear()


def test_a_broken_arm_loads_its_root_no_further(scene: Any) -> None:
    """With strengths, arms and props break in the run, the account still closes, and nothing heals."""
    model, _ = scene
    arms = len(model.craft.rotor)
    strength = np.vstack([np.full((arms, N), 0.3), np.full((arms, N), 50.0)])
    whole, broken = crash(scene, lanes_=1), crash(scene, lanes_=1, strength=strength)
    assert (whole.broken < 0.0).all()
    assert (broken.broken[0] >= 0.0).any()
    assert (broken.broken[1] >= 0.0).any()
    sound = (whole.moment[:, 2] < 0.3).all(axis=0) & (broken.broken < 0.0).all(axis=(0, 1))
    np.testing.assert_array_equal(broken.peak[:, sound], whole.peak[:, sound])
    audit = broken.scalars[3]
    assert np.abs(audit[(broken.flags & 1) == 0]).max() < 0.02


def _views_of(array: Any) -> Any:
    made = blocks._aligned(*array.shape)
    made[:] = array
    return made


def test_vector_operators_mean_what_numbers_mean() -> None:
    """Operators and words of the physics, lane by lane, on numbers of every size and sign."""
    if not width.vectors_work():
        pytest.skip("no vectors on this platform")
    from crashworthy.impact.craft import Beds
    from crashworthy.impact.simd import views

    @njit  # type: ignore[untyped-decorator] # numba is untyped
    def whole(x: Any, y: Any) -> None:
        for i in range(3):
            a, b = x[i, 0], x[i, 1]
            s = 0.0
            s = s + lanes.where((a > b) & lanes.no(a < -1.0), lanes.sqrt(lanes.size(a)), -b)
            s += lanes.most(a, 0.5) * lanes.least(b, 2) / 3.0 - lanes.floor(a)
            if lanes.some(a == b):
                s -= 1
            y[i, 0] = s
            y[i, 1] = lanes.lowest(a)

    @njit  # type: ignore[untyped-decorator] # numba is untyped
    def side_by_side(pair: Any, wide: Any) -> None:
        seen = views(pair, wide)
        whole(seen.stiffness, seen.crush)

    rng = np.random.default_rng(5)
    x = rng.normal(size=(3, 2, 4)) * 10.0 ** rng.integers(-3, 4, size=(3, 2, 4))
    x, y = _views_of(x), _views_of(np.zeros((3, 2, 4)))
    side_by_side(Beds(x, y, x, x, x, np.zeros((1, 1), dtype=np.int32)), (0, 0, 0, 0))
    for lane in range(4):
        out = np.zeros((3, 2))
        whole(np.ascontiguousarray(x[..., lane]), out)
        np.testing.assert_allclose(y[:, 0, lane], out[:, 0], rtol=1e-15)
    np.testing.assert_array_equal(y[:, 1, 0], x[:, 0].min(axis=-1))


@settings(deadline=None)
@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_words_in_plain_python(a: float, b: float) -> None:
    """The words also work outside compiled code, as they read."""
    assert lanes.least(a, b) == min(a, b)
    assert lanes.most(a, b) == max(a, b)
    assert lanes.where(a > b, a, b) == max(a, b)
    assert lanes.size(a) == abs(a)
    assert lanes.sqrt(abs(a)) ** 2 == pytest.approx(abs(a), rel=1e-12)
    assert lanes.floor(a) <= a < lanes.floor(a) + 1.0
    assert lanes.some(a > b) != lanes.some(lanes.no(a > b))
    assert lanes.lowest(a) == a
