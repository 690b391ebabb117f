"""Vectors as values inside kernels: several numbers side by side that one instruction works on.

The compiler turns plain loops into vector code only where it may reorder sums, and never for a recursion. Here a
kernel says itself which numbers lie side by side: `load` and `store` move them, + - * work on all of them, `greater`
and `lesser` keep maxima and minima. Every lane is computed in the same order on all processors.

Vectors live in registers: they are neither passed to Python nor kept in arrays. Indices count elements and are not
checked: the caller leaves room for whole vectors. The instructions behind all this are in `simd_lowering`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from qc.dsp.kernels.simd_lowering import (
    INT32,
    Lanes,
    call_of_llvm,
    converted,
    pattern,
    pointer_to,
    spread,
    undefined,
    vector_type,
)  # fmt: skip

_FINITE = ("nnan", "ninf", "nsz")
"""Maxima and minima are taken of finite numbers only: the audio is checked before any kernel processes it."""


def _function(signature_and_code: Callable[..., Any]) -> Any:
    """Make a function for kernels; typed as anything, as vectors are."""
    return intrinsic(signature_and_code)


# -- arithmetic ------------------------------------------------------------------------------------------------


def _of_two(emit: Callable[[Any, Any, Any], Any]) -> Any:
    @_function
    def function(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return emit(builder, *args)

        return x(x, y), code

    return function


greater = _of_two(lambda b, x, y: b.select(b.fcmp_ordered(">", x, y, flags=_FINITE), x, y))
"""greater(x, y): the greater of each two lanes; of finite numbers."""
lesser = _of_two(lambda b, x, y: b.select(b.fcmp_ordered("<", x, y, flags=_FINITE), x, y))
"""lesser(x, y): the lesser of each two lanes; of finite numbers."""


@_function
def muladd(typing: Any, x: Any, y: Any, z: Any) -> Any:  # noqa: ARG001
    """muladd(x, y, z): x y + z in one rounding on every processor that can; for what two loops must compute alike."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return call_of_llvm(builder, "fmuladd", x, args)

    return x(x, y, z), code


@_function
def magnitude(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """magnitude(x): absolute value of every lane."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return call_of_llvm(builder, "fabs", x, args)

    return x(x), code


@_function
def any_at_least(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
    """any_at_least(x, y): whether a lane of x is at least its lane of y."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        bits = builder.bitcast(builder.fcmp_ordered(">=", *args), ir.IntType(x.count))
        return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(x.count), 0))

    return types.boolean(x, y), code


@_function
def first_at_least(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
    """first_at_least(x, y): number of the first lane of x that is at least its lane of y; their count where none is."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        bits = builder.bitcast(builder.fcmp_ordered(">=", *args), ir.IntType(x.count))
        return builder.zext(builder.cttz(bits, ir.Constant(ir.IntType(1), 0)), ir.IntType(64))

    return types.int64(x, y), code


# -- memory ----------------------------------------------------------------------------------------------------


def loader(count: int) -> Any:
    """Make load(array, index): `count` consecutive elements of a one-dimensional contiguous array."""

    @_function
    def load(typing: Any, array: Any, index: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            vector = vector_type(array.dtype, count)
            at = pointer_to(context, builder, signature.args[0], args[0], args[1], vector)
            return builder.load(at, align=array.dtype.bitwidth // 8)

        return Lanes(array.dtype, count)(array, types.intp), code

    return load


@_function
def store(typing: Any, array: Any, index: Any, vector: Any) -> Any:  # noqa: ARG001
    """store(array, index, vector): put a vector into consecutive elements, in the array's own format."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        lanes = converted(builder, args[2], vector, array.dtype)
        at = pointer_to(context, builder, signature.args[0], args[0], args[1], lanes.type)
        builder.store(lanes, at, align=array.dtype.bitwidth // 8)
        return context.get_dummy_value()

    return types.void(array, types.intp, vector), code


# -- moving between lanes --------------------------------------------------------------------------------------


def splatter(count: int) -> Any:
    """Make splat(number): the same number in each of `count` lanes."""

    @_function
    def splat(typing: Any, number: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return spread(builder, args[0], count)

        return Lanes(number, count)(number), code

    return splat


def repeater(count: int) -> Any:
    """Make repeat(array, index): one element of a one-dimensional contiguous array in each of `count` lanes."""

    @_function
    def repeat(typing: Any, array: Any, index: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:
            single = vector_type(array.dtype, 1)
            at = pointer_to(context, builder, signature.args[0], args[0], args[1], single)
            loaded = builder.load(at, align=array.dtype.bitwidth // 8)
            return builder.shuffle_vector(loaded, undefined(single), pattern([0] * count))

        return Lanes(array.dtype, count)(array, types.intp), code

    return repeat


def filler(count: int) -> Any:
    """Make fill(array, number): the number in each of `count` lanes, in the array's own format."""

    @_function
    def fill(typing: Any, array: Any, number: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return spread(builder, context.cast(builder, args[1], number, array.dtype), count)

        return Lanes(array.dtype, count)(array, number), code

    return fill


def picker(lanes: Sequence[int]) -> Any:
    """Make pick(x): the vector of the lanes of x that `lanes` names."""
    lanes = list(lanes)

    @_function
    def pick(typing: Any, x: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return builder.shuffle_vector(args[0], undefined(args[0].type), pattern(lanes))

        return Lanes(x.element, len(lanes))(x), code

    return pick


def joiner(lanes: Sequence[int]) -> Any:
    """Make join(x, y): the vector of the lanes that `lanes` names, those of y counted on from those of x."""
    lanes = list(lanes)

    @_function
    def join(typing: Any, x: Any, y: Any) -> Any:  # noqa: ARG001
        def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
            return builder.shuffle_vector(args[0], args[1], pattern(lanes))

        return Lanes(x.element, len(lanes))(x, y), code

    return join


@_function
def lane(typing: Any, x: Any, index: Any) -> Any:  # noqa: ARG001
    """lane(x, index): one number of a vector."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.extract_element(args[0], builder.trunc(args[1], INT32))

    return x.element(x, types.int64), code


@_function
def put(typing: Any, x: Any, index: Any, number: Any) -> Any:  # noqa: ARG001
    """put(x, index, number): the vector with one number changed."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return builder.insert_element(args[0], args[2], builder.trunc(args[1], INT32))

    return x(x, types.int64, x.element), code


# -- between number formats ------------------------------------------------------------------------------------


@_function
def widen(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """widen(x): lanes as float64, which they may be already."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return converted(builder, args[0], x, types.float64)

    return Lanes(types.float64, x.count)(x), code


@_function
def narrow(typing: Any, x: Any) -> Any:  # noqa: ARG001
    """narrow(x): lanes as the nearest float32."""

    def code(context: Any, builder: Any, signature: Any, args: Any) -> Any:  # noqa: ARG001
        return converted(builder, args[0], x, types.float32)

    return Lanes(types.float32, x.count)(x), code
