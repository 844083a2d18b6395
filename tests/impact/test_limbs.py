"""What gives on its own: antennas, leads, soft mounts, twisting arms, in a build and one by one."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from crashworthy.build.assemble import assemble
from crashworthy.build.reading import parse
from crashworthy.errors import CrashworthyError
from crashworthy.evidence import crash_scenes as scenes
from crashworthy.evidence.impact_limbs import CHECKS
from crashworthy.evidence.registry import run_check
from crashworthy.impact.arrange import make_craft
from crashworthy.impact.blocks import Outcome, crash
from crashworthy.impact.campaign import SETTLE
from crashworthy.impact.cases import case_of, step_of
from crashworthy.impact.contact import BED
from crashworthy.impact.craft import STEP_LIMIT
from crashworthy.impact.limbs import Twist, limbs_of
from crashworthy.impact.model import Model, model_of
from crashworthy.impact.scenario import Scenario
from crashworthy.impact.scene import run, single_bed
from crashworthy.impact.start import Starts, sample
from crashworthy.impact.uncertain import parameters
from crashworthy.impact.uncertain_limbs import LIMBS, LimbSort, root_strength, softened, stiffened
from crashworthy.materials.table import datum
from crashworthy.strength.capacity import capacities

SHEET = """
schema = 1
name = "Limbs"
arms = { wheelbase = 226, t = 5, w_root = 17, w_tip = 12 }
motors = { mass = 33 }

[plates]
bottom = { rect = [130, 40], t = 2.5, z = -2.5 }
top = { rect = [130, 40], t = 2, z = 35 }

[camera]
at = { edge_x = 66, recess = -8, z = 20, tilt = 20 }
mount = { MOUNT }

[antennas]
stub = { at = [-60, 0, 37], dir = [0, 0, 1], length = 50, d = 4, head_d = 12, mass = 6 }
whip = { at = [-60, 15, 37], dir = [-1, 1, 0], length = 60, d = 1.6, mass = 1 }

[battery]
size = [76, 38, 36]
mass = 190
at = [0, 0, 37]

[leads]
main = { path = [[-30, 10, 14], [-60, 12, 20], [-80, 11, 35], [-70, 8, 60]], d = 6, mass = 15 }
[leads.balance]
path = [[-40, -12, 66], [-55, -14, 60], [-60, -14, 50]]
d = 3
mass = 4
plug = [8, 14, 6]
retained = false
joint = "crimp"

[boxes]
eye = { size = [20, 20, 20], at = [40, 0, 39], mass = 30, mount = { k = 40 } }
"""


def quad_of(mount: str = 'material = "tpu"') -> Any:
    """The build, its camera on this mount."""
    text = SHEET.replace("mount = { MOUNT }", f"mount = {{ {mount} }}" if mount else "")
    return assemble(parse(text))


@pytest.fixture(scope="module")
def built() -> tuple[Any, Model]:
    """The build and its model."""
    quad = quad_of()
    return quad, model_of(quad)


def crashed(model: Model, starts: Starts, steps: int = 800) -> Outcome:
    """Some crashes, as wide as this processor's registers."""
    return crash(
        model.craft, model.beds, BED, starts.kinds, starts.surfaces, starts.rows, starts.state,
        np.maximum(starts.closing, 1.0), dt=1e-5, steps=steps, settle=SETTLE, rank=starts.rank,
    )  # fmt: skip


def test_every_limb_of_the_sheet_is_there(built: tuple[Any, Model]) -> None:
    """Arms first, then antennas, leads and soft mounts; mass and balance are those of the build."""
    quad, model = built
    names = [quad.parts[i].name for i in model.limbs]
    assert names[:4] == ["arm_fl", "arm_fr", "arm_rl", "arm_rr"]
    assert set(names[4:]) == {"camera", "stub", "whip", "main", "balance", "eye"}
    craft = model.craft
    mass = craft.core_mass + craft.tip_mass.sum()
    assert mass == pytest.approx(quad.mass, rel=1e-12)
    cog = craft.tip_mass @ craft.tip / mass + model.origin
    np.testing.assert_allclose(cog, quad.mass_properties.cog, atol=1e-12)
    lens = [p for p in range(len(craft.radius)) if quad.parts[model.parts[p]].kind == "lens"]
    assert craft.limb[lens[0]] == names.index("camera")


def test_a_hung_plug_swings_and_a_held_loop_sags(built: tuple[Any, Model]) -> None:
    """A lead whose plug hangs free moves at its end, one that is held moves in its middle."""
    quad, _ = built
    limbs = {quad.parts[m.parts[0]].name: m for m in limbs_of(quad)}
    plug = quad.part("balance_plug").mass
    assert limbs["balance"].mass == pytest.approx(quad.part("balance").mass / 3.0 + plug)
    np.testing.assert_allclose(limbs["balance"].place, np.array([-60, -14, 50]) * 1e-3, atol=1e-12)
    phi, rest = limbs["main"].share(np.array([[-30, 10, 14], limbs["main"].place * 1e3]) * 1e-3)
    np.testing.assert_allclose(phi, [0.0, 1.0], atol=1e-12)
    np.testing.assert_allclose(rest, [1.0, 0.0], atol=1e-12)
    assert limbs["balance"].use[0] == pytest.approx(1.0 / 90.0)
    assert limbs["main"].use[0] == pytest.approx(1.0 / 60.0)


def test_every_limb_can_fail_and_says_why(built: tuple[Any, Model]) -> None:
    """Each limb has a mode of its own, with its source and as an assumption."""
    quad, model = built
    modes = {c.part: c for c in capacities(quad) if c.load == "limb"}
    assert set(modes) == set(model.limbs[4:].tolist())
    assert all(m.access == "assumption" and m.source for m in modes.values())
    told = {quad.parts[i].name: m.mode for i, m in modes.items()}
    assert told["whip"] == "bent over or pulled out"
    assert told["stub"] == "broken at its root"
    assert told["main"] == "snagged and torn off"
    assert told["camera"] == "torn from its mount"


def test_a_softer_mount_spares_the_camera() -> None:
    """The softer the mount, the less its screws bear, and the further the camera moves."""
    loads, travels = [], []
    for mount in ("k = 400", "k = 40", "k = 4"):
        quad = quad_of(mount)
        model = model_of(quad)
        starts = sample(Scenario.default(), model.craft, 5, np.arange(64))
        got = crashed(model, starts)
        at = [quad.parts[i].name for i in model.limbs].index("camera")
        loads.append(float(np.median(got.limb[at, 0])))
        travels.append(float(np.median(got.limb[at, 1])))
    assert loads[0] > 1.1 * loads[1]
    assert loads[1] > 1.1 * loads[2]
    assert travels[0] < 0.7 * travels[1] < 0.5 * travels[2]


def test_the_account_closes_with_every_limb(built: tuple[Any, Model]) -> None:
    """Energy is accounted for to 1 % in every crash of the mix that is not flagged, and few are."""
    _, model = built
    starts = sample(Scenario.default(), model.craft, 8, np.arange(96))
    got = crashed(model, starts, 1500)
    audit = np.abs(got.scalars[3])
    assert np.isfinite(got.limb).all()
    assert (audit < 0.01).mean() > 0.95
    assert audit[(got.flags & 1) == 0].max() < 0.05
    assert (got.limb[:4, 0] > 0.0).all()


def test_a_lead_is_loaded_only_once_it_is_dragged() -> None:
    """The pull of a lead counts after it went along the obstacle for its snag travel under enough force."""
    used = []
    for snag in (5e-3, 10.0):
        limb = scenes.tip(
            0.01, (100.0,) * 3, place=(0.0, 0.0, 0.0), quality=1.0, snag=snag, use=np.full(3, 0.1)
        )
        craft = scenes.limbed(0.5, limb, on_limb=True)
        got = run(craft, single_bed(1e5, 1e30, mu=0.3), scenes.start((20.0, 0.0, -15.0)), dt=1e-6, steps=4000)
        used.append(float(got.limb[0, 0, 0]))
        assert got.peak[0, 0] > 20.0
    assert used[0] > 0.0
    assert used[1] == 0.0


def test_a_light_tip_asks_for_a_finer_step() -> None:
    """A build whose quickest limb cannot take the step is run at a whole part of it, never clamped."""
    _, model = quad_of(), model_of(quad_of())
    stiff = model._replace(step=0.4e-5)
    assert step_of(model, 1e-5) == 1e-5
    assert step_of(stiff, 1e-5) == pytest.approx(1e-5 / 3.0)
    craft = model.craft
    quickest = math.sqrt(float((craft.stiffness * craft.lightness[:, None]).max()))
    assert model.step * quickest <= 2.0 * STEP_LIMIT


@pytest.mark.parametrize("wrong", ["stiffness", "inertia", "tautness"])
def test_a_wrong_constant_is_noticed(monkeypatch: pytest.MonkeyPatch, wrong: str) -> None:
    """2 % too stiff a limb, too heavy a bell, 5 % too tight a loop: the checks that speak of them fail."""
    right = scenes.tip

    def bent(*args: Any, **more: Any) -> Any:
        limb = right(*args, **more)
        if wrong == "stiffness":
            return limb._replace(stiffness=1.02 * limb.stiffness)
        if wrong == "tautness":
            return limb._replace(tautness=1.05 * limb.tautness)
        return limb._replace(twist=limb.twist and limb.twist._replace(inertia=1.02 * limb.twist.inertia))

    monkeypatch.setattr(scenes, "tip", bent)
    caches = (scenes.thrown_back, scenes.half_sine, scenes.twisting, scenes.rim_blow)
    for cached in caches:
        cached.cache_clear()
    ids = {
        "stiffness": ("L1.force", "L1.travel", "L2.force"),
        "inertia": ("L4.period", "L4.torque", "L5.rim", "L5.rate"),
        "tautness": ("L2.travel", "L2.force"),
    }[wrong]
    outcome = {c.id: run_check(c).passed for c in CHECKS if c.id.removeprefix("impact.") in ids}
    for cached in caches:
        cached.cache_clear()
    assert len(outcome) == len(ids)
    assert not any(outcome.values())


def test_softer_arm_roots_leave_other_limbs_alone() -> None:
    """The uncertain roots of the arms change all springs of the arms, and no antenna, lead or mount."""
    case = case_of(quad_of())
    root = next(p for p in parameters({}, case) if p.key == "arm_root")
    before, after = case.model.craft, root.at(case, "low").model.craft
    share = after.stiffness / before.stiffness
    assert (share[:4] < 0.7).all()
    assert (share[4:] == 1.0).all()
    assert (after.twist_stiffness < 0.7 * before.twist_stiffness).all()
    np.testing.assert_allclose((after.damping / before.damping)[:4], np.sqrt(share[:4]))


@pytest.mark.parametrize("sort", LIMBS, ids=lambda s: s.key)
def test_uncertain_limbs_move_alone_and_to_the_ends_of_their_rows(sort: LimbSort) -> None:
    """Springs of one sort move by low and high over value of their row, damping and sway with them."""
    case = case_of(quad_of())
    before = case.model.craft
    own = [
        i >= 4 and case.quad.parts[int(part)].kind in sort.kinds for i, part in enumerate(case.model.limbs)
    ]
    assert any(own)
    row = {
        "antenna": datum("part_antenna", "root_stiffness"),
        "lead": datum("part_lead", "loop_stiffness"),
        "mount": datum("tpu", "mount_stiffness"),
    }[sort.key]
    for side, end in (("low", row.low), ("high", row.high)):
        moved = softened(sort)(case, side)  # type: ignore[arg-type] # the two sides
        after = moved.model.craft
        share = after.stiffness / before.stiffness
        assert (share[np.logical_not(own)] == 1.0).all()
        stubs = np.flatnonzero(own)[before.use[own, 0] == after.use[own, 0]]
        assert len(stubs)
        # The second mount's stiffness stands in the sheet, so less of it is open.
        wanted = np.full(len(stubs), end / row.value)
        if sort.key == "mount":
            wanted[1] = 1.3 if side == "high" else 1 / 1.3
        np.testing.assert_allclose(share[stubs, 0], wanted)
        np.testing.assert_allclose(after.damping, before.damping * np.sqrt(share))
        np.testing.assert_allclose(after.sway[:, 0], np.sqrt(after.tip_mass / after.stiffness.min(axis=1)))
        assert moved.capacities == case.capacities
        assert moved.dt <= moved.model.step


def test_a_whip_is_judged_by_travel_whatever_its_stiffness() -> None:
    """A stiffer whip breaks at the same travel: utilisation per force goes down as its stiffness goes up."""
    case = case_of(quad_of())
    moved = softened(LIMBS[0])(case, "high")
    before, after = case.model.craft, moved.model.craft
    whips = np.flatnonzero((before.use != after.use).any(axis=1))
    assert len(whips)
    np.testing.assert_allclose(
        (before.use * before.stiffness)[whips, :2], (after.use * after.stiffness)[whips, :2]
    )


@pytest.mark.parametrize("sort", LIMBS, ids=lambda s: s.key)
def test_root_strengths_move_only_what_tears_at_a_root(sort: LimbSort) -> None:
    """Medians of the root modes move to the ends of their rows; crushed leads and cracked cameras do not."""
    case = case_of(quad_of())
    weak, strong = (root_strength(sort)(case, side) for side in ("low", "high"))  # type: ignore[arg-type]
    touched = 0
    for c, low, high in zip(case.capacities, weak.capacities, strong.capacities, strict=True):
        if c.load == "limb" and case.quad.parts[c.part].kind in sort.kinds:
            assert low.median < c.median < high.median
            touched += 1
        else:
            assert low == c == high
    assert touched
    assert weak.digest == case.digest


def test_a_spring_too_quick_for_the_step_makes_the_step_finer() -> None:
    """Stiffer springs are never clamped: the case takes a whole part of the step, and is told."""
    case = case_of(quad_of())
    springs = np.full_like(case.model.craft.stiffness, 16.0)
    moved = stiffened(case, springs, twist=np.full(4, 16.0))
    assert moved.model.step == pytest.approx(case.model.step / 4.0, rel=0.3)
    assert moved.dt <= moved.model.step
    assert (case.dt / moved.dt) == pytest.approx(round(case.dt / moved.dt))


def test_limbs_out_of_order_are_refused() -> None:
    """What twists comes first; the kernel counts on it."""
    plain = scenes.tip(0.01, (1e3,) * 3)
    arm = plain._replace(twist=Twist(1e-6, 10.0, 0.0), length=0.1)
    with pytest.raises(CrashworthyError, match="order"):
        make_craft(
            core_mass=1.0, inertia=np.eye(3), position=np.zeros((1, 3)), area=np.ones(1),
            normal=np.zeros((1, 3)), part=np.zeros(1, dtype=np.int32), depth_limit=np.ones(1),
            limbs=[plain, arm],
        )  # fmt: skip


def test_a_mount_of_unknown_stiffness_is_refused() -> None:
    """A mount of a material without a tabled stiffness needs its own."""
    with pytest.raises(CrashworthyError, match="mount"):
        quad_of('material = "steel"')
    assert quad_of('material = "steel", k = 100').name == "Limbs"
