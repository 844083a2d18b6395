"""The kernel on a whole quad: symmetries, refinement, energy."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from boxes import make_quad

from crashworthy.impact.contact import BED
from crashworthy.impact.craft import FLAG_ENERGY, FLAG_PENETRATION, FLAG_STEP
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.scene import run
from crashworthy.impact.start import _times, sample

N = 24
MIRROR = np.array([1.0, -1.0, 1.0])


@pytest.fixture(scope="module")
def model(quad):
    """The kernel's numbers of the quad of boxes."""
    return model_of(quad)


@pytest.fixture(scope="module")
def starts(model):
    """A few crashes of the everyday mix."""
    return sample(Scenario.default(), model.craft, 3, np.arange(N))


def crash(model, starts, *, dt=1e-5, window=8e-3):
    """Run the starts through the kernel."""
    return run(
        model.craft, model.beds, starts.state, obstacles=starts.rows, kinds=starts.kinds,
        surfaces=starts.surfaces, speed=np.maximum(starts.closing, 1.0), law=BED, dt=dt,
        steps=round(window / dt),
    )  # fmt: skip


def swapped(quad, model):
    """Row of the mirror image of each part."""
    names = [quad.parts[i].name for i in model.parts]
    other = {"0": "1", "1": "0", "2": "3", "3": "2"}
    return [names.index(n[:-1] + other[n[-1]]) if n[-1] in other else i for i, n in enumerate(names)]


def test_a_mirrored_crash_gives_the_mirrored_result(quad, model, starts):
    """Left and right of a symmetric quad are treated alike."""
    state, rows = starts.state.copy(), starts.rows.copy()
    for first in (0, 3):
        state[first : first + 3] *= MIRROR[:, None]
    for first in (0, 3, 7):
        rows[first : first + 3] *= MIRROR[:, None]
    state[[7, 9]] *= -1.0
    state[[10, 12]] *= -1.0
    a = crash(model, starts, window=3e-3)
    b = crash(model, starts._replace(state=state, rows=rows), window=3e-3)
    twin = swapped(quad, model)
    np.testing.assert_allclose(b.impulse[twin].sum(axis=0), a.impulse.sum(axis=0), rtol=1e-6)
    np.testing.assert_allclose(b.peak[twin], a.peak, rtol=1e-5, atol=1e-3)
    np.testing.assert_allclose(b.moment[[1, 0, 3, 2]], a.moment, rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(b.scalars["vy"], -a.scalars["vy"], rtol=1e-6, atol=1e-8)


def test_turning_the_world_changes_nothing(model, starts):
    """Quad, velocity and obstacle turned together crash alike: no direction of space is special."""
    q = np.array([0.5, -0.3, 0.7, 0.2])
    q /= np.linalg.norm(q)
    w, x, y, z = q
    R = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
    state, rows = starts.state.copy(), starts.rows.copy()
    for first in (0, 3):
        state[first : first + 3] = R @ state[first : first + 3]
    for first in (0, 3, 7):
        rows[first : first + 3] = R @ rows[first : first + 3]
    state[6:10] = _times(np.repeat(q[:, None], N, axis=1), starts.state[6:10])
    a = crash(model, starts, window=3e-3)
    b = crash(model, starts._replace(state=state, rows=rows), window=3e-3)
    np.testing.assert_allclose(b.impulse, a.impulse, rtol=1e-5, atol=1e-7)
    np.testing.assert_allclose(b.scalars["shock"], a.scalars["shock"], rtol=1e-6)


def test_a_finer_step_converges(model):
    """Errors of impulse and arm moment go about with the step, and are small at the default step."""
    starts = sample(Scenario.default(), model.craft, 3, np.arange(96))
    fine = crash(model, starts, dt=6.25e-7)
    errors = []
    for dt in (2e-5, 1e-5, 5e-6):
        got = crash(model, starts, dt=dt)
        impulse = got.impulse.sum(axis=0) / fine.impulse.sum(axis=0) - 1.0
        moment = got.moment[:, 1].max(axis=0) / fine.moment[:, 1].max(axis=0) - 1.0
        errors.append([float(np.median(np.abs(x))) for x in (impulse, moment)])
    coarse, default, small = np.array(errors)
    assert (default < 0.005).all()
    assert (coarse > default).all()
    assert (default > small).all()
    # Semi-implicit steps are of first order; against a fine run instead of the limit, 20 and 5 us show 1.07.
    order = np.log2(coarse / small) / 2.0
    assert ((order > 0.8) & (order < 1.7)).all()


def test_four_times_the_points_carry_the_same_load():
    """Peaks, impulses and arm moments differ by 5 % at most between 300 and 1140 patches of skin.

    Beyond that the mean of 256 crashes may scatter by twice its standard error. Patches without spread, which
    press as a whole, fail here.
    """
    ran = []
    for spacing in (0.024, 0.012):
        model = model_of(make_quad(spacing))
        got = crash(model, sample(Scenario.default(), model.craft, 3, np.arange(256)))
        ran.append((got.impulse.sum(axis=0), got.peak.sum(axis=0), got.moment[:, :2].mean(axis=(0, 1))))
    for coarse, fine in zip(*ran, strict=True):
        ratio = coarse.mean() / fine.mean()
        error = np.std(coarse - ratio * fine) / fine.mean() / len(fine) ** 0.5
        assert abs(ratio - 1.0) < 0.05 + 2.0 * error


def test_energy_is_never_created_and_the_account_closes(model, starts):
    """Energy after a crash is below that before; what is missing stands in the account."""
    got = crash(model, starts, dt=1e-6)
    assert (got.scalars["energy_end"] <= got.scalars["energy_start"] * 1.001).all()
    assert (got.scalars["dissipated"] >= 0.0).all()
    np.testing.assert_allclose(got.scalars["audit"], 0.0, atol=0.01)


def test_too_coarse_a_step_is_flagged(model, starts):
    """A step beyond a fifth of the stability limit is not passed over in silence."""
    stiff = model.beds._replace(stiffness=model.beds.stiffness * 300.0, depth=model.beds.depth / 300.0)
    got = crash(model._replace(beds=stiff), starts)
    assert ((got.flags & FLAG_STEP) > 0).any()
    np.testing.assert_array_equal((got.flags & FLAG_STEP) > 0, got.scalars["stability"] > 0.2)


def test_too_deep_a_dent_is_flagged(model, starts):
    """Parts that give without end are reported as pressed too deep."""
    soft = model.beds._replace(crush=model.beds.crush * 1e-3, depth=model.beds.depth * 1e-3)
    soft = soft._replace(in_ground=np.zeros_like(soft.in_ground))
    got = crash(model._replace(beds=soft), starts)
    assert ((got.flags & FLAG_PENETRATION) > 0).any()


def test_a_lost_joule_is_found(model, starts):
    """Damping of the wrong sign, which feeds energy in, does not pass the audit at a coarse step."""
    wrong = model.beds._replace(damping=model.beds.damping * -3.0)
    got = crash(model._replace(beds=wrong), starts, dt=5e-5)
    assert ((got.flags & FLAG_ENERGY) > 0).any()


def test_gravity_of_the_whole_is_that_of_the_build(quad, model):
    """Core and tips together have the mass, balance and inertia of the quad."""
    craft = model.craft
    mass = craft.core_mass + craft.tip_mass.sum()
    assert mass == pytest.approx(quad.mass, rel=1e-12)
    cog = (craft.tip_mass @ craft.tip) / mass + model.origin
    np.testing.assert_allclose(cog, quad.mass_properties.cog, atol=1e-12)
    offset = quad.mass_properties.cog - model.origin
    inertia = craft.inertia - mass * (offset @ offset * np.eye(3) - np.outer(offset, offset))
    for m, r in zip(craft.tip_mass, craft.tip, strict=True):
        inertia = inertia + m * (r @ r * np.eye(3) - np.outer(r, r))
    for j, a in zip(craft.twist_inertia, craft.axis, strict=False):
        inertia = inertia + j * np.outer(a, a)
    np.testing.assert_allclose(inertia, quad.mass_properties.inertia, rtol=1e-9, atol=1e-12)


def test_a_trace_ends_where_the_crash_ends(model, starts):
    """Frames show the flight: they begin at the start and move with the velocity."""
    one = starts._replace(**{k: np.ascontiguousarray(v[..., :1]) for k, v in starts._asdict().items()})
    got = run(
        model.craft, model.beds, one.state, obstacles=one.rows, kinds=one.kinds, surfaces=one.surfaces,
        speed=one.closing, steps=200, every=10,
    )  # fmt: skip
    assert got.trace.shape[0] == 21
    np.testing.assert_allclose(got.trace[0, 1:4, 0], one.state[:3, 0])
    np.testing.assert_allclose(got.trace[:, 0, 0], np.arange(21) * 1e-4, atol=1e-12)
    step = (got.trace[1, 1:4, 0] - got.trace[0, 1:4, 0]) / 1e-4
    np.testing.assert_allclose(step, one.state[3:6, 0], rtol=0.2, atol=0.5)


def test_model_is_plain_data(model):
    """A model holds only arrays and numbers, so that a chunk can run in another process."""
    for field in model.craft:
        assert isinstance(field, float | int | np.ndarray)
    assert not dataclasses.is_dataclass(model)
