"""What the names of `lanes` stand for: numba is taught a type of vectors and what can be done with them.

LLVM lowers them to whatever the processor has (512, 256 or 128 bits at a time), so nothing but numba is needed. Only
what compiles kernels imports this.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Sequence
from typing import Any

from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic, lower_builtin, models, register_model, type_callable
from numba.np.arrayobj import make_array

_INT32 = ir.IntType(32)
_ELEMENTS = {types.float32: ir.FloatType(), types.float64: ir.DoubleType()}
_FLAGS = ("contract", "nsz")
"""What the compiler may do: products contracted into sums, nothing reordered."""
_FINITE = ("nnan", "ninf", "nsz")
"""Maxima and minima are taken of finite numbers only: the audio is checked before any kernel hears it."""


class Lanes(types.Type):
    """numba's type of `count` elements side by side."""

    def __init__(self, element: Any, count: int) -> None:
        self.element, self.count = element, count
        super().__init__(name=f"Lanes({element} x {count})")


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    """LLVM's vector, held as it is."""

    def __init__(self, manager: Any, lanes: Lanes) -> None:
        super().__init__(manager, lanes, ir.VectorType(_ELEMENTS[lanes.element], lanes.count))  # type: ignore[no-untyped-call]


def _function(make: Callable[..., Any]) -> Any:
    """Make a function for kernels of one that gives its signature and its code; typed as anything, as vectors are."""
    return intrinsic(make)


# -- arithmetic ------------------------------------------------------------------------------------------------


def _arithmetic(operation: Callable[..., Any], emit: Callable[[Any, Any, Any], Any]) -> None:
    """Teach numba an operator on two vectors of one type."""

    @type_callable(operation)
    def typed(context: Any) -> Any:  # noqa: ARG001
        def typer(x: Any, y: Any) -> Any:
            return x if isinstance(x, Lanes) and x == y else None

        return typer

    @lower_builtin(operation, Lanes, Lanes)  # type: ignore[no-untyped-call, untyped-decorator]
    def lowered(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return emit(builder, *args)


_arithmetic(operator.add, lambda b, x, y: b.fadd(x, y, flags=_FLAGS))
_arithmetic(operator.sub, lambda b, x, y: b.fsub(x, y, flags=_FLAGS))
_arithmetic(operator.mul, lambda b, x, y: b.fmul(x, y, flags=_FLAGS))


def _of_vectors(builder: Any, name: str, lanes: Any, count: int) -> Any:
    """Give one of LLVM's own functions of `count` vectors of a type."""
    vector = ir.VectorType(_ELEMENTS[lanes.element], lanes.count)
    full = f"llvm.{name}.v{lanes.count}f{lanes.element.bitwidth}"
    kind = ir.FunctionType(vector, [vector] * count)
    return builder.module.globals.get(full) or ir.Function(builder.module, kind, full)


def _of_two(emit: Callable[[Any, Any, Any], Any]) -> Any:
    @_function
    def function(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return emit(builder, *args)

        return x(x, y), made

    return function


greater = _of_two(lambda b, x, y: b.select(b.fcmp_ordered(">", x, y, flags=_FINITE), x, y))
"""greater(x, y): the greater of each two lanes; of finite numbers."""
lesser = _of_two(lambda b, x, y: b.select(b.fcmp_ordered("<", x, y, flags=_FINITE), x, y))
"""lesser(x, y): the lesser of each two lanes; of finite numbers."""


@_function
def muladd(typing: Any, x: Any, y: Any, z: Any) -> Any:  # noqa: ARG001
    """Product of x and y, plus z: in one rounding on every processor that can, wherever it stands."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.call(_of_vectors(builder, "fmuladd", x, 3), args)

    return x(x, y, z), made


@_function
def magnitude(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """Absolute value of every lane."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.call(_of_vectors(builder, "fabs", x, 1), args)

    return x(x), made


@_function
def any_at_least(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
    """Whether a lane of x is at least its lane of y."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        bits = builder.bitcast(builder.fcmp_ordered(">=", *args), ir.IntType(x.count))
        return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(x.count), 0))

    return types.boolean(x, y), made


# -- memory ----------------------------------------------------------------------------------------------------


def _address(context: Any, builder: Any, array_type: Any, array: Any, index: Any, vector: Any) -> Any:
    """Point at an element of a contiguous array as at a vector."""
    first = make_array(array_type)(context, builder, array).data  # type: ignore[no-untyped-call]
    return builder.bitcast(builder.gep(first, [index]), vector.as_pointer())


def loader(count: int) -> Any:
    """Make load(array, index): `count` consecutive elements of a one-dimensional contiguous array."""

    @_function
    def load(typing: Any, array: Any, index: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            vector = ir.VectorType(_ELEMENTS[array.dtype], count)
            at = _address(context, builder, signature.args[0], args[0], args[1], vector)
            return builder.load(at, align=array.dtype.bitwidth // 8)

        return Lanes(array.dtype, count)(array, types.intp), made

    return load


@_function
def store(typing: Any, array: Any, index: Any, vector: Any) -> Any:  # noqa: ARG001
    """store(array, index, vector): put a vector into consecutive elements, in the array's own format."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        given = _as(builder, args[2], vector, array.dtype)
        at = _address(context, builder, signature.args[0], args[0], args[1], given.type)
        builder.store(given, at, align=array.dtype.bitwidth // 8)
        return context.get_dummy_value()

    return types.void(array, types.intp, vector), made


# -- moving between lanes --------------------------------------------------------------------------------------


def splatter(count: int) -> Any:
    """Make splat(number): the same number in each of `count` lanes."""

    @_function
    def splat(typing: Any, number: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            undefined = ir.Constant(ir.VectorType(args[0].type, count), ir.Undefined)
            first = builder.insert_element(undefined, args[0], _INT32(0))
            return builder.shuffle_vector(first, undefined, _pattern([0] * count))

        return Lanes(number, count)(number), made

    return splat


def repeater(count: int) -> Any:
    """Make repeat(array, index): one element of a one-dimensional contiguous array in each of `count` lanes."""

    @_function
    def repeat(typing: Any, array: Any, index: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            one = ir.VectorType(_ELEMENTS[array.dtype], 1)
            at = _address(context, builder, signature.args[0], args[0], args[1], one)
            loaded = builder.load(at, align=array.dtype.bitwidth // 8)
            return builder.shuffle_vector(loaded, ir.Constant(one, ir.Undefined), _pattern([0] * count))

        return Lanes(array.dtype, count)(array, types.intp), made

    return repeat


def filler(count: int) -> Any:
    """Make fill(array, number): the number in each of `count` lanes, in the array's own format."""

    @_function
    def fill(typing: Any, array: Any, number: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            undefined = ir.Constant(ir.VectorType(_ELEMENTS[array.dtype], count), ir.Undefined)
            one = context.cast(builder, args[1], number, array.dtype)
            return builder.shuffle_vector(
                builder.insert_element(undefined, one, _INT32(0)), undefined, _pattern([0] * count)
            )

        return Lanes(array.dtype, count)(array, number), made

    return fill


def picker(lanes: Sequence[int]) -> Any:
    """Make pick(x): the vector of the lanes of x that `lanes` names."""
    lanes = list(lanes)

    @_function
    def pick(typing: Any, x: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return builder.shuffle_vector(args[0], ir.Constant(args[0].type, ir.Undefined), _pattern(lanes))

        return Lanes(x.element, len(lanes))(x), made

    return pick


def joiner(lanes: Sequence[int]) -> Any:
    """Make join(x, y): the vector of the lanes that `lanes` names, those of y counted on from those of x."""
    lanes = list(lanes)

    @_function
    def join(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
        def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return builder.shuffle_vector(args[0], args[1], _pattern(lanes))

        return Lanes(x.element, len(lanes))(x, y), made

    return join


@_function
def lane(typing: Any, x: Any, index: Any) -> Any:  # noqa: ARG001
    """lane(x, index): one number of a vector."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.extract_element(args[0], builder.trunc(args[1], _INT32))

    return x.element(x, types.int64), made


@_function
def put(typing: Any, x: Any, index: Any, number: Any) -> Any:  # noqa: ARG001
    """put(x, index, number): the vector with one number changed."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.insert_element(args[0], args[2], builder.trunc(args[1], _INT32))

    return x(x, types.int64, x.element), made


def _pattern(lanes: Sequence[int]) -> Any:
    return ir.Constant(ir.VectorType(_INT32, len(lanes)), list(lanes))


# -- between number formats ------------------------------------------------------------------------------------


def _as(builder: Any, vector: Any, lanes: Any, element: Any) -> Any:
    """Turn a vector into another format: exactly, or to the nearest."""
    if lanes.element == element:
        return vector
    change = builder.fpext if element == types.float64 else builder.fptrunc
    return change(vector, ir.VectorType(_ELEMENTS[element], lanes.count))


@_function
def widen(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """Give lanes as float64, which they may be already."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return _as(builder, args[0], x, types.float64)

    return Lanes(types.float64, x.count)(x), made


@_function
def narrow(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """Give lanes as the nearest float32."""

    def made(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return _as(builder, args[0], x, types.float32)

    return Lanes(types.float32, x.count)(x), made
