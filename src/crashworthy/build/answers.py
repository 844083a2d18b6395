"""From answers to a commented build sheet: what was measured, what was assumed, what is missing.

Places follow from the answers by plain rules (the stack stands on the arms, the pack lies on the top plate);
such rules are assumptions too and the sheet says so. Nothing is read or written: drawings are only named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.build.dropped import Drawing, body_rows
from crashworthy.build.questions import FIELDS, QUESTIONS, Answer, field_of
from crashworthy.build.sheet import slug_of
from crashworthy.build.writing import in_toml

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from crashworthy.build.sheet import Sheet

__all__ = ["Assumed", "Described", "Drawing", "file_name", "sheet_of", "with_balance"]

_SMALL: Final = 0.5
"""A difference to the scales below this, g, is not worth a row."""


@dataclass(frozen=True, slots=True)
class Assumed:
    """One answer that was skipped.

    Attributes:
        key: of the field.
        ask: what was asked, with its topic ("pack: length").
        words: what was assumed, with unit.
        moves: what in the results it moves.
    """

    key: str
    ask: str
    words: str
    moves: str


@dataclass(frozen=True, slots=True)
class Described:
    """A quad as far as the answers go.

    Attributes:
        text: the build sheet, commented.
        sheet: the same, validated.
        assumed: what was skipped, in the order of the questions.
        missing: what no assumption can stand in for, in words.
        odd: what does not fit together, in words.
        given: how many fields were answered, of ``asked``.
        asked: how many there are.
    """

    text: str
    sheet: Sheet
    assumed: tuple[Assumed, ...]
    missing: tuple[str, ...]
    odd: tuple[str, ...]
    given: int
    asked: int

    def summary(self) -> str:
        """One sentence with numbers."""
        head = f"{self.given} of {self.asked} values given, {len(self.assumed)} assumed"
        return f"{head}; {'; '.join(self.missing)}." if self.missing else f"{head}."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "sheet": self.text,
            "assumed": [
                {"key": a.key, "ask": a.ask, "value": a.words, "moves": a.moves} for a in self.assumed
            ],
            "missing": list(self.missing),
            "odd": list(self.odd),
        }


class _Known:
    """Answers with the assumed value where there is none, as numbers or text."""

    def __init__(self, answers: Mapping[str, Answer]) -> None:
        self.answers = answers

    def n(self, key: str) -> float:
        """A number."""
        value = self.answers.get(key, field_of(key).assumed)
        if value is None and key == "cam_z":
            # High enough that the tilted body, 31 x 20 mm seen from the side, clears the bottom plate.
            tilt = math.radians(self.n("cam_tilt"))
            return round(max(31.0 * math.sin(tilt) + 10.0 * math.cos(tilt) + 0.5, 0.55 * self.n("body_h")), 1)
        assert value is not None  # noqa: S101 - every other number has an assumed value
        return round(float(value), 2)

    def s(self, key: str) -> str:
        """Text."""
        return str(self.answers.get(key, field_of(key).assumed))


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of the sheet, and the answers behind it."""

    section: str
    key: str
    value: Any
    answers: tuple[str, ...] = ()
    rule: str = ""


_BOARDS: Final = {
    "30.5": ((42.0, 38.0, 7.0, 15.0), (36.0, 36.0, 6.0, 8.0)),
    "20": ((30.0, 30.0, 6.0, 9.0), (28.0, 28.0, 5.0, 6.0)),
    "25.5": ((36.0, 36.0, 8.0, 12.0),),
}
"""Length, width, height (mm) and mass (g) of the boards by screw spacing (common practice, no source)."""


def _frame(k: _Known, drawings: Sequence[Drawing]) -> list[_Row]:
    reach = k.n("wheelbase") / 2
    length, width, height, t = (k.n(x) for x in ("body_l", "body_w", "body_h", "arm_t"))
    bolt = 16.0 if k.n("motor_d") >= 24 else 12.0 if k.n("motor_d") >= 18 else 9.0
    pad = min(bolt + 11.0, 0.6 * reach)
    leaves = min(length, width) / 2 * math.sqrt(2.0)  # where an arm at 45 degrees leaves the plate
    r0 = round(min(22.0, 0.6 * leaves, 0.5 * (reach - pad / 2)), 1)
    arms = {
        "wheelbase": k.n("wheelbase"), "t": t, "w_root": k.n("arm_w"), "w_tip": k.n("arm_tip"), "r0": r0,
        "pad": round(pad, 1), "material": k.s("arm_material"),
    }  # fmt: skip
    motors = {
        "d": k.n("motor_d"), "h": k.n("motor_h"), "mass": k.n("motor_mass"), "bolt_circle": bolt,
        "bell_height": round(0.68 * k.n("motor_h"), 1), "shaft_d": 4.0 if k.n("motor_d") >= 24 else 2.0,
    }  # fmt: skip
    d = k.n("prop_d")
    props = {
        "d": d, "blades": int(k.n("blades")), "mass": round(max(0.5, 4.2 * (d / 127) ** 2), 1),
        "hub_d": round(min(13.0, d / 4), 1),
    }  # fmt: skip
    files = {x.role: {"dxf": x.file, **({"layer": x.layer} if x.layer else {})} for x in drawings}
    plates: list[_Row] = []
    for name, thick, z in (("bottom", 2.5, -2.5), ("top", 2.0, height)):
        if name in files:
            plates.append(_Row("plates", name, {**files[name], "t": thick, "z": z}, ("body_h",),
                               "outline from the drawing; thickness assumed"))  # fmt: skip
        else:
            outline = {"rect": [length, width], "corner": 6, "t": thick, "z": z}
            plates.append(_Row("plates", name, outline, ("body_l", "body_w", "body_h"), "thickness assumed"))
    x, y = round(length / 2 - 6, 1), round(max(width / 2 - 5, 4.0), 1)
    post = {"at": [[x, y], [-x, y]], "z": 0, "h": height, "d": 5}
    return [
        _Row("", "arms", arms, ("wheelbase", "arm_t", "arm_w", "arm_tip", "arm_material"),
             "r0 and pad by rule"),
        _Row("", "motors", motors, ("motor_d", "motor_h", "motor_mass"), "screw circle and shaft by rule"),
        _Row("", "props", props, ("prop_d", "blades"), "mass by rule"),
        *plates,
        _Row("standoffs", "post", post, ("body_h",), "places by rule: near the corners of the plates"),
    ]  # fmt: skip


def _inside(k: _Known) -> list[_Row]:
    length, width, height, t = (k.n(x) for x in ("body_l", "body_w", "body_h", "arm_t"))
    rows = []
    if k.s("stack") != "none":
        boards = _BOARDS[k.s("stack")]
        tall = sum(b[2] for b in boards)
        gap = round(min(max((height - t - tall - 1) / (len(boards) + 1), 1.0), 4.0), 1)
        names = ("esc", "fc")[: len(boards)] if len(boards) > 1 else ("fc",)
        listed = [{"name": n, "size": list(b[:3]), "mass": b[3]} for n, b in zip(names, boards, strict=True)]
        stack = {"z": t + gap, "boards": listed, "pattern": float(k.s("stack")), "gap": gap}
        rows.append(_Row("", "stack", stack, ("stack",), "sizes and masses of the boards assumed"))
    at = {"edge_x": length / 2, "recess": k.n("cam_recess"), "z": k.n("cam_z"), "tilt": k.n("cam_tilt")}
    view = {"fov": k.n("cam_fov"), "of": "h", "aspect": 1.3333}
    asked = ("body_l", "cam_recess", "cam_z", "cam_tilt", "cam_fov")
    rows.append(_Row("", "camera", {"at": at, "view": view}, asked,
                     "body 19 x 19 x 20 mm, 10 g with lens, picture of 4:3 assumed"))  # fmt: skip
    place = k.s("antenna")
    if place != "none":
        back, long = -length / 2, k.n("antenna_l")
        feet: dict[str, tuple[list[float], list[float]]] = {
            "rear_top": ([round(back - 1, 1), 0, height + 2.5], [-0.4, 0, 1]),
            "side": ([round(back + 8, 1), round(width / 2 + 1, 1), round(height / 2, 1)], [-0.3, 1, 0.5]),
            "arm": ([round(v * 0.62 * k.n("wheelbase") / 2 * math.sqrt(0.5), 1) for v in (-1, 1)]
                    + [t + 0.5], [-0.3, 0.3, 1]),
        }  # fmt: skip
        foot, way = feet[place]
        video = {"at": foot, "dir": way, "length": long, "d": 3, "mass": 6, "mhz": k.n("antenna_mhz")}
        own = ("antenna", "antenna_l", "antenna_mhz")
        rows.append(_Row("antennas", "video", video, own, "direction and mass by rule"))
    return rows


def _power(k: _Known) -> list[_Row]:
    length, height, t = k.n("body_l"), k.n("body_h"), k.n("arm_t")
    under = k.s("pack_place") == "under"
    face = -2.5 if under else height + 2.0
    size = [k.n("pack_l"), k.n("pack_w"), k.n("pack_h")]
    battery = {
        "size": size, "mass": k.n("pack_mass"), "at": [0, 0, face], "long_axis": k.s("pack_long"),
        "under": under, "strap": {"width": 20, "mass": 6},
    }  # fmt: skip
    end = face + (-1 if under else 1) * size[2] / 2
    half = (size[0] if k.s("pack_long") == "x" else size[1]) / 2
    path = [
        [-15, 10, t + 6],
        [round(-length / 2 - 4, 1), 12, round(height / 2, 1)],
        [round(-max(half, length / 2) - 6, 1), 11, round(end, 1)],
    ]
    lead = {"path": path, "d": 6, "mass": 17, "plug": [16, 16, 8]}
    asked = ("pack_l", "pack_w", "pack_h", "pack_mass", "pack_long", "pack_place")
    return [
        _Row("", "battery", battery, asked, "centred on the motors; strap assumed"),
        _Row("leads", "main", lead, (), "path and mass assumed"),
    ]


def _screws(k: _Known) -> list[_Row]:
    thread = k.s("thread")
    own = ("thread", "arm_screw")
    arm = {"thread": thread, "length": k.n("arm_screw"), "per": 2}
    motor = {"thread": "M3" if k.n("motor_d") >= 24 else "M2", "length": k.n("motor_screw")}
    rows = [
        _Row("screws", "arm", arm, own, "two for each arm; class 8.8, no thread locker"),
        _Row("screws", "motor", motor, ("motor_screw",), "thread by size of motor; class 8.8"),
        _Row("screws", "standoff", {"thread": "M3", "length": 8}, (), "assumed"),
    ]
    if k.s("stack") != "none":
        thin = "M3" if k.s("stack") == "30.5" else "M2"
        rows.append(_Row("screws", "stack", {"thread": thin, "length": 30, "nut": "nyloc"}, (), "assumed"))
    return rows


def _comment(row: _Row, answers: Mapping[str, Answer]) -> str:
    told = [field_of(a).ask for a in row.answers if a in answers]
    guessed = [field_of(a).ask for a in row.answers if a not in answers]
    parts = [f"measured: {', '.join(told)}"] if told else []
    parts += [f"assumed: {', '.join(guessed)}"] if guessed else []
    return "# " + "; ".join([*parts, *([row.rule] if row.rule else [])])


_HEAD: Final = """\
# Lengths mm, masses g, angles degrees. x forward, y left, z up; z = 0 is the underside of the arms;
# the origin is the centre of the motors. "measured" was answered, "assumed" was not: measure it and mend it.
"""


def _text(name: str, weighed: Answer | None, rows: Sequence[_Row], answers: Mapping[str, Answer]) -> str:
    lines = [_HEAD, "schema = 1", f"name = {in_toml(name)}"]
    if weighed is None:
        lines.append("# weighed = 650   # missing: what the scales say, ready to fly, with pack")
    else:
        lines.append(f"weighed = {in_toml(weighed)}   # measured")
    for row in (r for r in rows if not r.section):
        lines += ["", _comment(row, answers), f"{row.key} = {in_toml(row.value)}"]
    for section in dict.fromkeys(r.section for r in rows if r.section):
        lines += ["", f"[{section}]"]
        for row in (r for r in rows if r.section == section):
            lines += [_comment(row, answers), f"{row.key} = {in_toml(row.value)}"]
    return "\n".join(lines) + "\n"


def sheet_of(
    answers: Mapping[str, Answer], drawings: Sequence[Drawing] = (), balance: float = 0.0
) -> Described:
    """Describe a quad from the answers given so far; what was skipped is assumed.

    Args:
        answers: by field, as ``questions.checked`` returns them.
        drawings: files that stand in for parts of the sketch.
        balance: g that the scales found beyond what is described; see ``with_balance``.

    Raises:
        SheetError: the answers cannot be one quad.
    """
    from crashworthy.build.reading import parse

    k = _Known(answers)
    name = str(answers.get("name", "My quad"))
    rows = [*_frame(k, drawings), *_inside(k), *_power(k), *_screws(k)]
    bodies = body_rows([d for d in drawings if d.is_part], {r.key for r in rows})
    rows += [_Row("imports", key, value, (), rule) for key, value, rule in bodies]
    rows.append(_Row("loose", "wiring", 15, (), "assumed"))
    if balance >= _SMALL:
        rule = "what the scales found beyond the rest; counted at the stack"
        rows.append(_Row("loose", "undescribed", round(balance, 1), (), rule))
    text = _text(name, answers.get("weighed"), rows, answers)
    return Described(
        text, parse(text), _assumed(k, answers), _missing(answers), _odd(k),
        sum(1 for f in FIELDS if f.key in answers), len(FIELDS),
    )  # fmt: skip


_TOPIC: Final = {f.key: {"battery": "pack"}.get(q.key, q.key) for q in QUESTIONS for f in q.fields}
"""What each field is about, in a word."""


def _assumed(k: _Known, answers: Mapping[str, Answer]) -> tuple[Assumed, ...]:
    found = []
    for field in FIELDS:
        if field.key in answers or field.key in ("name", "weighed"):
            continue
        if field.key in ("antenna_l", "antenna_mhz") and k.s("antenna") == "none":
            continue
        value: Answer = k.n(field.key) if field.key == "cam_z" else (field.assumed or 0.0)
        moves = field.moves or "how often the lens is hit"
        found.append(Assumed(field.key, f"{_TOPIC[field.key]}: {field.ask}", field.words(value), moves))
    return tuple(found)


def _missing(answers: Mapping[str, Answer]) -> tuple[str, ...]:
    words = []
    if "name" not in answers:
        words.append("it has no name yet")
    if "weighed" not in answers:
        words.append("it was not weighed, so nobody knows what the sheet forgets")
    return tuple(words)


def _odd(k: _Known) -> tuple[str, ...]:
    words = []
    apart = k.n("wheelbase") / math.sqrt(2.0)
    if k.n("prop_d") > apart:
        words.append(
            f"props of {k.n('prop_d'):g} mm touch each other: neighbouring motors are {apart:.0f} mm apart"
        )
    if k.n("arm_tip") > k.n("arm_w"):
        words.append("the arms get wider towards the motor")
    if k.n("cam_z") > k.n("body_h"):
        words.append("the camera sits above the top plate")
    return tuple(words)


def with_balance(
    answers: Mapping[str, Answer], described: float, drawings: Sequence[Drawing] = ()
) -> Described:
    """The same, with the mass that the scales found beyond the described one put at the stack.

    Args:
        answers: with "weighed".
        described: mass of the parts without it, g.
        drawings: as for ``sheet_of``.
    """
    weighed = float(answers.get("weighed", described))
    return sheet_of(answers, drawings, max(weighed - described, 0.0))


def file_name(answers: Mapping[str, Answer]) -> str:
    """The sheet's file name: "my-quad.toml"."""
    return f"{slug_of(str(answers.get('name', 'My quad')))}.toml"
