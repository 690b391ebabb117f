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

from qc.dsp.biquad import UNITY, Sections
from qc.dsp.jit import kernel
from qc.dsp.lanes import lane, loader, picker, put, store

Array = NDArray[np.float64]

LAG = 4
"""Frames by which each section comes later than the one before it."""
STAGES = 4
LANES = 2 * STAGES
_AT_REST = 1e-150
"""State below which a section is at rest: its square is next to nothing in float64."""

load = loader(LANES)
_onward = picker([0, 1, 0, 1, 2, 3, 4, 5])  # two lanes on; what enters the first two is put there


def coefficients(sections: Sections) -> Array:
    """Lay up to four sections out for the lanes, (5, 8): b0, c1, c2, a1, a2; what is missing passes all."""
    rows = np.vstack([sections, np.tile(UNITY, (STAGES - len(sections), 1))])
    b0, b1, b2, a1, a2 = np.repeat(rows, 2, axis=0).T
    return np.ascontiguousarray([b0, b1 - a1 * b0, b2 - a2 * b0, a1, a2])


def at_rest() -> Array:
    """Give the state of sections that have heard nothing, (7, 8)."""
    return np.zeros((7, LANES))


def settle(state: Array) -> None:
    """Put to rest what rings on in digital silence, before its numbers are too small for the processor."""
    state[np.abs(state) < _AT_REST] = 0.0


@kernel
def constants(c: Array) -> Any:
    """Load what `coefficients` laid out into registers."""
    return load(c[0], 0), load(c[1], 0), load(c[2], 0), load(c[3], 0), load(c[4], 0)


@kernel
def resume(state: Array) -> Any:
    """Load a state into registers: p, p-, x-, and the outputs of the last four frames."""
    return (
        load(state[0], 0), load(state[1], 0), load(state[2], 0), load(state[3], 0), load(state[4], 0),
        load(state[5], 0), load(state[6], 0),
    )  # fmt: skip


@kernel
def step(left: float, right: float, constant: Any, held: Any) -> Any:
    """Take one frame; gives the state after it, whose fourth vector holds what came out of every section."""
    b0, c1, c2, a1, a2 = constant
    p, before, last, y1, y2, y3, y4 = held
    x = put(put(_onward(y4), 0, left), 1, right)
    return ((c1 * x + c2 * last) - a2 * before) - a1 * p, p, x, b0 * x + p, y1, y2, y3


@kernel
def suspend(held: Any, state: Array) -> None:
    """Store a state."""
    for k in range(7):
        store(state[k], 0, held[k])


@kernel
def run(x: NDArray[Any], count: int, constant: Array, state: Array, second: Array, fourth: Array) -> None:
    """Run `count` frames of x (2, >= count) through; what leaves section 2 into `second`, section 4 into `fourth`.

    Column i holds frame i - LAG of the one and frame i - 3 LAG of the other.
    """
    left, right = x[0], x[1]
    second_left, second_right, fourth_left, fourth_right = second[0], second[1], fourth[0], fourth[1]
    c, held = constants(constant), resume(state)
    for i in range(count):
        held = step(np.float64(left[i]), np.float64(right[i]), c, held)
        y = held[3]
        second_left[i], second_right[i], fourth_left[i], fourth_right[i] = (
            lane(y, 2), lane(y, 3), lane(y, 6), lane(y, 7),
        )  # fmt: skip
    suspend(held, state)


@kernel
def run_all(x: NDArray[Any], at: int, count: int, constant: Array, state: Array, out: NDArray[Any], to: int) -> None:
    """Run `count` frames of x (2, ...) from index `at` on through all four sections, into `out` from `to` on.

    What goes to `to` + i belongs to the frame 3 LAG before `at` + i.
    """
    left, right, out_left, out_right = x[0], x[1], out[0], out[1]
    c, held = constants(constant), resume(state)
    for i in range(count):
        held = step(np.float64(left[at + i]), np.float64(right[at + i]), c, held)
        out_left[to + i], out_right[to + i] = lane(held[3], 6), lane(held[3], 7)
    suspend(held, state)
