"""Printed parts and advice keep their promises; first touches agree with a collision library."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest

from crashworthy.build.solids import frame_to
from crashworthy.errors import SheetError
from crashworthy.placement.advice import place
from crashworthy.placement.cradle import camera_cradle
from crashworthy.placement.hits import Approaches, Obstacle, hit_shares, line_touch
from crashworthy.placement.mounts import antenna_mount, lead_guard
from crashworthy.placement.moves import apply_move, tried
from crashworthy.placement.printed import export, with_printed
from crashworthy.placement.skin import Skin, shapes_of


@pytest.mark.parametrize("name", ["gannet", "dunlin"])
def test_every_tilt_prints_or_says_why(request, name):
    """For every tilt from 0 to 60 the cradle passes all gates, or is refused with a reason and a remedy."""
    quad = request.getfixturevalue(name)
    made, refused = 0, []
    for tilt in range(61):
        try:
            part = camera_cradle(quad, tilt=float(tilt))
        except SheetError as refusal:
            refused += [p.what and p.remedy for p in refusal.problems]
            continue
        made += 1
        assert all(g.passed for g in part.gates)
    assert made >= 30
    assert all(refused)


def test_files_come_back_watertight_and_of_the_same_volume(gannet):
    """STL and 3MF read back by a general library are closed and hold the part's volume."""
    import trimesh

    part = camera_cradle(gannet)
    volume = part.mass / 1210 * 1e9
    for kind in ("stl", "3mf"):
        back = trimesh.load(io.BytesIO(export(part, kind)), file_type=kind, force="mesh")
        back.merge_vertices()
        assert back.is_watertight
        assert back.volume == pytest.approx(volume, rel=1e-3)
        assert back.bounds[0][2] == pytest.approx(0.0, abs=1e-3)


def test_what_cannot_be_printed_is_refused(gannet):
    """An antenna or lead that is not there, or another kind of file, is refused in words."""
    with pytest.raises(SheetError, match="needs an antenna"):
        antenna_mount(gannet, "nothing")
    with pytest.raises(SheetError, match="no such lead"):
        lead_guard(gannet, "nothing")
    with pytest.raises(SheetError, match=r"\.stl or \.3mf"):
        export(lead_guard(gannet), "step")


def test_a_printed_part_goes_back_into_the_build(gannet):
    """The build with its cradle is heavier by the cradle and has contact points and a digest of its own."""
    part = camera_cradle(gannet)
    built = with_printed(gannet, part)
    assert built.mass == pytest.approx(gannet.mass + part.mass, rel=1e-9)
    assert built.digest != gannet.digest
    assert built.part("camera_cradle").kind == "model"


def test_advice_moves_what_is_exposed(gannet):
    """Every move advised lowers the exposure it is for, and the sheet takes it."""
    found = place(gannet, {"antenna": 6.0, "box": 25.0}, {"antenna": 6.0, "box": 6.0}, directions=60)
    assert found.moves
    for move in found.moves:
        assert move.after < 0.9 * move.before
        assert apply_move(gannet.sheet, move) != gannet.sheet
        moved = tried(gannet, move)
        assert [p.joint for p in moved.parts] == [p.joint for p in gannet.parts]
        assert moved.sheet != gannet.sheet
        assert re.search(r"touched \d+ % less", move.summary())
    data = found.to_json()
    assert data["pack"]["caution"]
    assert len(data["exposures"]) == len(found.exposures)


def test_few_directions_say_nearly_the_same(dunlin):
    """The overview's few directions differ from 2000 by less than 0.01 in every share."""
    from crashworthy.placement.advice import PLACE_DIRECTIONS
    from crashworthy.placement.skin import skin_of

    skin = skin_of(dunlin)
    spike = Obstacle("spike", "spike")
    few, many = (hit_shares(skin, spike, Approaches.uniform(n)) for n in (PLACE_DIRECTIONS, 2000))
    assert np.abs(few.shares - many.shares).max() < 0.01


def _pushes(kind: str, n: int, seed: int, low: np.ndarray, high: np.ndarray):
    rng = np.random.default_rng(seed)
    middle, reach = (low + high) / 2, float(np.linalg.norm(high - low)) / 2
    for _ in range(n):
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        frame = frame_to(way)
        radius = float(rng.uniform(0.004, 0.05))
        yield middle + frame[:, :2] @ rng.uniform(-0.8 * reach, 0.8 * reach, 2), way, radius, kind


def _first_by_fcl(fcl, objects, start, way, radius, axis):
    """First part a ball or pole touches when pushed from outside along a line: conservative advancement."""
    shape = fcl.Sphere(radius) if axis is None else fcl.Cylinder(radius, 4.0)
    turn = np.eye(3) if axis is None else frame_to(axis)
    travel, far = 0.0, 1.2
    while travel < far:
        mover = fcl.CollisionObject(shape, fcl.Transform(turn, start + way * (0.6 - travel)))
        gaps = [fcl.distance(o, mover, fcl.DistanceRequest(), fcl.DistanceResult()) for _, o in objects]
        nearest = int(np.argmin(gaps))
        if gaps[nearest] < 5e-6:
            order = np.sort(gaps)
            return objects[nearest][0], order[1] - order[0] if len(order) > 1 else 1.0
        travel += max(gaps[nearest], 5e-6)
    return None, 1.0


@pytest.mark.slow
def test_first_touches_agree_with_a_collision_library(dunlin):
    """For 200 random pushes of balls and poles the part touched equals the collision library's in 98 %."""
    import fcl

    shapes = shapes_of(dunlin, "blades", without=("screw",))
    skin = Skin.of(shapes)
    objects = []
    for name, mesh in shapes:
        model = fcl.BVHModel()
        model.beginModel(len(mesh.vertices), len(mesh.faces))
        model.addSubModel(mesh.vertices, mesh.faces)
        model.endModel()
        objects.append((name, fcl.CollisionObject(model, fcl.Transform())))
    points = skin.corners.reshape(-1, 3)
    same = asked = 0
    for kind in ("ball", "pole"):
        for start, way, radius, _ in _pushes(kind, 400, 7, points.min(axis=0), points.max(axis=0)):
            axis = frame_to(way)[:, 0] if kind == "pole" else None
            theirs, gap = _first_by_fcl(fcl, objects, start, way, radius, axis)
            if theirs is None:
                continue
            ours = line_touch(skin, start, way, radius, axis)
            asked += 1
            same += ours == theirs or gap < 1e-4
            if asked % 100 == 0:
                break
    assert asked == 200
    assert same >= 0.98 * asked
