"""Contact points stand for the skin that can be touched."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.build.assemble import load
from crashworthy.build.drafts import Draft
from crashworthy.build.points import contact_points, fibonacci
from crashworthy.build.quad import CORE, Part, Quad
from crashworthy.build.solids import Mesh, box, lathe

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module", params=["gannet", "dunlin"])
def quad(request: pytest.FixtureRequest) -> Quad:
    """Both examples in turn."""
    return load(EXAMPLES / f"{request.param}.toml")


def part(name: str, mesh: Mesh, kind: str = "box") -> Part:
    """A part of a given shape."""
    return Draft(name, name, kind, "pc", "", mesh, 0.01).finish()


def test_points_are_sorted_and_outward(quad: Quad) -> None:
    """About 1200 points, ascending by part, with outward normals no longer than one and positive areas."""
    points = quad.points
    assert 1100 <= len(points) <= 1300
    assert (np.diff(points.part) >= 0).all()
    length = np.linalg.norm(points.normal, axis=1)
    assert ((length > 0.3 - 1e-9) & (length < 1.0 + 1e-9)).all()
    assert np.median(length) > 0.9
    assert (points.area > 0).all()
    assert ((points.station >= 0) & (points.station <= 1)).all()


def test_small_exposed_parts_are_not_forgotten(quad: Quad) -> None:
    """Lens, antennas, plugs, leads, motors, props, arms and pack each have points of their own."""
    count = np.bincount(quad.points.part, minlength=len(quad.parts))
    for i, p in enumerate(quad.parts):
        if p.kind in ("lens", "camera", "antenna", "plug", "lead", "motor", "prop", "arm", "battery"):
            assert count[i] >= 3, p.name


def test_what_a_wall_meets_first_is_a_point(quad: Quad) -> None:
    """In every direction the leading point is within 1.5 mm of the leading corner of the quad."""
    directions = fibonacci(400)
    corners = np.concatenate([p.vertices for p in quad.parts])
    lead = (corners @ directions.T).max(axis=0)
    got = (quad.points.position @ directions.T).max(axis=0)
    assert (lead - got).max() < 4e-3
    assert np.quantile(lead - got, 0.9) < 1.5e-3


def test_arms_know_where_along_them_a_point_lies(quad: Quad) -> None:
    """Station runs from 0 at the clamp to 1 at the motor; motors and props are at 1, the core at 0."""
    points = quad.points
    for i in range(len(points)):
        p = quad.parts[points.part[i]]
        assert points.arm[i] == p.arm
        if p.arm == CORE:
            assert points.station[i] == 0.0
        elif p.kind == "arm":
            arm = quad.arms[p.arm]
            along = (points.position[i] - arm.root) @ arm.axis / arm.length
            assert points.station[i] == pytest.approx(np.clip(along, 0, 1), abs=1e-12)
        else:
            assert points.station[i] == 1.0


def test_finer_points_stand_for_the_same_skin(quad: Quad) -> None:
    """From 1200 to 4800 points every part keeps its exposed skin, and the same call gives the same points."""
    fine = contact_points(quad.parts, quad.arms, 4800)
    again = contact_points(quad.parts, quad.arms, 4800)
    assert len(fine) > 3 * len(quad.points)
    for name in ("position", "area", "normal", "part", "arm", "station"):
        assert getattr(fine, name).tobytes() == getattr(again, name).tobytes()
    n = len(quad.parts)
    coarse_skin = np.bincount(quad.points.part, quad.points.area, n)
    fine_skin = np.bincount(fine.part, fine.area, n)
    assert fine_skin == pytest.approx(coarse_skin, rel=1e-9)


def test_skin_that_nothing_can_reach_has_no_points() -> None:
    """A box in a tight case is out of reach; so is the gap between two plates 8 mm apart."""
    inner = part("inner", box((0.02, 0.02, 0.02)))
    places = [s * 0.02 * np.eye(3)[k] for k in range(3) for s in (1, -1)]
    walls = [
        part(f"w{i}", box(np.where(np.arange(3) == i // 2, 0.004, 0.044), place))
        for i, place in enumerate(places)
    ]
    points = contact_points((inner, *walls), ())
    assert set(points.part) == {1, 2, 3, 4, 5, 6}
    # Two slabs 8 mm apart: a 10 mm ball cannot get between them.
    slabs = (
        part("a", box((0.1, 0.1, 0.004), (0, 0, 0.006))),
        part("b", box((0.1, 0.1, 0.004), (0, 0, -0.006))),
    )
    points = contact_points(slabs, (), 200)
    inside = (np.abs(points.position[:, 2]) < 0.0041) & (np.abs(points.position[:, :2]).max(axis=1) < 0.045)
    assert not inside.any()
    assert points.area.sum() == pytest.approx(2 * 0.01 + 8 * 0.1 * 0.004, rel=0.1)


@settings(max_examples=20, deadline=None)
@given(
    size=st.tuples(*[st.floats(0.005, 0.1)] * 3),
    count=st.integers(30, 300),
    turns=st.integers(3, 24),
)
def test_a_lone_convex_body_is_all_skin(size: tuple[float, float, float], count: int, turns: int) -> None:
    """All of a lone box or prism is exposed, patches reach its corners, areas add up to its surface."""
    body = part("a", box(size))
    points = contact_points((body,), (), count)
    a, b, c = size
    assert points.area.sum() == pytest.approx(2 * (a * b + b * c + c * a), rel=1e-9)
    # The nearest slice of any patch, seen from each corner and from each face.
    ways = np.concatenate(
        [np.sign(body.vertices - body.vertices.mean(axis=0)) / 3**0.5, np.eye(3), -np.eye(3)]
    )
    square = 3.0 * points.spread[:, [0, 3, 4, 3, 1, 5, 4, 5, 2]].reshape(-1, 3, 3)
    half = np.sqrt(np.maximum(np.einsum("ki,nij,kj->nk", ways, square, ways), 0.0))
    lack = (body.vertices @ ways.T).max(axis=0) - (points.position @ ways.T + half).max(axis=0)
    patch = math.sqrt(points.area.sum() / len(points))
    assert lack.max() < 0.2 * patch
    assert lack.min() > -0.5 * patch
    prism = part("p", lathe([(size[0] / 2, 0.0), (size[0] / 2, size[2])], turns))
    points = contact_points((prism,), (), count)
    edges = prism.vertices[prism.faces]
    skin = np.linalg.norm(np.cross(edges[:, 1] - edges[:, 0], edges[:, 2] - edges[:, 0]), axis=1).sum() / 2
    assert points.area.sum() == pytest.approx(skin, rel=1e-9)


def test_a_quad_without_shapes_has_no_points() -> None:
    """Loose masses alone give an empty, well-formed set."""
    loose = Draft("a", "a", "loose", "pa", "", None, 0.01).finish()
    assert len(contact_points((loose,), ())) == 0
