"""numba's type of several numbers side by side, and the LLVM instructions behind `simd`.

LLVM lowers vectors to whatever the processor has, 512, 256 or 128 bits at a time. Written with numba's extension
interface (`numba.extending`) and llvmlite's builder of instructions (`llvmlite.ir`).
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Sequence
from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import lower_builtin, models, register_model, type_callable

INT32 = ir.IntType(32)
ELEMENTS = {types.float32: ir.FloatType(), types.float64: ir.DoubleType()}
_FLAGS = ("contract", "nsz")
"""Freedom of the compiler: products contracted into sums, nothing reordered."""


class Lanes(types.Type):
    """numba's type of `count` elements side by side."""

    def __init__(self, element: Any, count: int) -> None:
        self.element, self.count = element, count
        super().__init__(name=f"Lanes({element} x {count})")


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    """Data model of a vector: LLVM's own vector type."""

    def __init__(self, manager: Any, lanes: Lanes) -> None:
        super().__init__(manager, lanes, vector_type(lanes.element, lanes.count))  # type: ignore[no-untyped-call]


def vector_type(element: Any, count: int) -> Any:
    """LLVM's type of `count` elements of a numba type."""
    return ir.VectorType(ELEMENTS[element], count)


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


def call_of_llvm(builder: Any, name: str, lanes: Lanes, args: Sequence[Any]) -> Any:
    """Call one of LLVM's own functions of vectors, all of one type."""
    vector = vector_type(lanes.element, lanes.count)
    full = f"llvm.{name}.v{lanes.count}f{lanes.element.bitwidth}"
    kind = ir.FunctionType(vector, [vector] * len(args))
    return builder.call(builder.module.globals.get(full) or ir.Function(builder.module, kind, full), args)


def pointer_to(context: Any, builder: Any, array_type: Any, array: Any, index: Any, vector: Any) -> Any:
    """Point at an element of a contiguous array as at a vector."""
    first = context.make_array(array_type)(context, builder, array).data
    return builder.bitcast(builder.gep(first, [index]), vector.as_pointer())


def pattern(lanes: Sequence[int]) -> Any:
    """Constant that names the lanes a shuffle takes."""
    return ir.Constant(ir.VectorType(INT32, len(lanes)), list(lanes))


def undefined(vector: Any) -> Any:
    """Vector of a type whose lanes are all to be filled, or not to be read."""
    return ir.Constant(vector, ir.Undefined)


def spread(builder: Any, number: Any, count: int) -> Any:
    """Put a number into each of `count` lanes."""
    empty = undefined(ir.VectorType(number.type, count))
    first = builder.insert_element(empty, number, INT32(0))
    return builder.shuffle_vector(first, empty, pattern([0] * count))


def converted(builder: Any, vector: Any, lanes: Lanes, element: Any) -> Any:
    """Convert a vector to another number format: exactly, or to the nearest."""
    if lanes.element == element:
        return vector
    change = builder.fpext if element == types.float64 else builder.fptrunc
    return change(vector, vector_type(element, lanes.count))
