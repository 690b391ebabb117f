"""Derivatives of a sampled wave and the extremes of the band-limited wave behind it, not of its samples.

Raw samples at 88.2 kHz miss up to a tenth of a treble peak. So velocity and acceleration are read on the samples
and half-way between them, and a parabola through the greatest value and its neighbours finds the summit: within
0.5 % at 20 kHz. The taps are the best in relative error from 0 to 20 kHz at 88.2 kHz and above, within
0.004 dB; tests derive them again.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import index, inlined, kernel
from qc.dsp.kernels.simd import lane, loader, splatter, store, widen
from qc.dsp.kernels.target import AVX512
from qc.dsp.meters.search import ends, first_as_great, first_of, magnitude_of

Array = NDArray[np.float64]
Waves = NDArray[np.float32]
Wave = NDArray[Any]
"""float64 or float32"""

WIDE = 16
"""Values worked out at once, at the most."""
_load, _splat = loader(WIDE), splatter(WIDE)
_SOME = WIDE if AVX512 else WIDE // 2
"""Derivatives that are: their weights and what they weigh fill more registers than there are."""
_some, _alike = loader(_SOME), splatter(_SOME)

REACH = 7
"""Samples on either side of a stretch that `velocity` and the others look at."""

FIRST = (0.871973397, -0.285693277, 0.090021594, -0.020887293, 0.002583156)
"""First derivative on a sample: weights of x[+k] - x[-k], k = 1..5."""
FIRST_HALF = (1.225099593, -0.099428788, 0.018450552, -0.003119004, 0.00030767)
"""First derivative half a sample later: weights of x[+k] - x[1-k]."""
SECOND = (1.732124915, -0.277858778, 0.056239203, -0.009242833, 0.000841923)
"""Second derivative on a sample: weights of x[+k] + x[-k] - 2 x[0]."""
SECOND_HALF = (-0.957066387, 1.293999047, -0.426196148, 0.102061928, -0.012798439)
"""Second derivative half a sample later: weights of x[+k] + x[1-k]; they add to zero."""
BETWEEN = (0.613715877, -0.151773164, 0.048514342, -0.012136726, 0.001679671)
"""The wave half a sample later: weights of x[+k] + x[1-k]; they add to one half."""


def _steps(weights: tuple[float, ...], first: int) -> tuple[float, ...]:
    """Turn weights of pairs of values into weights of pairs of steps between neighbours: sums from each one on."""
    return tuple(sum(weights[k:]) for k in range(first, 5))


FIRST_STEPS, SECOND_STEPS = _steps(FIRST, 0), _steps(SECOND, 0)
"""The same in steps e[i] = x[i] - x[i-1], as float32: displacement is mostly bass, its derivatives are not, and a step
has lost the bass that float32 would spend its digits on. Weights of e[1+k] + e[-k], or of e[1+k] - e[-k], k = 0..4."""
FIRST_HALF_STEPS, SECOND_HALF_STEPS = _steps(FIRST_HALF, 0), (*_steps(SECOND_HALF, 1), 0.0)
"""Weights of e[1], then e[1+k] + e[1-k], k = 1..4; and of e[1+k] - e[1-k], k = 1..4."""


@kernel
def _five(weights: Any, factor: float) -> Any:
    """Load five weights times a factor into registers."""
    return (
        _alike(np.float32(factor * weights[0])), _alike(np.float32(factor * weights[1])),
        _alike(np.float32(factor * weights[2])), _alike(np.float32(factor * weights[3])),
        _alike(np.float32(factor * weights[4])),
    )  # fmt: skip


@kernel
def derivatives(
    e: Waves, at: int, rate: float, count: int, velocity: Waves, velocity_half: Waves, acceleration: Waves,
    acceleration_half: Waves,
) -> None:  # fmt: skip
    """First and second derivative of a wave given by its steps, from index `at` on.

    On the samples, and half a sample later; `count` values, and up to WIDE - 1 more that mean nothing: all arrays
    must have room for them.
    """
    f0, f1, f2, f3, f4 = _five(FIRST_STEPS, rate)
    g0, g1, g2, g3, g4 = _five(FIRST_HALF_STEPS, rate)
    s0, s1, s2, s3, s4 = _five(SECOND_STEPS, rate * rate)
    t1, t2, t3, t4, _ = _five(SECOND_HALF_STEPS, rate * rate)
    for i in range(0, count, _SOME):
        k = at + i
        a0, a1, a2, a3, a4 = _some(e, k), _some(e, k - 1), _some(e, k - 2), _some(e, k - 3), _some(e, k - 4)
        b0, b1, b2, b3, b4 = _some(e, k + 1), _some(e, k + 2), _some(e, k + 3), _some(e, k + 4), _some(e, k + 5)
        near, far = f0 * (b0 + a0) + f1 * (b1 + a1), f2 * (b2 + a2) + f3 * (b3 + a3) + f4 * (b4 + a4)
        store(velocity, i, near + far)
        near, far = s0 * (b0 - a0) + s1 * (b1 - a1), s2 * (b2 - a2) + s3 * (b3 - a3) + s4 * (b4 - a4)
        store(acceleration, i, near + far)
        near, far = g0 * b0 + g1 * (b1 + a0) + g2 * (b2 + a1), g3 * (b3 + a2) + g4 * (b4 + a3)
        store(velocity_half, i, near + far)
        near, far = t1 * (b1 - a0) + t2 * (b2 - a1), t3 * (b3 - a2) + t4 * (b4 - a3)
        store(acceleration_half, i, near + far)


@kernel
def turn(x: Waves, count: int) -> None:
    """Turn two walls by 45 degrees: rows 2 and 3 of x become sum and difference of rows 0 and 1 over the root of two.

    `count` values, and up to WIDE - 1 more that mean nothing.
    """
    root = _splat(np.float32(np.sqrt(0.5)))
    left, right, lateral, vertical = x[0], x[1], x[2], x[3]
    for i in range(0, count, WIDE):
        a, b = _load(left, i), _load(right, i)
        store(lateral, i, root * (a + b))
        store(vertical, i, root * (a - b))


@kernel
def between(x: Array, i: int) -> float:
    """Value of the wave half a sample after index i."""
    total = 0.0
    for k in range(5):
        total += BETWEEN[k] * (x[i + 1 + k] + x[i - k])
    return total


@kernel
def summit(a: float, b: float, here: float, d: float, e: float) -> float:
    """Top of the wave through five evenly spaced values, when the middle one is the greatest, else the middle one.

    A parabola through the middle three says where; the quartic through all five says how high.
    """
    bend = b - 2.0 * here + d
    if here < b or here < d or bend >= 0.0:
        return here
    p = 0.5 * (b - d) / bend
    return (
        here
        + p * ((a - e) / 12.0 + (d - b) * 2.0 / 3.0)
        + p * p * (-(a + e) / 24.0 + (b + d) * 2.0 / 3.0 - here * 1.25)
        + p * p * p * ((e - a) / 12.0 + (b - d) / 6.0)
        + p * p * p * p * ((a + e) / 24.0 - (b + d) / 6.0 + here * 0.25)
    )


@kernel
def sum_of_squares(x: Waves, start: int, stop: int) -> float:
    """Sum of x[i]^2 over [start, stop): partial sums by place, then their sum, in float64."""
    a = _splat(0.0)
    i = start
    while i + WIDE <= stop:
        v = widen(_load(x, i))
        a = a + v * v
        i += WIDE
    total = 0.0
    for k in range(WIDE):
        total += lane(a, k)
    while i < stop:
        total += np.float64(x[i]) * np.float64(x[i])
        i += 1
    return total


@kernel
def _over(x: Array, i: int, sign: float) -> float:
    """Top of the wave about index i, where sign * x is greatest; the summit may lie half-way to a neighbour."""
    here, left, right = sign * x[i], sign * x[i - 1], sign * x[i + 1]
    before, after = sign * between(x, i - 1), sign * between(x, i)
    if after > here and right <= here:
        return summit(before, here, after, right, sign * between(x, i + 1))
    if before > here and left <= here:
        return summit(sign * between(x, i - 2), left, before, here, after)
    return summit(left, before, here, after, right)


@kernel
def crest_and_trough(x: Array, start: int, stop: int) -> tuple[float, float]:
    """Greatest and least value of the wave behind x over [start, stop); x reaches REACH samples beyond either side."""
    top, bottom = ends(x, start, stop)
    up, down = first_of(x, start, stop, 1.0, top), first_of(x, start, stop, -1.0, -bottom)
    return _over(x, up, 1.0), -_over(x, down, -1.0)


@kernel
def peak(on: Wave, half: Wave, n: int) -> float:
    """Greatest magnitude of a wave read on and half-way between samples; index 1 is the first of n that count.

    `on[k]` lies at k - 1 and `half[k]` at k - 1/2, so that both neighbours of every value that counts are there.
    """
    return summit_of(on, half, n, max(magnitude_of(on, index(1), n + 1), magnitude_of(half, index(1), n + 1)))


@kernel
def summit_of(on: Wave, half: Wave, n: int, top: float) -> float:
    """Top of a wave as `peak` takes it, of which `top` is the greatest magnitude: about the first such value.

    A value on a sample goes before one half-way between two.
    """
    i = first_as_great(on, index(1), n + 1, top)
    if i <= n:
        sign = 1.0 if on[i] >= 0.0 else -1.0
        return summit(sign * on[i - 1], sign * half[i - 1], top, sign * half[i], sign * on[i + 1])
    j = first_as_great(half, index(1), n + 1, top)
    sign = 1.0 if half[j] >= 0.0 else -1.0
    return summit(sign * half[j - 1], sign * on[j], top, sign * on[j + 1], sign * half[j + 1])


@kernel
def peak_on(x: Wave, start: int, stop: int) -> float:
    """Greatest magnitude of a wave well below a quarter of its rate; x reaches two samples beyond on either side."""
    top = magnitude_of(x, index(start), stop)
    return summit_at(x, first_as_great(x, index(start), stop, top), top)


@inlined
def summit_at(x: Wave, i: int, top: float) -> float:
    """Top of a wave about x[i], whose magnitude is `top`, from two values on either side."""
    sign = 1.0 if x[i] >= 0.0 else -1.0
    return summit(sign * x[i - 2], sign * x[i - 1], top, sign * x[i + 1], sign * x[i + 2])
