"""Words in which the physics is written once, for one crash or for several side by side.

A value is a number, or a vector with one number for each of several crashes ("lanes", see ``simd``). A
condition is a truth value, or one for each lane. Python's ``if`` cannot ask a condition that differs between
lanes, so the physics chooses with ``where`` and leaves a branch only when ``some`` lane wants it. With plain
numbers these words mean what they say; ``simd`` teaches the compiler what they mean for vectors.
"""

from __future__ import annotations

import math
from typing import Any

from numba.core import types
from numba.extending import overload

__all__ = ["floor", "highest", "least", "lowest", "most", "no", "size", "some", "sqrt", "where"]


def sqrt(x: float) -> float:
    """Square root."""
    return math.sqrt(x)


def floor(x: float) -> float:
    """Largest whole number not above x."""
    return float(math.floor(x))


def size(x: float) -> float:
    """Absolute value."""
    return abs(x)


def least(a: float, b: float) -> float:
    """The smaller one; ``b`` when they cannot be compared."""
    return a if a < b else b


def most(a: float, b: float) -> float:
    """The larger one; ``b`` when they cannot be compared."""
    return a if a > b else b


def where(condition: bool, a: float, b: float) -> float:
    """``a`` where the condition holds, ``b`` elsewhere."""
    return a if condition else b


def some(condition: bool) -> bool:
    """Whether the condition holds in any lane."""
    return condition


def no(condition: bool) -> bool:
    """The opposite, lane by lane."""
    return not condition


def lowest(x: float) -> float:
    """The smallest number among the lanes."""
    return x


def highest(x: float) -> float:
    """The largest number among the lanes."""
    return x


def _plain(*arguments: Any) -> bool:
    return all(isinstance(a, types.Float | types.Integer | types.Boolean) for a in arguments)


@overload(sqrt, strict=False)
def _sqrt(x: Any) -> Any:
    return (lambda x: math.sqrt(x)) if _plain(x) else None  # noqa: PLW0108 - numba wants a lambda


@overload(floor, strict=False)
def _floor(x: Any) -> Any:
    return (lambda x: float(math.floor(x))) if _plain(x) else None


@overload(size, strict=False)
def _size(x: Any) -> Any:
    return (lambda x: abs(x)) if _plain(x) else None  # noqa: PLW0108 - numba wants a lambda


@overload(least, strict=False)
def _least(a: Any, b: Any) -> Any:
    return (lambda a, b: a if a < b else b) if _plain(a, b) else None


@overload(most, strict=False)
def _most(a: Any, b: Any) -> Any:
    return (lambda a, b: a if a > b else b) if _plain(a, b) else None


@overload(where, strict=False)
def _where(condition: Any, a: Any, b: Any) -> Any:
    return (lambda condition, a, b: a if condition else b) if _plain(condition, a, b) else None


@overload(some, strict=False)
def _some(condition: Any) -> Any:
    return (lambda condition: condition) if _plain(condition) else None


@overload(no, strict=False)
def _no(condition: Any) -> Any:
    return (lambda condition: not condition) if _plain(condition) else None


@overload(lowest, strict=False)
def _lowest(x: Any) -> Any:
    return (lambda x: x) if _plain(x) else None


@overload(highest, strict=False)
def _highest(x: Any) -> Any:
    return (lambda x: x) if _plain(x) else None
