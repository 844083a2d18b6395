"""Plots and drawings: well-formed, deterministic, named for screen readers, honest about gaps."""

from __future__ import annotations

import math
import struct
import zlib
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.pictures import axes, drawing, gauges, heat, loads, plots, ramp, svg

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad

NS = "{http://www.w3.org/2000/svg}"
finite = st.floats(-1e6, 1e6, allow_nan=False)


def parse(picture: str) -> ET.Element:
    """The picture as a tree; fails when it is not well-formed."""
    return ET.fromstring(picture)  # noqa: S314 - made by our own writer


def words(root: ET.Element) -> str:
    """Every word written in the picture."""
    return " ".join("".join(t.itertext()) for t in root.iter(f"{NS}text"))


def every_picture(quad: Quad) -> dict[str, str]:
    """One of each kind."""
    t = np.linspace(0, 10, 500)
    return {
        "line": plots.line_plot(
            [plots.Series("a", t, np.sin(t)), plots.Series("b", t, np.cos(t), mark=True)],
            title="Two <curves> & more",
            x_label="s",
            y_label="deg/s",
            marks=[(5.0, "here")],
        ),
        "bars": plots.interval_bars(
            [plots.Bar("arm", 3.1, 1.8, 5.0, "3.1 (1.8-5.0)", "dense")], title="Breaks", x_label="per 100"
        ),
        "load": loads.load_strength([1.0, 2.0, 8.0], 4.0, 0.3, title="Arm", unit="N m"),
        "reach": loads.load_reach(
            [loads.Reach("plug", 0.3, 4.0, 6.0), loads.Reach("arm", 0.01, 0.5, 1.2)], title="Load"
        ),
        "due": gauges.due_bars([gauges.DueBar("Arm screws", 4.5, 4.0, 3.0, 5.0, "dense", "due now")]),
        "motors": gauges.motor_card([gauges.MotorSpot(c, "2 g mm", "in line", "open") for c in "abcd"]),
        "heat": heat.heat_map(
            np.outer(t, t),
            (0, 10),
            (0, 5),
            title="Map",
            x_label="s",
            y_label="Hz",
            value_label="dB",
            low=0,
            high=50,
            tracks=[heat.Track("1x", [0, 5, 10], [1, 2, 4])],
        ),
        "plan": drawing.plan(quad, {"battery": 9})[0],
        "scale": ramp.scale("0.1 %", "50 %", "share"),
    }


def test_every_picture_is_well_formed_and_named(boxes: Quad) -> None:
    """Each picture is XML with role img, a title and a description that its label points to."""
    for name, picture in every_picture(boxes).items():
        root = parse(picture)
        assert root.get("role") == "img", name
        ids = root.get("aria-labelledby", "").split()
        for tag, key in zip(("title", "desc"), ids, strict=True):
            found = root.find(f"{NS}{tag}")
            assert found is not None, name
            assert found.get("id") == key, name
            assert (found.text or "").strip(), name


def test_no_picture_needs_an_inline_style(boxes: Quad) -> None:
    """No style attribute and no style element, so a strict content policy shows the picture as meant."""
    for name, picture in every_picture(boxes).items():
        root = parse(picture)
        assert all("style" not in e.attrib for e in root.iter()), name
        assert root.find(f".//{NS}style") is None, name


def test_a_picture_that_stands_alone_carries_its_look() -> None:
    """With alone=True the style sheet is inside."""
    root = parse(gauges.due_bars([gauges.DueBar("x", 1, 4, 3, 5, "open", "fresh")], alone=True))
    style = root.find(f"{NS}style")
    assert style is not None
    assert "--ink" in (style.text or "")


def test_equal_inputs_give_equal_bytes(boxes: Quad) -> None:
    """A picture depends on what it shows and on nothing else."""
    assert every_picture(boxes) == every_picture(boxes)


def test_every_fill_reference_is_defined(boxes: Quad) -> None:
    """Each url(#...) points to an id in the same picture, or hatches would vanish."""
    for name, picture in every_picture(boxes).items():
        root = parse(picture)
        ids = {e.get("id") for e in root.iter()}
        for e in root.iter():
            for value in e.attrib.values():
                if value.startswith("url(#"):
                    assert value[5:-1] in ids, (name, value)


def test_bars_are_as_long_as_their_numbers() -> None:
    """Twice the value is twice the length, to 0.05 units."""
    rows = [plots.Bar("a", 10, 10, 10, "10"), plots.Bar("b", 20, 20, 20, "20")]
    boxes = parse(plots.interval_bars(rows, title="t", x_label="n")).findall(f"{NS}rect")
    one, two = (float(b.get("width", "0")) for b in boxes)
    assert two == pytest.approx(2 * one, abs=0.05)


def test_whiskers_reach_the_interval() -> None:
    """Whisker ends stand where the axis puts the interval's ends."""
    picture = parse(plots.interval_bars([plots.Bar("a", 3, 1, 5, "3")], title="t", x_label="n", top=10))
    (whisker,) = (p for p in picture.iter(f"{NS}path") if p.get("class") == "whisker")
    start, end = 8.0, 332.0
    assert whisker.get("d", "").startswith(f"M{svg.num(start + 0.1 * (end - start))} ")


def test_loads_stand_left_or_right_of_the_strength() -> None:
    """A dot lies right of the rule exactly when its load is above the median strength."""
    root = parse(loads.load_reach([loads.Reach("a", 0.1, 0.9, 2), loads.Reach("b", 0.1, 1.1, 2)], title="t"))
    (rule,) = (p for p in root.iter(f"{NS}path") if p.get("class") == "rule")
    one = float(rule.get("d", "")[1:].split(" ")[0])
    below, above = (float(c.get("cx", "0")) for c in root.iter(f"{NS}circle"))
    assert below < one < above
    with pytest.raises(ValueError, match="rising"):
        loads.load_reach([loads.Reach("a", 2.0, 1.0, 3.0)], title="t")


def test_numbers_that_are_none_are_refused() -> None:
    """NaN and infinity raise instead of drawing a bar of some length."""
    for bad in (math.nan, math.inf):
        with pytest.raises(ValueError, match="finite"):
            plots.interval_bars([plots.Bar("a", bad, 0, 1, "")], title="t", x_label="n")
        with pytest.raises(ValueError, match="finite"):
            gauges.due_bars([gauges.DueBar("a", bad, 4, 3, 5, "open", "")])
        with pytest.raises(ValueError, match="coordinate"):
            svg.num(bad)
    with pytest.raises(ValueError, match="finite"):
        plots.line_plot([plots.Series("a", [0, 1], [math.nan] * 2)], title="t", x_label="x", y_label="y")
    with pytest.raises(ValueError, match="above 0"):
        loads.load_strength([0.0, 0.0], 4.0, 0.3, title="Arm", unit="N")


@given(
    low=finite, span=st.floats(1e-3, 1e6), about=st.integers(2, 10), place=st.floats(0, 1, allow_nan=False)
)
def test_ticks_are_round_and_inside(low: float, span: float, about: int, place: float) -> None:
    """Ticks lie within the axis, evenly, at most twice as many as asked; places rise with the numbers."""
    high = low + span
    if not low < high:
        return
    marks = axes.ticks(low, high, about)
    assert len(marks) <= 2 * about + 1
    assert all(low - 1e-6 * span <= m <= high + 1e-6 * span for m in marks)
    axis = axes.Axis(low, high, 0.0, 100.0)
    assert axis(low) <= axis(low + place * span) <= axis(high)
    assert axis(low + place * span) == pytest.approx(100 * place, abs=1e-3)


@given(st.lists(finite, min_size=1, max_size=3000))
@settings(max_examples=30)
def test_thinning_keeps_every_extreme(values: list[float]) -> None:
    """A spike never disappears because there are many points."""
    y = np.array(values)
    _, thin = plots.thin(np.arange(len(y), dtype=float), y, most=100)
    assert thin.max() == y.max()
    assert thin.min() == y.min()
    assert len(thin) <= max(100, len(y) if len(y) <= 100 else 100)


@given(st.floats(0, 1), st.floats(0, 1))
def test_the_ramp_never_turns_back(a: float, b: float) -> None:
    """More is never paler: the step rises and the lightness falls with the share."""
    low, high = sorted((a, b))
    assert ramp.step(ramp.on_log(low, 0.5)) <= ramp.step(ramp.on_log(high, 0.5))
    assert ramp.grey(low) >= ramp.grey(high)


def test_the_scale_is_logarithmic() -> None:
    """The middle of the scale from 0.1 % to 50 % is their geometric mean."""
    assert ramp.on_log(math.sqrt(1e-3 * 0.5), 0.5) == pytest.approx(0.5, abs=1e-12)
    assert ramp.on_log(0.0, 0.5) == 0.0
    assert ramp.on_log(1.0, 0.5) == 1.0


def test_the_png_is_as_the_standard_says() -> None:
    """Read chunk by chunk (ISO/IEC 15948): signature, checksums, size, and every pixel."""
    pixels = np.arange(12, dtype=np.uint8).reshape(3, 4) * 20
    data = heat.grey_png(pixels)
    assert data[:8] == bytes.fromhex("89504e470d0a1a0a")
    chunks: dict[bytes, bytes] = {}
    at = 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(kind + body)
        chunks[kind] = body
        at += 12 + length
    assert list(chunks) == [b"IHDR", b"IDAT", b"IEND"]
    assert struct.unpack(">IIBBBBB", chunks[b"IHDR"]) == (4, 3, 8, 0, 0, 0, 0)
    rows = np.frombuffer(zlib.decompress(chunks[b"IDAT"]), np.uint8).reshape(3, 5)
    np.testing.assert_array_equal(rows[:, 0], 0)
    np.testing.assert_array_equal(rows[:, 1:], pixels)


def test_a_narrow_line_survives_the_coarse_map() -> None:
    """One hot column among thousands still shows at full shade."""
    values = np.zeros((40, 5000))
    values[:, 1234] = 1.0
    assert heat._coarse(values, 220, 300).max() == 1.0


def test_due_bars_say_each_state_in_words() -> None:
    """State is read from the description alone, without hatch or colour."""
    rows = [gauges.DueBar("Arm screws", 4.5, 4.0, 3.0, 5.0, "dense", "due now")]
    root = parse(gauges.due_bars(rows))
    desc = root.findtext(f"{NS}desc") or ""
    assert "Arm screws: due now" in desc
    assert "4.5 packs" in desc
    assert "due now" in words(root)


def test_plan_numbers_every_item_once(boxes: Quad) -> None:
    """The balloons of the drawing and the numbers of the parts list are the same set."""
    picture, items = drawing.plan(boxes, link="#item-{}")
    shaped = {i.number for i in items if i.kind != "loose"}
    drawn = {int(a.get("href", "")[6:]) for a in parse(picture).iter(f"{NS}a")}
    assert drawn == shaped
    assert [i.number for i in items] == list(range(1, len(items) + 1))


def test_plan_groups_parts_that_differ_by_corner(boxes: Quad) -> None:
    """Four motors share one balloon, and the list keeps the whole mass."""
    _, items = drawing.plan(boxes)
    (motor,) = (i for i in items if i.kind == "motor")
    assert (motor.label, motor.count) == ("motor", 4)
    assert motor.mass == pytest.approx(4 * 0.033, rel=1e-12)
    assert sum(i.mass for i in items) == pytest.approx(boxes.mass, rel=1e-12)


def test_outline_keeps_area_and_windows(boxes: Quad) -> None:
    """The outline of a ring seen from above has the ring's area and its window."""
    (polygon,) = drawing.outline(boxes.part("bottom"))
    assert len(polygon) == 2

    def area(ring: list[tuple[float, float]]) -> float:
        x, y = np.array(ring).T
        return abs(float(np.dot(x[:-1], y[1:]) - np.dot(x[1:], y[:-1]))) / 2

    n = 32  # the ring is an n-gon: its area is known exactly
    exact = n / 2 * math.sin(2 * math.pi / n) * (0.03**2 - 0.01**2)
    assert area(polygon[0]) - area(polygon[1]) == pytest.approx(exact, rel=0.02)


def test_front_is_up_and_left_is_left(boxes: Quad) -> None:
    """In the drawing the front left motor stands at the top left."""
    picture, _ = drawing.plan(boxes)
    for path in parse(picture).iter(f"{NS}path"):
        title = path.findtext(f"{NS}title") or ""
        if title.startswith("front left motor"):
            x, y = (float(v) for v in path.get("d", "")[1:].split(" ")[:2])
            assert x < 170
            assert y < 160
            return
    pytest.fail("no front left motor in the drawing")
