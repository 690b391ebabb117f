"""Second-order sections several frames at a time: a stride.

A recursion makes each frame wait for the one before it. But sections are linear: what they put out over a stride of
frames, and the state they are left in, are sums of the state before and of the frames, each times a weight that can be
worked out beforehand. Such sums need not wait for one another, and vectors hold them side by side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters.biquad import Sections
from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]

AT_REST = 1e-170
"""State below which a section is at rest: its square is zero in float64.

What rings on in digital silence is set to zero there, before its numbers are too small for the processor's fast path.
"""


def stride(sections: Sections, frames: int) -> tuple[Array, Array]:
    """Weights of the state before, two numbers a section, and of the frames of one stride.

    Returns those that make its frames as they leave the last section, (frames, states + frames), and those that make
    the state after it, (states, states + frames).
    """
    states = 2 * len(sections)
    units = np.eye(states + frames)
    state, made = list(units[:states]), []
    for x in units[states:]:  # the recursion itself, with what it does to each unit in place of numbers
        y = x
        for k, (b0, b1, b2, a1, a2) in enumerate(sections):
            u, y = y, b0 * y + state[2 * k]
            state[2 * k], state[2 * k + 1] = b1 * u - a1 * y + state[2 * k + 1], b2 * u - a2 * y
        made.append(y)
    return np.array(made).reshape(frames, states + frames), np.array(state)


@kernel
def settle(state: Array) -> None:
    """Put to rest what rings on in digital silence; at places of the stream that do not depend on its blocks."""
    for k in range(state.shape[0]):
        if abs(state[k]) < AT_REST:
            state[k] = 0.0
