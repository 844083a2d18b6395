"""The quad that a sheet becomes: mass, symmetry, arms, joints, notes."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.build.assemble import assemble, load, parse
from crashworthy.build.mass import solid
from crashworthy.build.models import closed
from crashworthy.build.quad import CORE, KINDS, Quad
from crashworthy.build.starter import starter
from crashworthy.errors import NotFoundError
from crashworthy.materials import table

EXAMPLES = Path(__file__).parents[2] / "examples"
HEAD = 'schema = 1\nname = "Tern"\narms = { wheelbase = 226 }\n'


@pytest.fixture(scope="module")
def gannet() -> Quad:
    """The example cut from drawings."""
    return load(EXAMPLES / "gannet.toml")


@pytest.fixture(scope="module")
def dunlin() -> Quad:
    """The light example."""
    return load(EXAMPLES / "dunlin.toml")


def test_the_examples_say_that_they_are_invented() -> None:
    """Nobody can take an example's numbers for a real build's."""
    for path in EXAMPLES.glob("*.toml"):
        assert "invented" in path.read_text(encoding="utf-8").split("\n", 1)[0]


def test_gannet_weighs_what_the_scales_say(gannet: Quad) -> None:
    """The described parts add up to the weighed mass, balanced over the motors."""
    assert gannet.mass == pytest.approx(0.700, abs=0.003)
    assert gannet.missing == pytest.approx(0.0, abs=0.003)
    assert np.hypot(*gannet.mass_properties.cog[:2]) < 5e-3
    assert gannet.notes == ()
    assert gannet.mass == pytest.approx(sum(p.mass for p in gannet.parts), rel=1e-12)


def test_dunlin_is_lighter_and_more_exposed(gannet: Quad, dunlin: Quad) -> None:
    """Dunlin weighs less; its lens sticks out and its antenna reaches beyond the frame."""
    assert dunlin.mass < 0.75 * gannet.mass
    assert dunlin.part("lens").measures["recess"] < 0 < gannet.part("lens").measures["recess"]
    assert dunlin.part("video").vertices[:, 0].min() < dunlin.part("top").vertices[:, 0].min() - 0.03


@pytest.mark.parametrize("name", ["gannet", "dunlin"])
def test_every_part_is_a_closed_solid_with_words(name: str) -> None:
    """All meshes are watertight and outward, all parts have mass, label, kind and a known material."""
    quad = load(EXAMPLES / f"{name}.toml")
    assert len({p.name for p in quad.parts}) == len(quad.parts)
    for part in quad.parts:
        assert part.kind in KINDS
        assert part.label
        assert part.mass > 0
        assert table.value(part.material, "density") > 0
        assert part.joint == "" or quad.joint(part.joint)
        if part.kind != "loose":
            assert closed(part.faces), part.name
            assert solid(part.vertices, part.faces).volume > 0, part.name
            assert np.linalg.eigvalsh(part.inertia).min() > 0
        with pytest.raises(ValueError, match="read-only"):
            part.vertices[...] = 0.0
    with pytest.raises(NotFoundError):
        quad.part("nothing")


def test_nothing_in_the_quad_can_be_written_to(gannet: Quad) -> None:
    """All arrays are read-only."""
    arrays = [gannet.mass_properties.cog, gannet.mass_properties.inertia]
    arrays += [getattr(gannet.points, n) for n in ("position", "area", "normal", "part", "arm", "station")]
    arrays += [getattr(a, n) for a in gannet.arms for n in ("root", "tip", "axis")]
    arrays += [j.positions for j in gannet.joints]
    arrays += [getattr(p, n) for p in gannet.parts for n in ("centre", "inertia", "vertices", "faces")]
    assert not any(a.flags.writeable for a in arrays)


def test_arms_run_from_the_clamp_to_the_motor(gannet: Quad) -> None:
    """Root at the smaller plate's edge on the centre line, tip at the motor axis, carried mass at the tip."""
    for i, arm in enumerate(gannet.arms):
        assert arm.corner == i
        assert arm.tip - arm.root == pytest.approx(arm.axis * arm.length, abs=1e-12)
        assert np.linalg.norm(arm.tip[:2]) == pytest.approx(0.113, rel=1e-12)
        assert arm.root[2] == arm.tip[2] == pytest.approx(0.0025)
        # The 64 x 56 mm clamp plate with r 8 corners: on the diagonal its edge is at y = 28 - 8 + ...
        x = 24 - 4 + np.sqrt((8**2 - 4**2 / 2) / 2)
        assert np.abs(arm.root[:2]) == pytest.approx([x * 1e-3 + 0.0021] * 2, abs=1.5e-3)
        assert np.sign(arm.tip[0]) == (1, 1, -1, -1)[i]
        assert np.sign(arm.tip[1]) == (1, -1, 1, -1)[i]
        motor, prop = gannet.parts[arm.motor], gannet.parts[arm.prop]
        assert (motor.kind, prop.kind) == ("motor", "prop")
        carried = sum(p.mass for p in gannet.parts if p.arm == i and p.kind != "arm")
        assert arm.carried == pytest.approx(carried, rel=1e-12)
        assert motor.mass + prop.mass < arm.carried < motor.mass + prop.mass + 0.004
        assert motor.centre[:2] == pytest.approx(arm.tip[:2], abs=1e-6)
        assert arm.width_tip < arm.width_root < 0.017


def test_a_clamp_given_by_hand_wins() -> None:
    """arms.clamp sets the root; without plates the assumption is told."""
    quad = assemble(parse(HEAD.replace("226", "226, clamp = 40")))
    assert np.linalg.norm(quad.arms[0].root[:2]) == pytest.approx(0.040)
    bare = assemble(parse(HEAD))
    assert any("assumed" in note for note in bare.notes)
    assert np.linalg.norm(bare.arms[0].root[:2]) == pytest.approx(0.040)


def test_joint_groups_know_their_screws(gannet: Quad) -> None:
    """Counts, interval class, places and joined parts follow from the geometry."""
    counts = {j.name: j.count for j in gannet.joints}
    assert counts == {"arm": 8, "motor": 16, "standoff": 16, "stack": 4, "camera": 2}
    assert {j.name: j.upkeep for j in gannet.joints}["arm"] == "arm"
    assert {j.name: j.upkeep for j in gannet.joints}["motor"] == "motor"
    assert {j.name: j.upkeep for j in gannet.joints}["stack"] == "other"
    motor = gannet.joint("motor")
    away = [min(np.linalg.norm(p[:2] - a.tip[:2]) for a in gannet.arms) for p in motor.positions]
    assert away == pytest.approx([0.008] * 16, abs=1e-9)
    arm = gannet.joint("arm")
    assert all(0.022 < np.linalg.norm(p[:2]) < np.linalg.norm(gannet.arms[0].root[:2]) for p in arm.positions)
    assert set(arm.joins) == {"arm_fl", "arm_fr", "arm_rl", "arm_rr", "bottom", "clamp"}
    for joint in gannet.joints:
        assert all(gannet.part(name) for name in joint.joins)


def test_the_sheet_decides_what_the_geometry_cannot() -> None:
    """Groups with places, joins and a class of their own; a group named like a row of standoffs."""
    text = HEAD + (
        "[standoffs]\na = { at = [[30, 10]], z = 5, h = 20 }\nb = { at = [[-30, 0]], z = 5, h = 20 }\n"
        '[screws]\na = { thread = "M3", length = 6, upkeep = "arm" }\n'
        'lid = { thread = "M2", length = 4, at = [[1, 2, 3], [4, 5, 6]], joins = ["b"] }\n'
    )
    quad = assemble(parse(text))
    assert (quad.joint("a").count, quad.joint("a").upkeep) == (4, "arm")
    assert quad.joint("lid").positions == pytest.approx(np.array([[1, 2, 3], [4, 5, 6]]) * 1e-3)
    assert quad.part("b").joint == "lid"
    assert quad.part("a_l").joint == "a"


SYMMETRIC = """schema = 1
name = "Mirror"
arms = {{ wheelbase = {wheelbase}, angle = {angle}, t = {t} }}
[motors]
spin = "{spin}"
[plates]
bottom = {{ rect = [120, {width}], t = 2, z = -2 }}
cheek = {{ side = [[40, 2], [70, 2], [70, 30]], y = 12, t = 2 }}
[standoffs]
post = {{ at = [[50, 15], [-50, 12], [-60, 0]], z = 0, h = 30 }}
[stack]
z = 8
boards = [{{ name = "fc", size = [36, 36, 6], mass = 9 }}]
[camera]
at = {{ edge_x = 70, recess = 2, z = 22, tilt = {tilt} }}
[antennas]
video = {{ at = [-60, 0, 34], dir = [-1, 0, 1], length = 60, head_d = 12 }}
[battery]
size = [70, 35, 30]
mass = 200
at = [{x}, 0, 34]
shield = ["front", "top"]
strap = {{ width = 16, mass = 5 }}
[screws]
arm = {{ thread = "M3", length = 10 }}
motor = {{ thread = "M3", length = 8 }}
standoff = {{ thread = "M3", length = 8 }}
stack = {{ thread = "M3", length = 20 }}
camera = {{ thread = "M2", length = 5 }}
"""


@settings(max_examples=15, deadline=None)
@given(
    wheelbase=st.integers(190, 260),
    angle=st.integers(80, 110),
    t=st.integers(3, 7),
    width=st.integers(36, 50),
    tilt=st.integers(0, 50),
    x=st.integers(-20, 20),
    spin=st.sampled_from(["in", "out"]),
)
def test_a_symmetric_build_has_no_products_of_inertia_across(**values: object) -> None:
    """Left and right mirror each other: CoG on the middle plane, Ixy = Iyz = 0, equal arms and props."""
    quad = assemble(parse(SYMMETRIC.format(**values)))
    scale = float(np.trace(quad.mass_properties.inertia))
    assert abs(quad.mass_properties.cog[1]) < 1e-9
    assert abs(quad.mass_properties.inertia[0, 1]) < 1e-9 * scale
    assert abs(quad.mass_properties.inertia[1, 2]) < 1e-9 * scale
    for kind in ("arm", "motor", "prop"):
        left, right = quad.part(f"{kind}_fl"), quad.part(f"{kind}_fr")
        assert right.centre == pytest.approx(left.centre * [1, -1, 1], abs=1e-12)
        mirror = np.diag([1.0, -1.0, 1.0])
        assert right.inertia == pytest.approx(mirror @ left.inertia @ mirror, abs=1e-9 * left.inertia.max())
        assert solid(right.vertices, right.faces).volume > 0


@pytest.mark.parametrize(("spin", "front_left"), [("in", -1.0), ("out", 1.0)])
def test_props_turn_as_the_sheet_says(spin: str, front_left: float) -> None:
    """Diagonal props turn alike; the higher edge of a blade leads."""
    quad = assemble(parse(HEAD + f'[motors]\nspin = "{spin}"\n'))
    turns = [quad.part(f"prop_{c}").measures["spin"] for c in ("fl", "fr", "rl", "rr")]
    assert turns == [front_left, -front_left, -front_left, front_left]
    for i, corner in enumerate(("fl", "fr", "rl", "rr")):
        part = quad.part(f"prop_{corner}")
        local = part.vertices - [*quad.arms[i].tip[:2], part.measures["rotor_plane"]]
        out = quad.arms[i].axis
        # On the blade that points outwards: height against the direction of turning.
        radius = local @ out
        ahead = (np.cross([0.0, 0.0, turns[i]], out) * local).sum(axis=1)
        blade = (radius > 0.02) & (np.abs(ahead) < 0.01)
        assert np.corrcoef(ahead[blade], local[blade, 2])[0, 1] > 0.8


def test_the_disc_is_the_space_that_turning_props_sweep() -> None:
    """A disc has the prop's diameter and mass, centred on the motor."""
    quad = assemble(parse(HEAD + '[props]\nshape = "disc"\nd = 127\n'))
    part = quad.part("prop_fl")
    assert np.ptp(part.vertices[:, 0]) == pytest.approx(0.127, rel=0.01)
    assert part.mass == pytest.approx(0.0042)


def test_the_battery_hangs_or_stands() -> None:
    """Shields are named by where they end up; a hanging pack lies below its face."""
    row = "[battery]\nsize = [70, 35, 30]\nmass = 200\nat = [0, 0, {z}]\nshield = ['bottom', 'left']\n"
    up = assemble(parse(HEAD + row.format(z=40)))
    down = assemble(parse(HEAD + row.format(z=-5) + "under = true\n"))
    assert up.part("battery").vertices[:, 2].min() == pytest.approx(0.042)
    assert down.part("battery").vertices[:, 2].max() == pytest.approx(-0.005)
    for quad in (up, down):
        pack = quad.part("battery")
        assert quad.part("shield_bottom").centre[2] < pack.vertices[:, 2].min()
        assert quad.part("shield_left").centre[1] > pack.vertices[:, 1].max()
    assert up.part("shield_left").measures["thickness"] == pytest.approx(0.002)


def test_notes_tell_what_a_pilot_should_know() -> None:
    """Missing mass, overlap and an offset centre of gravity are told with numbers; worst first."""
    text = (
        HEAD.replace("arms", "weighed = 600\narms")
        + "[boxes]\na = { size = [20, 20, 20], at = [90, 0, 40], mass = 100 }\n"
        + "b = { size = [20, 20, 20], at = [105, 0, 40], mass = 100 }\n"
    )
    notes = assemble(parse(text)).notes
    assert "missing" in notes[0]
    assert "600 g" in notes[0]
    assert any("A and b overlap by 2000 mm³" in n for n in notes)
    assert any("ahead of" in n for n in notes)
    assert any("nothing can come due" in n for n in notes)


def test_mass_in_the_row_overrides_density() -> None:
    """A weighed plate keeps its weight; an unweighed one takes volume times density."""
    text = HEAD + "[plates]\na = { rect = [100, 50], corner = 0, t = 2, z = 20 }\n"
    assert assemble(parse(text)).part("a").mass == pytest.approx(100 * 50 * 2e-9 * 1550, rel=1e-9)
    weighed = assemble(parse(text.replace("z = 20", "z = 20, mass = 33")))
    assert weighed.part("a").mass == pytest.approx(0.033, rel=1e-12)


def test_loose_mass_sits_at_the_stack(dunlin: Quad) -> None:
    """Shapeless masses count at the stack's middle and have no inertia of their own."""
    part = dunlin.part("wiring")
    assert part.centre == pytest.approx([0, 0, 0.0125])
    assert len(part.vertices) == 0
    assert not part.inertia.any()
    assert part.arm == CORE


def test_loading_is_quick_and_the_model_is_light() -> None:
    """A warm load takes less than half a second; the model alone needs neither pydantic nor trimesh."""
    load(EXAMPLES / "gannet.toml")
    best = 1e9
    for _ in range(3):
        start = time.process_time()  # not the wall clock: other work on the machine is not ours
        load(EXAMPLES / "gannet.toml")
        best = min(best, time.process_time() - start)
    assert best < 0.5
    heavy = "[m for m in ('pydantic', 'trimesh', 'shapely', 'scipy', 'ezdxf') if m in sys.modules]"
    code = f"import sys, crashworthy.build.quad; print({heavy})"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"


def test_the_starter_is_a_sound_quad() -> None:
    """A new sheet loads, nothing overlaps, and its standoffs reach from plate to plate."""
    quad = assemble(parse(starter("Wren")))
    assert not any("overlap" in note for note in quad.notes)
    assert {"bottom", "top"} <= set(quad.joint("standoff").joins)
