"""The sector kernel against the same definitions in plain numpy, value by value."""

import numpy as np
import pytest

from qc.dsp.filters import biquad
from qc.dsp.meters import extremes
from qc.groove.signal.band_limit import AFTER, motion_rate
from qc.groove.signal.sector_envelopes import MARGIN, Sectors, reach
from qc.groove.signal.wall_motion import LOW_LATE, Displacement, Motion
from qc.model.cutting_chain import Signal
from qc.plugin_api import Stream
from qc.testing.drive import through

ROOT = np.sqrt(0.5)


class Heard:
    """A block whose only tap gives what it is made with."""

    def __init__(self, motion):
        self._motion = motion

    def __getitem__(self, tap):
        return self._motion


def moved(rate, x, cuts=()):
    """Motion of x (2, n) through the tap, and the stream it was."""
    stream = Stream("side:A", rate, 2, x.shape[1])
    sizes = np.diff([0, *cuts, x.shape[1]]).tolist()
    return stream, through(Motion(Signal()), x, rate, sizes)


def enveloped(stream, motion, cuts=()):
    """What the analysis makes of motion that comes in parts."""
    running = Sectors(Signal()).start(stream)
    for part in np.split(motion, cuts, axis=1):
        running.push(Heard(np.ascontiguousarray(part)))
    return running.finish()


def programme(frames, seed=1):
    x = np.random.default_rng(seed).standard_normal((2, frames))
    return 0.1 * (x + np.roll(x, 1, axis=1)) * np.linspace(0.2, 1.0, frames)


def swing(x, at, stop):
    """Greatest value of the wave behind x over [at, stop), by the definition that the summit is of five values."""
    best = at + int(np.argmax(x[at:stop]))
    half = {
        m: float(sum(w * (x[m + 1 + k] + x[m - k]) for k, w in enumerate(extremes.BETWEEN)))
        for m in range(best - 2, best + 2)
    }
    here, left, right = x[best], x[best - 1], x[best + 1]
    if half[best] > here and right <= here:
        return extremes.summit(half[best - 1], here, half[best], right, half[best + 1])
    if half[best - 1] > here and left <= here:
        return extremes.summit(half[best - 2], left, half[best - 1], here, half[best])
    return extremes.summit(left, half[best - 1], here, half[best], right)


def greatest(on, half, at, stop):
    """Greatest magnitude over [at, stop) of a wave known on its samples and half-way between them."""
    both = np.empty(2 * len(on))
    both[0::2], both[1::2] = on, half
    k = 2 * at + int(np.argmax(np.abs(both[2 * at : 2 * stop])))
    if both[k - k % 2] == -both[k + 1 - k % 2]:
        return abs(both[k])
    return extremes.summit(*(np.sign(both[k]) * both[k - 2 : k + 3]))


def derivatives(x, rate):
    """Velocity and acceleration on the samples of x and half-way between, by the published taps."""
    reach = 5
    at = np.arange(reach, len(x) - reach - 1)
    v, v_half, a, a_half = (np.zeros(len(x)) for _ in range(4))
    for k in range(1, 6):
        v[at] += rate * extremes.FIRST[k - 1] * (x[at + k] - x[at - k])
        v_half[at] += rate * extremes.FIRST_HALF[k - 1] * (x[at + k] - x[at + 1 - k])
        a[at] += rate**2 * extremes.SECOND[k - 1] * (x[at + k] + x[at - k] - 2.0 * x[at])
        a_half[at] += rate**2 * extremes.SECOND_HALF[k - 1] * (x[at + k] + x[at + 1 - k])
    return v, v_half, a, a_half


def filtered(x, sections):
    """Sections in direct form 1, on (n,)."""
    for b0, b1, b2, a1, a2 in sections:
        y, x = np.zeros(len(x) + 2), np.concatenate([[0.0, 0.0], x])
        for i in range(2, len(x)):
            y[i] = b0 * x[i] + b1 * x[i - 1] + b2 * x[i - 2] - a1 * y[i - 1] - a2 * y[i - 2]
        x = y[2:]
    return x


@pytest.mark.parametrize("rate", [88_200, 96_000])
def test_kernel_is_its_definition(rate):
    size = rate // 75
    frames = 4 * size + 333  # the last sector is a part
    stream, motion = moved(rate, programme(frames))
    assert motion.shape == (4, frames + AFTER)
    got = enveloped(stream, motion)
    d = np.pad(motion[:2], ((0, 0), (16, 16)))
    lateral, vertical = ROOT * (d[0] + d[1]), ROOT * (d[0] - d[1])
    waves = [derivatives(wall, rate) for wall in d]
    sums = [derivatives(wave, rate) for wave in (lateral, vertical)]
    band = np.vstack([biquad.butterworth_4_high(5e3, rate), biquad.butterworth_4_low(12e3, rate)])
    banded = [filtered(a[16:], band) for _, _, a, _ in waves]
    low = np.concatenate([[0.0] * 2, ROOT * (motion[2] - motion[3])[LOW_LATE:]])
    for k in range(got.sectors):
        at, stop = 16 + k * size, 16 + min((k + 1) * size, frames)
        close = {"rtol": 2e-5}  # steps and derivatives are float32, displacement is not
        for c in range(2):
            v, v_half, a, a_half = waves[c]
            np.testing.assert_allclose(got.d_max[c, k], swing(d[c], at, stop), rtol=1e-9)
            np.testing.assert_allclose(got.d_min[c, k], -swing(-d[c], at, stop), rtol=1e-9)
            np.testing.assert_allclose(got.v_abs[c, k], greatest(v, v_half, at, stop), **close)
            np.testing.assert_allclose(got.a_abs[c, k], greatest(a, a_half, at, stop), **close)
            np.testing.assert_allclose(got.a_square[c, k], np.mean(a[at:stop] ** 2), **close)
            around = np.pad(banded[c], (2, 2))[at - 16 : stop - 16 + 4]
            top = 2 + int(np.argmax(np.abs(around[2:-2])))
            summit = extremes.summit(*(np.sign(around[top]) * around[top - 2 : top + 3]))
            np.testing.assert_allclose(got.sibilance_a[c, k], summit, **close)
        for wave, most, least in (
            (lateral, got.lateral_max, got.lateral_min),
            (vertical, got.vertical_max, got.vertical_min),
        ):
            np.testing.assert_allclose(most[k], swing(wave, at, stop), rtol=1e-9)
            np.testing.assert_allclose(least[k], -swing(-wave, at, stop), rtol=1e-9)
        for values, (v, v_half, _, _) in ((got.lateral_v, sums[0]), (got.vertical_v, sums[1])):
            np.testing.assert_allclose(values[k], greatest(v, v_half, at, stop), **close)
        around = low[at - 16 : stop - 16 + 4]
        top = 2 + int(np.argmax(np.abs(around[2:-2])))
        summit = extremes.summit(*(np.sign(around[top]) * around[top - 2 : top + 3]))
        np.testing.assert_allclose(got.low_vertical[k], summit, **close)


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
def test_slices_of_any_length_give_the_same_digits(rate):
    x = programme(rate // 3 + 17, seed=rate)
    stream, whole = moved(rate, x)
    _, parts = moved(rate, x, (1, 3, 900, 901, 2_000, 9_000))
    np.testing.assert_array_equal(whole, parts)
    n = motion_rate(rate) // 75
    one = enveloped(stream, whole)
    for cuts in ((1, 2, n - 1, n, n + 1, 3 * n + 5), (5 * n,), tuple(range(700, whole.shape[1], 700))):
        other = enveloped(stream, whole, cuts)
        for name in ("d_max", "v_abs", "a_abs", "a_square", "sibilance_a", "low_vertical", "lateral_v"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name), err_msg=f"{name} {cuts}")


def test_displacement_is_the_walls_of_the_motion():
    stream, motion = moved(96_000, programme(5_000))
    tap = Displacement(Signal())
    assert tap.base() == Motion(Signal())
    assert tap.rate(stream) == 96_000
    running = tap.start(stream)
    np.testing.assert_array_equal(running.push(motion), motion[:2])
    assert running.flush().shape == (2, 0)


@pytest.mark.parametrize("size", [1_176, 1_280])
def test_no_vector_is_fetched_from_beyond_the_margin(size):
    """Whole vectors of the low rows reach furthest, most of all where a sector is no multiple of sixteen frames."""
    assert 0 < reach(size) <= MARGIN
