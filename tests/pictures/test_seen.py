"""Pictures of crashes, and sheets for paper."""

from __future__ import annotations

import json
import re
import struct
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lxml import etree

from crashworthy.build.assemble import load
from crashworthy.errors import CrashworthyError
from crashworthy.impact import replay, simulate, strike_map, worst
from crashworthy.impact.limbs import limbs_of
from crashworthy.pictures import paper, scene, strikes, timeline
from crashworthy.pictures.film import SLOWER, film_glb
from crashworthy.pictures.matrix import first_touch_matrix, moment_histograms
from crashworthy.pictures.report import crash_report

GANNET = Path(__file__).parents[2] / "examples/gannet.toml"


@pytest.fixture(scope="module")
def seen() -> Any:
    """A build, a small campaign both ways, its map and its worst crash."""
    quad = load(GANNET)
    batch = simulate(quad, 60, 7)
    summary = batch.summarise(broken=simulate(quad, 60, 7, fracture=True)).to_json()
    return quad, batch, summary, strike_map(quad, batch, 40), replay(quad, batch, worst(batch))


def _words(picture: str) -> str:
    return " ".join(etree.fromstring(picture.encode()).itertext())


def test_the_matrix_prints_every_share(seen: Any) -> None:
    """Numbers stand in the cells, obstacles and parts beside them, so lightness is not the only channel."""
    touch = seen[2]["first_touch"]
    words = _words(first_touch_matrix(touch))
    for name, crashes in zip(touch["obstacles"], touch["crashes"], strict=True):
        assert (name in words) == bool(crashes)
    assert "% of the crashes into each obstacle" in words
    with pytest.raises(ValueError, match="no first touches"):
        first_touch_matrix({**touch, "crashes": [0] * len(touch["crashes"])})


def test_the_histograms_name_axis_unit_and_strength(seen: Any) -> None:
    """Both planes of every arm, N m, and how much lies past the strength."""
    words = _words(moment_histograms(seen[2]["moments"]))
    for wanted in ("in plane", "out of plane", "root moment, N m", "are past", "front left arm"):
        assert wanted in words
    with pytest.raises(ValueError, match="no moments"):
        moment_histograms([])


def test_the_timeline_names_what_is_hit_and_when(seen: Any) -> None:
    """Push, loads and contacts, with the parts' labels and a cursor for the viewer."""
    quad, found = seen[0], seen[4]
    picture = timeline.timeline(found, {p.name: p.label for p in quad.parts})
    words = _words(picture)
    assert quad.part(found.contacts[0][0]).label in words
    assert "ms after first touch" in words
    assert "rule cursor" in picture


def test_the_film_is_a_glb_that_flies_bends_and_shows_the_obstacle(seen: Any) -> None:
    """Header, lengths, animation of place, attitude, tips and arms; bounds of the accessors hold the data."""
    quad, found = seen[0], seen[4]
    data = film_glb(quad, found)
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size = struct.unpack_from("<I", data, 12)[0]
    tree = json.loads(data[20 : 20 + size])
    names = {n.get("name") for n in tree["nodes"]}
    assert {"quad", "obstacle", *(p.name for p in quad.parts if len(p.faces))} <= names
    paths = [c["target"]["path"] for c in tree["animations"][0]["channels"]]
    turning = [p for p in quad.parts if p.arm >= 0 and len(p.faces) and p.kind != "arm"]
    assert paths.count("rotation") == 1 + len(turning)
    bending = [s for _, s in scene.followers(quad).values() if len(s) and not (s == 1.0).all()]
    assert paths.count("weights") == len(bending) >= len(quad.arms)
    clock = tree["accessors"][tree["animations"][0]["samplers"][0]["input"]]
    assert clock["count"] == len(found.time)
    assert clock["max"][0] == pytest.approx(SLOWER * found.time[-1], rel=1e-6)
    place = tree["accessors"][tree["animations"][0]["samplers"][0]["output"]]
    view = tree["bufferViews"][place["bufferView"]]
    start = 28 + size + view["byteOffset"]
    stored = np.frombuffer(data[start : start + view["byteLength"]], dtype="<f4").reshape(-1, 3)
    np.testing.assert_allclose(stored, found.place[:, [1, 2, 0]], rtol=1e-5, atol=1e-7)
    for node in tree["nodes"]:
        assert len(node.get("children", ())) == len(set(node.get("children", ())))


def test_what_gives_bends_from_its_root(seen: Any) -> None:
    """The root stays, the tip follows its limb, motors go with it whole, antennas sway, the battery stays."""
    quad, found = seen[0], seen[4]
    follows = scene.followers(quad)
    moved = np.zeros(found.limbs.shape[1:])
    moved[0] = (0.0, 0.003, -0.004)
    motor, arm = (quad.parts[i] for i in (quad.arms[0].motor, quad.arms[0].part))
    way = scene.bent(motor, moved, follows) - motor.vertices
    np.testing.assert_allclose(way, np.tile(moved[0], (len(way), 1)), atol=1e-15)
    bent = np.linalg.norm(scene.bent(arm, moved, follows) - arm.vertices, axis=1)
    assert bent.max() <= 0.005 + 1e-12
    station = (arm.vertices - quad.arms[0].root) @ quad.arms[0].axis
    assert bent[station <= 0].max(initial=0.0) == 0.0
    limb, share = follows["video"]
    assert limb >= len(quad.arms)
    assert share.min() >= 0.0
    assert share.max() == pytest.approx(1.0, abs=0.02)
    assert scene.bent(quad.part("bottom"), moved, follows) is quad.part("bottom").vertices


def test_what_rides_at_a_tip_turns_with_its_arm_and_the_root_does_not(seen: Any) -> None:
    """Motor and prop turn rigidly about the arm's axis through their mass; an arm twists towards its tip."""
    quad, found = seen[0], seen[4]
    follows, turns = scene.followers(quad), scene.twisters(quad)
    still, twist = np.zeros(found.limbs.shape[1:]), np.zeros(len(quad.arms))
    twist[1] = 1e-4
    limb = limbs_of(quad)[1]
    motor, arm = (quad.parts[i] for i in (quad.arms[1].motor, quad.arms[1].part))
    way = scene.bent(motor, still, follows, twist, turns) - motor.vertices
    np.testing.assert_allclose(way, 1e-4 * np.cross(limb.axis, motor.vertices - limb.place), atol=1e-12)
    way = scene.bent(arm, still, follows, twist, turns) - arm.vertices
    station = (arm.vertices - quad.arms[1].root) @ quad.arms[1].axis
    assert np.abs(way[station <= 0]).max(initial=0.0) == 0.0
    # At the tip by angle x distance from the axis through the mass, which stays where it is.
    tip = station > 0.98 * quad.arms[1].length
    across = np.linalg.norm(np.cross(limb.axis, arm.vertices[tip] - limb.place), axis=1)
    assert np.linalg.norm(way[tip], axis=1).max() == pytest.approx(1e-4 * across.max(), rel=0.05)
    other = quad.parts[quad.arms[0].motor]
    assert (scene.bent(other, still, follows, twist, turns) == other.vertices).all()


def test_the_strip_shows_rising_moments(seen: Any) -> None:
    """Six moments from first touch on, as PNG and with their times printed."""
    quad, found = seen[0], seen[4]
    frames = scene.moments_to_show(found)
    assert frames == sorted(frames)
    assert frames[0] == 0
    png = scene.strip_png(quad, found, 2, width=240, columns=2)
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") == 244


def test_dots_are_larger_where_more_goes_in(seen: Any) -> None:
    """Size and tone rise together; points never pressed have no dot; words carry the numbers."""
    found = seen[3]
    made = strikes.dots(found, "impulse")
    assert len(made) == int((found.hits > 0).sum())
    size = [float(np.ptp(m.vertices[:, 0])) for _, m, _ in made]
    tone = [float(e["shade"]) for _, _, e in made]
    order = np.argsort(tone)
    assert (np.diff(np.array(size)[order]) >= -1e-4).all()
    assert "N s" in made[0][2]["label"]
    assert "30 N s" in _words(strikes.strike_scale("impulse"))
    assert strikes.strike_glb(seen[0], found, "hits").startswith(b"glTF")


def test_drawings_on_paper_need_no_style_sheet(seen: Any) -> None:
    """Every class's look is written into the element, without variables; hatches stay."""
    flat = paper.flat(moment_histograms(seen[2]["moments"], alone=True))
    root = etree.fromstring(flat.encode())
    assert root.find(".//{*}style") is None
    assert "var(" not in flat
    axis = next(e for e in root.iter("{*}path") if e.get("class") == "axis")
    assert axis.get("stroke")
    assert any((e.get("fill") or "").startswith("url(#") for e in root.iter("{*}rect"))


@pytest.fixture(scope="module")
def report(seen: Any) -> str:
    """The report."""
    quad, _, summary, found, _ = seen
    return crash_report(quad, summary, found, sheet="examples/gannet.toml")


def test_the_report_holds_all_it_shows(report: str, seen: Any) -> None:
    """No script and no reference outside; both columns, cautions, seed and build to do it again."""
    addresses = re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s>]+)""", report)
    assert addresses
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert "<script" not in report
    assert "@import" not in report
    for wanted in (seen[2]["summary"], "With fracture", "--seed 7", "--n 60", "Caution", seen[0].digest[:12]):
        assert wanted in report


def _pages(data: bytes) -> int:
    """Pages of a PDF, whose objects may stand in compressed streams."""
    whole = data
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            whole += zlib.decompress(stream)
        except zlib.error:  # not every stream is packed
            whole += stream
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", whole))


def _text(box: Any) -> str:
    own = getattr(box, "text", "") or ""
    return own + " ".join(_text(child) for child in getattr(box, "children", ()))


def test_the_report_is_one_page_of_pdf_with_its_text(report: str, seen: Any) -> None:
    """A4, one page, the first sentence and the seed are text in it."""
    from weasyprint import HTML

    data = paper.pdf(report)
    assert data.startswith(b"%PDF-")
    assert _pages(data) == 1
    pages = HTML(string=report).render().pages
    assert len(pages) == 1
    assert pages[0].width == pytest.approx(210 / 25.4 * 96, abs=1)
    text = " ".join(_text(pages[0]._page_box).split())
    for wanted in ("With fracture", "--seed 7", "Touched first"):
        assert wanted in text
    first = seen[2]["summary"].split(":")[0]
    assert first in text


def test_what_was_assumed_fills_a_second_page(seen: Any) -> None:
    """Every obstacle, surface and skin with its numbers and sources, on one page more and no third."""
    from weasyprint import HTML

    from crashworthy.impact import assumed

    quad, _, summary, found, _ = seen
    told = assumed(quad=quad).to_json()
    html = crash_report(quad, {**summary, "assumed": told}, found, sheet="examples/gannet.toml")
    pages = HTML(string=html).render().pages
    assert len(pages) == 2
    text = " ".join(_text(pages[1]._page_box).split())
    for wanted in (told["summary"], *(r["name"] for r in told["mix"]), "1500 (750", "Wood Handbook"):
        assert wanted in text, wanted


def test_a_sheet_may_fetch_nothing(report: str) -> None:
    """A picture that is not in the page is an error, not a request."""
    with pytest.raises(CrashworthyError, match=r"example\.org"):
        paper.pdf(report.replace('<p class="foot">', '<img src="https://example.org/a.png"><p class="foot">'))


def test_without_the_extra_the_command_that_installs_it_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A missing library is a sentence with a remedy; a wrong ending is one too."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(CrashworthyError, match=r'pip install "crashworthy\[pdf\]"'):
        paper.pdf("<p>x</p>")
    with pytest.raises(CrashworthyError, match=r"\.html or \.pdf"):
        paper.write("<p>x</p>", tmp_path / "x.doc")
    assert paper.write("<p>x</p>", tmp_path / "x.html") == 8
    with pytest.raises(CrashworthyError, match="cannot write"):
        paper.write("<p>x</p>", tmp_path / "none" / "x.html")
