"""A dozen questions that describe a quad, each with where to measure and what is assumed when it is skipped.

Command line and web app ask the same rows; ``answers.sheet_of`` turns what was answered into a build sheet.
Lengths mm, masses g, angles degrees. Every default is a common size of a 5-inch freestyle quad (common
practice, no source) and is labelled assumed wherever it is used.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from crashworthy.errors import Problem, SheetError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["FIELDS", "QUESTIONS", "Answer", "Field", "Question", "all_checked", "checked", "field_of"]

Answer: TypeAlias = str | float


@dataclass(frozen=True, slots=True)
class Field:
    """One value that a question asks for.

    Attributes:
        key: its name in answers ("wheelbase").
        ask: what is asked, in words.
        unit: "mm", "g", "deg", "MHz" or "".
        assumed: value when it is skipped; None when nothing is assumed and it stays unknown.
        low, high: range of a number.
        options: (value, words) of a choice; empty for numbers and text.
        moves: what the assumption moves in the results, ready for "moves ...".
    """

    key: str
    ask: str
    unit: str
    assumed: Answer | None
    low: float = 0.0
    high: float = 0.0
    options: tuple[tuple[str, str], ...] = ()
    moves: str = ""

    @property
    def is_text(self) -> bool:
        """Whether any text will do."""
        return not self.options and not self.high

    def words(self, answer: Answer) -> str:
        """An answer with its unit, or the words of a choice."""
        if self.options:
            return dict(self.options).get(str(answer), str(answer))
        if self.is_text:
            return str(answer)
        return f"{float(answer):g} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the dozen.

    Attributes:
        key: short name.
        title: in a few words.
        hint: where and how to measure.
        picture: name of the sketch that shows it, one of ``pictures.measuring.SKETCHES``.
        fields: what is asked.
    """

    key: str
    title: str
    hint: str
    picture: str
    fields: tuple[Field, ...]


def _number(
    key: str, ask: str, unit: str, assumed: float | None, low: float, high: float, moves: str = ""
) -> Field:
    return Field(key, ask, unit, assumed, low, high, (), moves)


QUESTIONS: Final = (
    Question(
        "name", "What is it called?", "The name it gets in the fleet and on every sheet.", "",
        (Field("name", "name", "", None),),
    ),
    Question(
        "span", "How far apart are the motors?",
        "From the middle of one motor to the middle of the one diagonally opposite, across the body.", "span",
        (
            _number("wheelbase", "motor to motor, diagonally", "mm", 226, 120, 420,
                    "the length of the arms and so their stiffness, the size of the whole quad, its inertia"),
        ),
    ),
    Question(
        "arms", "How big are the arms?",
        "Thickness with a caliper at the edge. Width where the arm leaves the plates, and just before the "
        "round pad under the motor.", "arms",
        (
            _number("arm_t", "thickness", "mm", 5, 1.5, 12,
                    "the strength of the arms (with its square) and their stiffness (with its cube)"),
            _number("arm_w", "width at the body", "mm", 17, 5, 50, "the strength of the arms"),
            _number("arm_tip", "width at the motor", "mm", 12, 5, 50, "the stiffness of the arms"),
            Field("arm_material", "material", "", "carbon_plate", options=(
                ("carbon_plate", "carbon fibre plate"), ("al6061", "aluminium 6061"),
                ("al7075", "aluminium 7075"),
            ), moves="strength, stiffness and mass of the arms"),
        ),
    ),
    Question(
        "motors", "Which motors?",
        "Across the bell; from the arm up to where the prop sits. Weigh one with its wires when you can.",
        "motors",
        (
            _number("motor_d", "diameter of the bell", "mm", 28, 12, 45, "how often a bell is touched"),
            _number("motor_h", "height up to the prop", "mm", 19, 8, 40, "where the props strike"),
            _number("motor_mass", "mass of one with wires", "g", 33, 5, 120,
                    "the load on the arms in every crash: the motor is what bends them"),
        ),
    ),
    Question(
        "props", "Which props?",
        "Diameter over the tips: inches times 25.4, so a 5-inch prop is 127 mm.", "props",
        (
            _number("prop_d", "diameter", "mm", 127, 50, 260, "how often props are hit first"),
            _number("blades", "blades", "", 3, 2, 8, "how often props are hit when they stand still"),
        ),
    ),
    Question(
        "body", "How big is the body?",
        "The plates between the arms: length from nose to tail, width across, and the clear height between "
        "bottom and top plate, which is the length of the standoffs.", "body",
        (
            _number("body_l", "length", "mm", 120, 50, 320, "what the frame covers of camera and antennas"),
            _number("body_w", "width", "mm", 42, 24, 120,
                    "where the arms begin to be free, and so their stiffness"),
            _number("body_h", "clear height", "mm", 30, 16, 70, "how deep the boards are hidden"),
        ),
    ),
    Question(
        "stack", "Which boards are inside?",
        "The spacing of the four screws that hold the boards, middle to middle.", "stack",
        (
            Field("stack", "screw spacing", "", "30.5", options=(
                ("30.5", "30.5 mm, two boards"), ("20", "20 mm, two boards"), ("25.5", "25.5 mm, one board"),
                ("none", "none"),
            ), moves="the shock on the electronics, some 10 g of mass"),
        ),
    ),
    Question(
        "camera", "Where is the camera?",
        "How far the front of the lens stays behind the front edge of the plates (negative when it sticks "
        "out), how high its middle is above the underside of the arms, and its tilt. The angle that the "
        "picture spans stands in the camera's data sheet.", "camera",
        (
            _number("cam_recess", "lens behind the front edge", "mm", 2, -15, 40,
                    "how often the lens is hit"),
            _number("cam_z", "height of the lens", "mm", None, 5, 70, ""),
            _number("cam_tilt", "tilt up", "deg", 30, 0, 70, "what the lens meets in a crash"),
            _number("cam_fov", "picture, from left to right", "deg", 130, 50, 200,
                    "what the frame takes of the picture"),
        ),
    ),
    Question(
        "antenna", "Where is the video antenna?",
        "Where its foot is fixed, and its length from there to the end. The frequency that it is made for.",
        "antenna",
        (
            Field("antenna", "place", "", "rear_top", options=(
                ("rear_top", "on top at the rear"), ("side", "at the side, low"),
                ("arm", "on a rear arm"), ("none", "none"),
            ), moves="how often the antenna is hit and breaks"),
            _number("antenna_l", "length", "mm", 45, 10, 160, "how often the antenna is hit"),
            _number("antenna_mhz", "frequency", "MHz", 5800, 100, 10000, "how far the antenna is heard"),
        ),
    ),
    Question(
        "battery", "Which pack, and where?",
        "The pack as flown, with its sleeve and leads tucked in. On the scales when you can.", "battery",
        (
            _number("pack_l", "length", "mm", 76, 20, 200, "where the pack meets an obstacle"),
            _number("pack_w", "width", "mm", 38, 10, 80, "where the pack meets an obstacle"),
            _number("pack_h", "height", "mm", 36, 10, 80, "where the pack meets an obstacle"),
            _number("pack_mass", "mass", "g", 190, 20, 900,
                    "the mass of the quad and so the energy of every crash"),
            Field("pack_long", "its length lies", "", "x", options=(
                ("x", "from nose to tail"), ("y", "across"),
            ), moves="where the pack meets an obstacle"),
            Field("pack_place", "it sits", "", "top", options=(
                ("top", "on the top plate"), ("under", "under the bottom plate"),
            ), moves="the centre of gravity and what protects the pack"),
        ),
    ),
    Question(
        "screws", "Which screws?",
        "Thread of the arm screws, and lengths under the head: those through the arms, and those into the "
        "motors.", "screws",
        (
            Field("thread", "thread", "", "M3", options=(
                ("M2", "M2"), ("M2.5", "M2.5"), ("M3", "M3"), ("M4", "M4"),
            ), moves="torques, and the hole that weakens the arm's root"),
            _number("arm_screw", "length, arms", "mm", 12, 4, 40, "the torque of the arm screws"),
            _number("motor_screw", "length, motors", "mm", 8, 3, 25, "the torque of the motor screws"),
        ),
    ),
    Question(
        "weighed", "What do the scales say?",
        "The whole quad, ready to fly, with pack and props. Leave it empty until you have weighed it.", "",
        (_number("weighed", "ready to fly", "g", None, 60, 5000, ""),),
    ),
)  # fmt: skip
"""The questions in the order in which they are asked."""

FIELDS: Final = tuple(field for question in QUESTIONS for field in question.fields)
"""Every field of every question."""

_NAME_MAX: Final = 60


def field_of(key: str) -> Field:
    """The field called ``key``.

    Raises:
        SheetError: there is none.
    """
    for field in FIELDS:
        if field.key == key:
            return field
    known = ", ".join(f.key for f in FIELDS)
    raise SheetError(Problem(f"nothing asks for {key!r}", f"what is asked: {known}", field=key))


def checked(key: str, text: object) -> Answer | None:
    """One answer as typed, checked; None when it was skipped.

    Args:
        key: of the field.
        text: what was typed, or a number.

    Raises:
        SheetError: it cannot be used, with the range or the choices.
    """
    field = field_of(key)
    typed = str(text).strip()
    if not typed:
        return None
    if field.options:
        return _chosen(field, typed)
    if field.is_text:
        from crashworthy.build.sheet import slug_of

        if not slug_of(typed) or len(typed) > _NAME_MAX or not typed.isprintable():
            raise SheetError(
                Problem(
                    f"{typed!r} cannot be a name",
                    f"give a letter or digit, at most {_NAME_MAX} characters",
                    field=key,
                )
            )
        return typed
    number = _converted(typed, field.unit)
    whole = field.unit == ""
    if not field.low <= number <= field.high or (whole and number != int(number)):
        unit = f" {field.unit}" if field.unit else ""
        kind = "a whole number" if whole else "a number"
        raise SheetError(
            Problem(
                f"{typed!r} cannot be the answer to '{field.ask}'",
                f"give {kind} from {field.low:g} to {field.high:g}{unit}, or skip it",
                field=key,
            )
        )
    return number


_UNITS: Final = {
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4},
    "g": {"g": 1.0, "kg": 1000.0, "oz": 28.349523125},
    "deg": {"deg": 1.0, "degrees": 1.0, "°": 1.0},
    "MHz": {"mhz": 1.0, "ghz": 1000.0},
}
"""Factor to the unit that is asked for, by what may follow a number; inch and ounce are exact."""


def _converted(typed: str, unit: str) -> float:
    """The number typed, in the unit that is asked for; NaN when it is none."""
    found = re.fullmatch(r"([+-]?[0-9]*[.,]?[0-9]+|[+-]?[0-9]+[.,])\s*(\D*)", typed)
    if found is None:
        return math.nan
    factor = {"": 1.0, **_UNITS.get(unit, {})}.get(found[2].strip().lower(), math.nan)
    return round(float(found[1].replace(",", ".")) * factor, 6)


def _chosen(field: Field, typed: str) -> str:
    """The value of a choice by value, words, a part of them, or number in the list.

    Raises:
        SheetError: none or several fit.
    """
    said = typed.lower()
    values = [value for value, _ in field.options]
    tests: tuple[Callable[[str, str], bool], ...] = (
        lambda value, _: value.lower() in (said, f"m{said}"),  # "3" for M3
        lambda _, words: words.lower() == said,
        lambda value, _: value.lower().startswith(said),
        lambda _, words: words.lower().startswith(said),
        lambda _, words: said in words.lower(),
    )
    for fits in tests:
        found = [value for value, words in field.options if fits(value, words)]
        if len(found) == 1:
            return found[0]
    if said in [str(n) for n in range(1, len(values) + 1)]:
        return values[int(said) - 1]
    choices = "; ".join(value if value == words else f"{value} ({words})" for value, words in field.options)
    raise SheetError(Problem(f"{typed!r} is none of the choices", f"give one of: {choices}", field=field.key))


def all_checked(raw: Mapping[str, object]) -> dict[str, Answer]:
    """Every answer that was given, checked.

    Raises:
        SheetError: what cannot be used, all of it.
    """
    found: dict[str, Answer] = {}
    problems: list[Problem] = []
    for key, text in raw.items():
        try:
            answer = checked(key, text)
        except SheetError as error:
            problems += error.problems
            continue
        if answer is not None:
            found[key] = answer
    if problems:
        raise SheetError(*problems)
    return found
