"""Where to measure: one small line drawing for each question about a quad."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crashworthy.pictures import svg

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["SKETCHES", "sketch"]

W, H = 200.0, 96.0


def _rect(x: float, y: float, w: float, h: float, class_: str = "body", rx: float = 0.0) -> str:
    return svg.el("rect", x=x, y=y, width=w, height=h, class_=class_, rx=rx or None)


def _disc(x: float, y: float, r: float, class_: str = "body") -> str:
    return svg.el("circle", cx=x, cy=y, r=r, class_=class_)


def _line(*points: tuple[float, float], class_: str = "curve") -> str:
    return svg.el("path", d=svg.path(points), class_=class_)


def _across(x1: float, y1: float, x2: float, y2: float, words: str, dx: float = 0.0, dy: float = -5.0) -> str:
    """A measure from point to point with its ends marked."""
    length = max(((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5, 1e-9)
    nx, ny = -(y2 - y1) / length * 4, (x2 - x1) / length * 4
    ends = [_line((x - nx, y - ny), (x + nx, y + ny), class_="curve mark") for x, y in ((x1, y1), (x2, y2))]
    label = svg.text(words, (x1 + x2) / 2 + dx, (y1 + y2) / 2 + dy, "t small mark halo", text_anchor="middle")
    return _line((x1, y1), (x2, y2), class_="curve mark") + "".join(ends) + label


def _above(hub: float = 8.0) -> str:
    """A quad from above, nose up."""
    arms = _line((62, 12), (138, 84)) + _line((138, 12), (62, 84))
    motors = "".join(_disc(x, y, hub) for x in (62, 138) for y in (12, 84))
    return arms + motors + _rect(84, 18, 32, 60, rx=4)


def _span() -> str:
    return _above() + _across(62, 84, 138, 12, "motor to motor", 44, 22)


def _arms() -> str:
    arm = svg.el("path", d=svg.path([(26, 30), (146, 36), (146, 52), (26, 58)], closed=True), class_="body")
    edge = _rect(26, 76, 134, 8)
    marks = _across(40, 31, 40, 57, "at the body", 26, 22) + _across(
        136, 36, 136, 52, "at the motor", -30, -14
    )
    return arm + _disc(162, 44, 18) + edge + marks + _across(174, 76, 174, 84, "thickness", -2, -8)


def _motors() -> str:
    bell, base = _rect(70, 30, 60, 34, rx=3), _rect(80, 64, 40, 14)
    return (
        _rect(20, 78, 160, 8) + base + bell + _rect(97, 22, 6, 8)
        + _across(70, 14, 130, 14, "diameter", 0, -3) + _across(148, 30, 148, 78, "height", 20, 3)
    )  # fmt: skip


def _props() -> str:
    blades = _line((100, 48), (100, 8)) + _line((100, 48), (135, 68)) + _line((100, 48), (65, 68))
    return _disc(100, 48, 40, "ghost") + blades + _disc(100, 48, 5) + _across(60, 48, 140, 48, "diameter", 24)


def _side() -> str:
    """A quad from the left, nose to the right."""
    plates = _rect(40, 66, 120, 4, "body r6") + _rect(40, 28, 120, 4, "body r6")
    return plates + _rect(48, 32, 4, 34) + _rect(148, 32, 4, 34) + _rect(24, 60, 152, 6)


def _body() -> str:
    return (
        _side() + _across(40, 84, 160, 84, "length", 0, -3) + _across(100, 32, 100, 60, "clear height", 32, 4)
    )


def _stack() -> str:
    holes = "".join(_disc(x, y, 3) for x in (76, 124) for y in (24, 72))
    return _rect(68, 16, 64, 64, rx=3) + holes + _across(76, 48, 124, 48, "middle to middle")


def _camera() -> str:
    lens = svg.el(
        "path", d=svg.path([(126, 60), (118, 44), (134, 36), (150, 32), (155, 42), (138, 50)], closed=True),
        class_="body r2",
    )  # fmt: skip
    marks = _across(154, 20, 162, 20, "behind the edge", -22, -4) + _across(
        180, 37, 180, 66, "height", -2, -18
    )
    return _side() + _line((162, 14), (162, 74), class_="ghost") + lens + marks


def _antenna() -> str:
    places = (
        _line((44, 28), (28, 4)) + _line((60, 50), (40, 46)) + _line((30, 60), (22, 38))
        + svg.text("top rear", 54, 12) + svg.text("side", 66, 54) + svg.text("arm", 2, 52)
    )  # fmt: skip
    return _side() + places


def _battery() -> str:
    top, under = _rect(64, 8, 72, 20, "body r2", 2), _rect(64, 70, 72, 20, "ghost", 2)
    return _side() + top + under + _across(64, 4, 136, 4, "length", 0, 14)


def _screws() -> str:
    head, shank = _rect(60, 22, 28, 14, rx=2), _rect(68, 36, 12, 50)
    return (
        _line((20, 36), (150, 36), class_="ghost") + head + shank + _across(110, 36, 110, 86, "length", 24, 4)
    )


def _hook(x: float, y: float, dx: float, dy: float) -> str:
    """A hanging scale that pulls: its line, its body, the way it pulls."""
    ex, ey = x + dx, y + dy
    length = (dx * dx + dy * dy) ** 0.5
    ux, uy = dx / length, dy / length
    tip = (ex + 16 * ux, ey + 16 * uy)
    head = [
        (tip[0] - 6 * ux - 3 * uy, tip[1] - 6 * uy + 3 * ux),
        tip,
        (tip[0] - 6 * ux + 3 * uy, tip[1] - 6 * uy - 3 * ux),
    ]
    way = _line((ex, ey), tip, class_="curve mark") + _line(*head, class_="curve mark")
    return _line((x, y), (ex, ey)) + way + _disc(ex, ey, 5, "body r2")


def _pull_up() -> str:
    bench = _line((8, 84), (192, 84)) + _rect(18, 58, 52, 6, "body r6") + _rect(18, 64, 52, 20)
    arm = _rect(70, 58, 84, 6) + _rect(140, 42, 22, 16, rx=2)
    bent = _line((70, 61), (110, 58), (151, 48), class_="ghost")
    hand = svg.text("held down", 44, 52, text_anchor="middle")
    marks = _across(176, 48, 176, 61, "rise", 0, -12) + svg.text("pull", 164, 14, "t small mark halo")
    return bench + arm + bent + hand + _hook(151, 42, 0, -18) + marks


def _pull_side() -> str:
    body = _rect(22, 22, 40, 52, rx=4) + _line((62, 48), (150, 48), class_="ghost")
    arm = svg.el("path", d=svg.path([(62, 42), (140, 44), (140, 52), (62, 54)], closed=True), class_="body")
    hand = svg.text("held", 42, 52, text_anchor="middle")
    marks = _across(172, 36, 172, 48, "shift", 2, -11) + svg.text("pull", 160, 14, "t small mark halo")
    return body + arm + _disc(150, 48, 11) + hand + _hook(150, 37, 0, -13) + marks


SKETCHES: Final[dict[str, tuple[str, Callable[[], str]]]] = {
    "span": ("A quad from above: the measure runs diagonally between two motors", _span),
    "arms": ("An arm from above and its edge: two widths and the thickness", _arms),
    "motors": ("A motor on its arm from the side: diameter and height", _motors),
    "props": ("A prop: the measure runs over the tips", _props),
    "body": ("The body from the side: length, and clear height between the plates", _body),
    "stack": ("A board from above: the measure runs between the middles of two holes", _stack),
    "camera": ("The nose from the side: lens behind the front edge, and its height", _camera),
    "antenna": ("The rear from the side: on top, at the side, on an arm", _antenna),
    "battery": ("The body from the side: pack on top, or dashed below", _battery),
    "pull_up": ("The quad held down on a bench; a hanging scale pulls the motor up and it rises", _pull_up),
    "pull_side": ("The quad held, from above; a scale pulls the motor square to the arm", _pull_side),
    "screws": ("A screw: its length is measured under the head", _screws),
}
"""What each drawing shows, and how it is drawn."""


def sketch(name: str) -> str:
    """A drawing of ``SKETCHES`` as SVG.

    Raises:
        KeyError: there is none of that name.
    """
    words, draw = SKETCHES[name]
    return svg.figure(
        draw(),
        width=W,
        height=H,
        title="Where to measure",
        describe=words + ".",
        key=svg.uid("sketch", name),
        class_="plot sketch",
    )
