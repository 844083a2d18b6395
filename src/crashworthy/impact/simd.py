# mypy: disable-error-code="no-untyped-call, attr-defined, misc, untyped-decorator"
# ruff: noqa: ARG001, ARG002 - numba fixes the signatures of its extensions
"""Vectors for the compiler: several crashes in one register, with the operators and words of the physics.

``VectorType`` is an LLVM vector of doubles, ``MaskType`` one truth value a lane, ``ViewType`` an array of
vectors: a NumPy array whose last axis is the lane. Arithmetic and comparison between vectors, and between
vectors and numbers, work lane by lane; ``lanes`` gives the words their meaning; a number that meets a vector
in a variable becomes a vector of equal lanes. ``bench/crash_engine.py`` measures what that gains.

This module leans on numba's extension layer, which may change between its versions. When it cannot be
loaded, the crash engine runs the same physics with plain numbers and says so (``width.WIDTH`` is 1).
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, Final

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.typeconv import Conversion
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, lower_cast, models, register_model

from crashworthy.impact import lanes as words

__all__ = ["FREEDOMS", "MaskType", "VectorType", "ViewType", "views"]

FREEDOMS: Final = ("contract", "nsz")
"""Floating-point freedoms of vector operations; the same as of numbers, so that both round alike."""

_INDEX: Final = ir.IntType(64)


class VectorType(types.Type):
    """``width`` doubles."""

    def __init__(self, width: int) -> None:
        """Take the number of lanes."""
        self.width = width
        super().__init__(f"vector of {width}")

    @property
    def llvm(self) -> ir.VectorType:
        """The register."""
        return ir.VectorType(ir.DoubleType(), self.width)

    def unify(self, context: Any, other: types.Type) -> types.Type | None:
        """A variable that holds now a number, now a vector, holds vectors."""
        return self if isinstance(other, types.Float | types.Integer) else None

    def can_convert_from(self, context: Any, other: types.Type) -> Any:
        """Numbers become vectors of equal lanes."""
        return Conversion.safe if isinstance(other, types.Float | types.Integer) else None


class MaskType(types.Type):
    """``width`` truth values."""

    def __init__(self, width: int) -> None:
        """Take the number of lanes."""
        self.width = width
        super().__init__(f"mask of {width}")

    @property
    def llvm(self) -> ir.VectorType:
        """The register."""
        return ir.VectorType(ir.IntType(1), self.width)


class ViewType(types.Type):
    """Array of numbers or vectors with ``ndim`` indices; the memory belongs to the NumPy array behind it.

    Unlike numba's arrays it is not counted who uses it: in the innermost loops counting costs more than the
    physics (2.2 against 0.7 µs a step, measured).
    """

    def __init__(self, dtype: types.Type, width: int, ndim: int) -> None:
        """Take the type of the numbers, the number of lanes (0: plain numbers) and of indices."""
        self.dtype, self.width, self.ndim = dtype, width, ndim
        self.element = VectorType(width) if width else dtype
        super().__init__(f"view of {dtype}, {width} lanes, {ndim} indices")


@register_model(VectorType)
class _VectorModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: VectorType) -> None:
        super().__init__(manager, kind, kind.llvm)


@register_model(MaskType)
class _MaskModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: MaskType) -> None:
        super().__init__(manager, kind, kind.llvm)


@register_model(ViewType)
class _ViewModel(models.StructModel):
    def __init__(self, manager: Any, kind: ViewType) -> None:
        shape = [(f"n{i}", types.int64) for i in range(kind.ndim)]
        super().__init__(manager, kind, [("data", types.CPointer(kind.dtype)), *shape])


def _spread(context: Any, builder: Any, value: Any, kind: types.Type, vector: VectorType) -> Any:
    """A value as vector: itself, or a number in every lane."""
    if isinstance(kind, VectorType):
        return value
    number = context.cast(builder, value, kind, types.float64)
    empty = ir.Constant(vector.llvm, ir.Undefined)
    first = builder.insert_element(empty, number, ir.Constant(ir.IntType(32), 0))
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), vector.width), [0] * vector.width)
    return builder.shuffle_vector(first, empty, zeros)


@lower_cast(types.Float, VectorType)
@lower_cast(types.Integer, VectorType)
def _number_to_vector(context: Any, builder: Any, given: Any, wanted: Any, value: Any) -> Any:
    return _spread(context, builder, value, given, wanted)


def _vector_among(kinds: tuple[types.Type, ...]) -> VectorType | None:
    found = next((k for k in kinds if isinstance(k, VectorType)), None)
    good = all(isinstance(k, VectorType | types.Float | types.Integer) for k in kinds)
    return found if good else None


def _teach(
    word: Any,
    count: int,
    code: Callable[[Any, tuple[Any, ...], VectorType], Any],
    result: Callable[[VectorType], types.Type] = lambda v: v,
) -> None:
    """Give a word or operator of ``count`` values a meaning for vectors."""

    class Template(AbstractTemplate):
        key = word

        def generic(self, args: Any, kws: Any) -> Any:
            vector = _vector_among(args) if len(args) == count and not kws else None
            return None if vector is None else signature(result(vector), *args)

    if word.__module__ == "_operator":
        infer_global(word)(Template)
    else:
        infer_global(word, types.Function(Template))

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        vector = _vector_among(sig.args)
        assert vector is not None  # noqa: S101 - the template above saw to it
        values = tuple(_spread(context, builder, a, t, vector) for a, t in zip(args, sig.args, strict=True))
        return code(builder, values, vector)

    pairs: list[list[Any]] = [[VectorType] * count]
    if count == 2:
        pairs += [[VectorType, types.Number], [types.Number, VectorType]]
    for kinds in pairs:
        lower_builtin(word, *kinds)(lower)


def _operators() -> None:
    arithmetic = {
        "fadd": (operator.add, operator.iadd),
        "fsub": (operator.sub, operator.isub),
        "fmul": (operator.mul, operator.imul),
        "fdiv": (operator.truediv, operator.itruediv),
    }
    for name, both in arithmetic.items():
        for word in both:

            def code(builder: Any, args: Any, vector: VectorType, name: str = name) -> Any:
                return getattr(builder, name)(*args, flags=FREEDOMS)

            _teach(word, 2, code)
    _teach(operator.neg, 1, lambda b, args, _: b.fneg(args[0], flags=FREEDOMS))
    comparisons = {
        operator.lt: "<",
        operator.le: "<=",
        operator.gt: ">",
        operator.ge: ">=",
        operator.eq: "==",
    }
    for word, sign in comparisons.items():

        def compare(builder: Any, args: Any, vector: VectorType, sign: str = sign) -> Any:
            return builder.fcmp_ordered(sign, *args)

        _teach(word, 2, compare, lambda v: MaskType(v.width))


def _intrinsic(name: str) -> Callable[[Any, tuple[Any, ...], VectorType], Any]:
    def code(builder: Any, args: Any, vector: VectorType) -> Any:
        kind = ir.FunctionType(vector.llvm, [vector.llvm] * len(args))
        function = cgutils.get_or_insert_function(builder.module, kind, f"llvm.{name}.v{vector.width}f64")
        return builder.call(function, args, fastmath=FREEDOMS)

    return code


def _words() -> None:
    _teach(words.sqrt, 1, _intrinsic("sqrt"))
    _teach(words.floor, 1, _intrinsic("floor"))
    _teach(words.size, 1, _intrinsic("fabs"))
    for word, sign in ((words.least, "<"), (words.most, ">")):

        def choose(builder: Any, args: Any, vector: VectorType, sign: str = sign) -> Any:
            return builder.select(builder.fcmp_ordered(sign, *args), *args)

        _teach(word, 2, choose)


def _extreme(sign: str) -> Callable[[Any, tuple[Any, ...], VectorType], Any]:
    """Halve the vector again and again, keeping the numbers that ``sign`` prefers."""

    def code(builder: Any, args: Any, vector: VectorType) -> Any:
        value, width = args[0], vector.width
        while width > 1:
            width //= 2
            kind = ir.VectorType(ir.IntType(32), width)
            empty = ir.Constant(value.type, ir.Undefined)
            low, high = (
                builder.shuffle_vector(value, empty, ir.Constant(kind, list(range(first, first + width))))
                for first in (0, width)
            )
            value = builder.select(builder.fcmp_ordered(sign, low, high), low, high)
        return builder.extract_element(value, ir.Constant(ir.IntType(32), 0))

    return code


_operators()
_words()
_teach(words.lowest, 1, _extreme("<"), lambda _: types.float64)
_teach(words.highest, 1, _extreme(">"), lambda _: types.float64)


class _Where(AbstractTemplate):
    key = words.where

    def generic(self, args: Any, kws: Any) -> Any:
        if len(args) != 3 or not isinstance(args[0], MaskType):
            return None
        return signature(VectorType(args[0].width), *args)


class _Some(AbstractTemplate):
    key = words.some

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(types.boolean, *args) if isinstance(args[0], MaskType) else None


class _No(AbstractTemplate):
    key = words.no

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(args[0], *args) if isinstance(args[0], MaskType) else None


for _template in (_Where, _Some, _No):
    infer_global(_template.key, types.Function(_template))


@lower_builtin(words.where, MaskType, types.Any, types.Any)
def _lower_where(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    vector = sig.return_type
    a, b = (_spread(context, builder, x, t, vector) for x, t in zip(args[1:], sig.args[1:], strict=True))
    return builder.select(args[0], a, b)


@lower_builtin(words.some, MaskType)
def _lower_some(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    bits = ir.IntType(sig.args[0].width)
    return builder.icmp_unsigned("!=", builder.bitcast(args[0], bits), ir.Constant(bits, 0))


@lower_builtin(words.no, MaskType)
def _lower_no(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    return builder.not_(args[0])


def _mask_operator(word: Any, name: str) -> None:
    @infer_global(word)
    class Template(AbstractTemplate):
        key = word

        def generic(self, args: Any, kws: Any) -> Any:
            good = len(args) == 2 and isinstance(args[0], MaskType) and args[0] == args[1]
            return signature(args[0], *args) if good else None

    @lower_builtin(word, MaskType, MaskType)
    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return getattr(builder, name)(*args)


_mask_operator(operator.and_, "and_")
_mask_operator(operator.or_, "or_")


@infer_global(operator.getitem)
class _Get(AbstractTemplate):
    key = operator.getitem

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(args[0].element, *args) if isinstance(args[0], ViewType) else None


@infer_global(operator.setitem)
class _Set(AbstractTemplate):
    key = operator.setitem

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(types.none, *args) if isinstance(args[0], ViewType) else None


@infer_global(len)
class _Len(AbstractTemplate):
    key = len

    def generic(self, args: Any, kws: Any) -> Any:
        return signature(types.int64, *args) if isinstance(args[0], ViewType) else None


def _address(context: Any, builder: Any, kind: ViewType, view: Any, at: types.Type, index: Any) -> Any:
    """Pointer to the element at an index: one integer, or a tuple of them."""
    parts = cgutils.unpack_tuple(builder, index) if isinstance(at, types.BaseTuple) else [index]
    kinds = list(at.types) if isinstance(at, types.BaseTuple) else [at]
    given = cgutils.create_struct_proxy(kind)(context, builder, view)
    place = ir.Constant(_INDEX, 0)
    for axis, (part, integer) in enumerate(zip(parts, kinds, strict=True)):
        whole = context.cast(builder, part, integer, types.int64)
        place = whole if axis == 0 else builder.add(builder.mul(place, getattr(given, f"n{axis}")), whole)
    step = builder.mul(place, ir.Constant(_INDEX, max(1, kind.width)), flags=("nsw",))
    at_it = builder.gep(given.data, [step], inbounds=True)
    return builder.bitcast(at_it, kind.element.llvm.as_pointer()) if kind.width else at_it


@lower_builtin(operator.getitem, ViewType, types.Any)
def _lower_get(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    kind = sig.args[0]
    at = _address(context, builder, kind, args[0], sig.args[1], args[1])
    return builder.load(at, align=8 * kind.width) if kind.width else builder.load(at)


@lower_builtin(operator.setitem, ViewType, types.Any, types.Any)
def _lower_set(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    kind = sig.args[0]
    at = _address(context, builder, kind, args[0], sig.args[1], args[1])
    if kind.width:
        builder.store(_spread(context, builder, args[2], sig.args[2], kind.element), at, align=8 * kind.width)
    else:
        builder.store(context.cast(builder, args[2], sig.args[2], kind.dtype), at)
    return context.get_dummy_value()


@lower_builtin(len, ViewType)
def _lower_len(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    return cgutils.create_struct_proxy(sig.args[0])(context, builder, args[0]).n0


def _view_of(array: types.Array, lanes: int) -> ViewType:
    wide = lanes if array.dtype == types.float64 else 0
    return ViewType(array.dtype, wide, array.ndim - (1 if wide else 0))


@intrinsic
def views(typing: Any, fields: Any, width: Any) -> Any:
    """The same named tuple with its NumPy arrays as views; numbers stay as they are.

    ``width`` is a tuple of integers: its length, part of its type, is the number of lanes, which are the last
    axis of every array of doubles (which must begin where a register may be loaded from). An empty tuple
    means plain numbers. The caller keeps the arrays alive.
    """
    if not isinstance(fields, types.BaseNamedTuple):
        return None
    lanes = len(width)
    kinds = [_view_of(t, lanes) if isinstance(t, types.Array) else t for t in fields.types]
    made_type = types.NamedTuple(kinds, fields.instance_class)

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        # Registers that are put aside on the stack must not straddle two lines of the cache.
        builder.function.attributes.alignstack = max(16, 8 * lanes)
        values = []
        for given, old, new in zip(cgutils.unpack_tuple(builder, args[0]), fields.types, kinds, strict=True):
            if not isinstance(new, ViewType):
                values.append(given)
                continue
            array = context.make_array(old)(context, builder, given)
            made = cgutils.create_struct_proxy(new)(context, builder)
            made.data = array.data
            for axis, length in enumerate(cgutils.unpack_tuple(builder, array.shape)[: new.ndim]):
                setattr(made, f"n{axis}", length)
            values.append(made._getvalue())
        return context.make_tuple(builder, made_type, values)

    return made_type(fields, width), code
