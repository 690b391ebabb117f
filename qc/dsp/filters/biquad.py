"""Second-order sections: designs from analogue prototypes, and the kernel that runs them in float64.

A section is (b0, b1, b2, a1, a2) with a0 = 1. float32 state would be wrong by decibels at 10 Hz and 192 kHz.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]

Sections = NDArray[np.float64]
"""(sections, 5): b0, b1, b2, a1, a2"""

UNITY = (1.0, 0.0, 0.0, 0.0, 0.0)
BUTTERWORTH_4 = (1.0 / (2.0 * math.cos(math.pi / 8.0)), 1.0 / (2.0 * math.cos(3.0 * math.pi / 8.0)))
"""Q of the two sections of a 4th-order Butterworth filter."""


def bilinear(b: tuple[float, float, float], a: tuple[float, float, float], rate: float) -> Sections:
    """One section from (b2 s^2 + b1 s + b0) / (a2 s^2 + a1 s + a0), highest power first, without prewarping."""
    k = 2.0 * rate

    def to_z(p: tuple[float, float, float]) -> tuple[float, float, float]:
        s2, s1, s0 = p[0] * k * k, p[1] * k, p[2]
        return s2 + s1 + s0, 2.0 * (s0 - s2), s2 - s1 + s0

    num, den = to_z(b), to_z(a)
    return np.array([[num[0] / den[0], num[1] / den[0], num[2] / den[0], den[1] / den[0], den[2] / den[0]]])


def _mapped(corner: float, q: float, rate: float) -> tuple[float, float, float, float]:
    """Map the analogue poles by exp(s T): a1, a2, sin^2(w/2) at the corner, and the squared size of the poles there.

    The bilinear transform would bend the response well below 20 kHz; with the poles where they belong, the zeros
    are set so that the gain at the corner is Q, as it is in the analogue filter.
    """
    w = 2.0 * math.pi * corner / rate
    damp = 1.0 / (2.0 * q)
    root = math.sqrt(abs(1.0 - damp * damp))
    turn = math.cos(root * w) if damp <= 1.0 else math.cosh(root * w)
    a1, a2 = -2.0 * math.exp(-damp * w) * turn, math.exp(-2.0 * damp * w)
    f1 = math.sin(w / 2.0) ** 2
    poles = (1.0 + a1 + a2) ** 2 * (1.0 - f1) + (1.0 - a1 + a2) ** 2 * f1 - 16.0 * a2 * f1 * (1.0 - f1)
    return a1, a2, f1, poles


def high_pass(corner: float, q: float, rate: float) -> Sections:
    """Second-order high-pass with the analogue poles, a double zero at 0 Hz and the analogue gain at the corner."""
    a1, a2, f1, poles = _mapped(corner, q, rate)
    b0 = q * math.sqrt(poles) / (4.0 * f1)
    return np.array([[b0, -2.0 * b0, b0, a1, a2]])


def low_pass(corner: float, q: float, rate: float) -> Sections:
    """Second-order low-pass with the analogue poles and the analogue gain at 0 Hz and at the corner in Hz."""
    a1, a2, f1, poles = _mapped(corner, q, rate)
    at_dc = 1.0 + a1 + a2
    b_nyquist = max(0.0, (poles * q * q - at_dc * at_dc * (1.0 - f1)) / f1)
    b0 = 0.5 * (at_dc + math.sqrt(b_nyquist))
    return np.array([[b0, at_dc - b0, 0.0, a1, a2]])


def butterworth_2_high(corner: float, rate: float) -> Sections:
    """Second-order Butterworth high-pass."""
    return high_pass(corner, math.sqrt(0.5), rate)


def butterworth_4_low(corner: float, rate: float) -> Sections:
    """4th-order Butterworth low-pass, two sections."""
    return np.vstack([low_pass(corner, q, rate) for q in BUTTERWORTH_4])


def butterworth_4_high(corner: float, rate: float) -> Sections:
    """4th-order Butterworth high-pass, two sections."""
    return np.vstack([high_pass(corner, q, rate) for q in BUTTERWORTH_4])


def pole(tau: float, rate: float) -> Sections:
    """First-order low-pass 1/(1 + s tau): its own pole, its gain at 0 Hz and at 20 kHz (EQ-6)."""
    p = math.exp(-1.0 / (tau * rate))
    w = 2.0 * math.pi * 20_000.0 / rate
    total = 1.0 - p  # b0 + b1, for gain 1 at 0 Hz
    wanted = (1.0 + p * p - 2.0 * p * math.cos(w)) / (1.0 + (2.0 * math.pi * 20_000.0 * tau) ** 2)
    product = (total * total - wanted) / (2.0 * (1.0 - math.cos(w)))  # b0 b1
    b0 = 0.5 * (total + math.sqrt(total * total - 4.0 * product))
    return np.array([[b0, total - b0, 0.0, -p, 0.0]])


def first_high(corner: float, rate: float) -> Sections:
    """First-order high-pass, exact at its corner in Hz."""
    w = 2.0 * rate * math.tan(math.pi * corner / rate)
    return bilinear((0.0, 1.0, 0.0), (0.0, 1.0, w), rate)


def paired(sections: Sections) -> Sections:
    """Fill up with a section that does nothing, so that the count is even, as `run` wants it."""
    return sections if len(sections) % 2 == 0 else np.vstack([sections, UNITY])


def fresh(sections: Sections, channels: int) -> NDArray[np.float64]:
    """Return the state at rest, (channels, sections, 2)."""
    return np.zeros((channels, len(sections), 2))


def response(sections: Sections, frequency: NDArray[np.float64], rate: float) -> NDArray[np.complex128]:
    """Complex gain of a cascade at `frequency` in Hz, any shape."""
    z = np.exp(-2j * np.pi * np.asarray(frequency, dtype=np.float64) / rate)
    total = np.ones_like(z)
    for b0, b1, b2, a1, a2 in sections:
        total = total * (b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z)
    return total


@kernel
def _two_by_two(x: Array, y: Array, c: Array, d: Array, s: Array, k: int) -> None:
    """Two channels through sections k and k+1 in registers: the four recursions hide each other's latency."""
    n = x.shape[1]
    # state form: p' = (b1 - a1 b0) x + q - a1 p keeps one multiply-add in the carried chain
    c0, c3, c4 = c[0], c[3], c[4]
    c1, c2 = c[1] - c3 * c0, c[2] - c4 * c0
    d0, d3, d4 = d[0], d[3], d[4]
    d1, d2 = d[1] - d3 * d0, d[2] - d4 * d0
    p, q, r, t = s[0, k, 0], s[0, k, 1], s[0, k + 1, 0], s[0, k + 1, 1]
    u, v, w, z = s[1, k, 0], s[1, k, 1], s[1, k + 1, 0], s[1, k + 1, 1]
    for i in range(n):
        a, b = x[0, i], x[1, i]
        ya, yb = c0 * a + p, c0 * b + u
        p, q = (c1 * a + q) - c3 * p, c2 * a - c4 * p
        u, v = (c1 * b + v) - c3 * u, c2 * b - c4 * u
        y[0, i], y[1, i] = d0 * ya + r, d0 * yb + w
        r, t = (d1 * ya + t) - d3 * r, d2 * ya - d4 * r
        w, z = (d1 * yb + z) - d3 * w, d2 * yb - d4 * w
    s[0, k, 0], s[0, k, 1], s[0, k + 1, 0], s[0, k + 1, 1] = p, q, r, t
    s[1, k, 0], s[1, k, 1], s[1, k + 1, 0], s[1, k + 1, 1] = u, v, w, z


@kernel
def run_sections(x: Array, y: Array, sections: Array, state: Array) -> None:
    """Filter x (2, n) into y through an even number of sections, carrying `state` on; callable from kernels."""
    _two_by_two(x, y, sections[0], sections[1], state, 0)
    for k in range(2, sections.shape[0], 2):
        _two_by_two(y, y, sections[k], sections[k + 1], state, k)


def run(
    x: NDArray[np.float64], sections: Sections, state: NDArray[np.float64], out: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Filter `x` (2, n) into `out` (2, n), carrying `state` on. Returns `out`.

    Raises ValueError for an odd number of sections: the kernel runs them two at a time, and looks no further.
    """
    if len(sections) % 2:
        raise ValueError(f"{len(sections)} sections cannot be run two at a time; add UNITY")
    run_sections(x, out, sections, state)
    return out
