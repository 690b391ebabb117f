"""Four second-order sections over two channels at once, in eight float64 lanes.

A recursion cannot be spread over time, but the sections of a cascade can be worked on side by side: while section 1
takes frame i, section 2 takes frame i - LAG, section 3 frame i - 2 LAG. Lane 2 k + c is section k of channel c, and
each step moves what came out LAG frames ago two lanes on. The result is the same as one section after the other; it
only comes later, by LAG frames a section.

Each section is an all-pole recursion p behind which the zeros are taken: p' = (c1 x + c2 x-) - a2 p- - a1 p and
y = b0 x + p, with c1 = b1 - a1 b0 and c2 = b2 - a2 b0. So the chain from one frame to the next is a single
multiply-add, and eight of them go on at once.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters.biquad import UNITY, Sections
from qc.dsp.kernels.compile import kernel
from qc.dsp.kernels.simd import joiner, lane, loader, muladd, put, splatter, store, widen

Array = NDArray[np.float64]

LAG = 4
"""Frames by which each section comes later than the one before it."""
STAGES = 4
LANES = 2 * STAGES
_AT_REST = 1e-150
"""State below which a section is at rest: its square is next to nothing in float64."""

load, four, splat = loader(LANES), loader(4), splatter(LANES)
# Eight lanes of four frames, left and right in turn, and back: what left sections 2 and 4 of two frames, then of four.
_pairs = joiner([0, 4, 1, 5, 2, 6, 3, 7])
_halfway_through, _through = joiner([2, 3, 6, 7, 10, 11, 14, 15]), joiner([6, 7, 14, 15])
_left_second, _right_second = joiner([0, 4, 8, 12]), joiner([1, 5, 9, 13])
_left_fourth, _right_fourth = joiner([2, 6, 10, 14]), joiner([3, 7, 11, 15])
_left, _right = joiner([0, 2, 4, 6]), joiner([1, 3, 5, 7])
# A pair enters the first two lanes, and what left each section moves two lanes on.
_first_in, _second_in, _third_in, _fourth_in = (
    joiner([2 * k, 2 * k + 1, *range(LANES, 2 * LANES - 2)]) for k in range(4)
)


def coefficients(sections: Sections) -> Array:
    """Arrange up to four sections for the lanes, (5, 8): b0, c1, c2, -a1, -a2; a missing section passes all."""
    rows = np.vstack([sections, np.tile(UNITY, (STAGES - len(sections), 1))])
    b0, b1, b2, a1, a2 = np.repeat(rows, 2, axis=0).T
    return np.ascontiguousarray([b0, b1 - a1 * b0, b2 - a2 * b0, -a1, -a2])


def at_rest() -> Array:
    """Return the state of sections before their first frame, zeros, (7, 8)."""
    return np.zeros((7, LANES))


def settle(state: Array) -> None:
    """Put to rest what rings on in digital silence, before its numbers are too small for the processor."""
    state[np.abs(state) < _AT_REST] = 0.0


@kernel
def constants(c: Array) -> Any:
    """Load what `coefficients` returned into registers."""
    return load(c[0], 0), load(c[1], 0), load(c[2], 0), load(c[3], 0), load(c[4], 0)


@kernel
def resume(state: Array) -> Any:
    """Load a state into registers: p, p-, x-, and the outputs of the last four frames."""
    return (
        load(state[0], 0), load(state[1], 0), load(state[2], 0), load(state[3], 0), load(state[4], 0),
        load(state[5], 0), load(state[6], 0),
    )  # fmt: skip


@kernel
def step(x: Any, constant: Any, registers: Any) -> Any:
    """Filter one value a section; return the state after it, whose fourth vector is what came out of the sections."""
    b0, c1, c2, a1, a2 = constant  # the last two turned round
    p, before, last, y1, y2, y3, _ = registers
    rest = muladd(a2, before, muladd(c1, x, c2 * last))
    return muladd(a1, p, rest), p, x, muladd(b0, x, p), y1, y2, y3


@kernel
def _one(left: float, right: float, constant: Any, registers: Any) -> Any:
    """Filter one frame of two channels."""
    return step(_first_in(put(splat(left), 1, right), registers[6]), constant, registers)


@kernel
def _four(left: NDArray[Any], right: NDArray[Any], i: int, constant: Any, registers: Any) -> Any:
    """Filter four frames of two channels; return the state after each."""
    pairs = _pairs(widen(four(left, i)), widen(four(right, i)))
    first = step(_first_in(pairs, registers[6]), constant, registers)
    second = step(_second_in(pairs, first[6]), constant, first)
    third = step(_third_in(pairs, second[6]), constant, second)
    return first, second, third, step(_fourth_in(pairs, third[6]), constant, third)


@kernel
def suspend(registers: Any, state: Array) -> None:
    """Store a state."""
    for k in range(7):
        store(state[k], 0, registers[k])


@kernel
def run(
    left: NDArray[Any], right: NDArray[Any], count: int, constant: Array, state: Array, second: Array, fourth: Array
) -> None:  # fmt: skip
    """Run `count` frames of two channels through; what leaves section 2 into `second`, section 4 into `fourth`.

    Column i holds frame i - LAG of the one and frame i - 3 LAG of the other. Rows lie frame by frame, without gaps.
    """
    second_left, second_right, fourth_left, fourth_right = second[0], second[1], fourth[0], fourth[1]
    c, registers, whole = constants(constant), resume(state), count - count % 4
    for i in range(0, whole, 4):
        h1, h2, h3, registers = _four(left, right, i, c, registers)
        a, b = _halfway_through(h1[3], h2[3]), _halfway_through(h3[3], registers[3])
        store(second_left, i, _left_second(a, b))
        store(second_right, i, _right_second(a, b))
        store(fourth_left, i, _left_fourth(a, b))
        store(fourth_right, i, _right_fourth(a, b))
    for i in range(whole, count):
        registers = _one(np.float64(left[i]), np.float64(right[i]), c, registers)
        y = registers[3]
        second_left[i], second_right[i], fourth_left[i], fourth_right[i] = (
            lane(y, 2), lane(y, 3), lane(y, 6), lane(y, 7),
        )  # fmt: skip
    suspend(registers, state)


@kernel
def run_all(x: NDArray[Any], at: int, count: int, constant: Array, state: Array, out: NDArray[Any], to: int) -> None:
    """Run `count` frames of x (2, ...) from index `at` on through all four sections, into `out` from `to` on.

    What goes to `to` + i belongs to the frame 3 LAG before `at` + i. Rows lie frame by frame, without gaps.
    """
    left, right, out_left, out_right = x[0], x[1], out[0], out[1]
    c, registers, whole = constants(constant), resume(state), count - count % 4
    for i in range(0, whole, 4):
        h1, h2, h3, registers = _four(left, right, at + i, c, registers)
        a, b = _through(h1[3], h2[3]), _through(h3[3], registers[3])
        store(out_left, to + i, _left(a, b))
        store(out_right, to + i, _right(a, b))
    for i in range(whole, count):
        registers = _one(np.float64(left[at + i]), np.float64(right[at + i]), c, registers)
        out_left[to + i], out_right[to + i] = lane(registers[3], 6), lane(registers[3], 7)
    suspend(registers, state)
