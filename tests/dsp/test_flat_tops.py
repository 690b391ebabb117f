"""Flat tops: closed forms of clipped sines at every level and rate, and what looks flat and was never cut off.

No published standard defines a clipped run below full scale; the numbers in the kernel are practice. What is held here
against something outside is geometry: a sine that is cut off has one flat top in each half period.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.meters.flat_tops import LEAST, LEAST_FALL, SPREAD
from qc.dsp.meters.peaks import SEGMENT, PeakSweep
from support.signals import pushed

RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
LOWERED = 10.0 ** (-1.5 / 20.0)


def flat(x, sizes=()):
    """Give the flat tops of each channel; one channel alone is the left."""
    sweep = PeakSweep()
    pushed(sweep, np.atleast_2d(x) if np.ndim(x) == 2 else np.vstack([x, np.zeros_like(x)]), sizes)
    return sweep.flat_tops()


def count(x):
    return flat(x)[0].count


def rounded(x, bits=24, rng=None):
    """Round to so many bits, with triangular dither of a step either way where there is a generator."""
    step = 2.0 ** (1 - bits)
    dither = 0.0 if rng is None else rng.uniform(-0.5, 0.5, x.shape) + rng.uniform(-0.5, 0.5, x.shape)
    return step * np.round(x / step + dither)


def sine(hz, seconds, rate, phase=0.0):
    return np.sin(2.0 * np.pi * hz * np.arange(round(seconds * rate)) / rate + phase)


# -- found: one flat top in each half period of a sine that is cut off ---------------------------------------------


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("gain", [1.0, 10 ** (-0.18 / 20), LOWERED, 0.5, 0.1])
@pytest.mark.parametrize("bits", [16, 24])
def test_a_clipped_sine_has_two_a_period_at_any_level(rate, gain, bits):
    """441 Hz has 100 samples a period at 44.1 kHz; cut off at 1/1.3 of its height, 0.44 of each half period is flat."""
    x = gain * np.clip(1.3 * sine(441.0, 1.0, rate, 0.1), -1.0, 1.0)
    left, right = flat(rounded(x, bits))
    assert (left.count, right.count) == (2 * 441, 0)
    assert abs(abs(left.level) - gain) <= 2.0 ** (1 - bits)
    width = (np.pi - 2.0 * np.arcsin(1.0 / 1.3)) / (2.0 * np.pi) * rate / 441.0
    assert left.longest in {int(width), int(width) + 1}
    assert left.begin < rate / 441.0
    assert left.end > rate - rate / 441.0


@pytest.mark.parametrize("bits", [16, 24])
def test_dither_hides_none_of_a_hard_clipped_wave(bits):
    """At 16 bits a flat top then spreads over three steps, which long runs survive."""
    x = LOWERED * np.clip(2.0 * sine(250.0, 4.0, 48_000, 0.1), -1.0, 1.0)
    found = count(rounded(x, bits, np.random.default_rng(7)))
    assert found == 2000 if bits == 24 else 1900 <= found <= 2000


def test_passages_that_were_cut_off_at_several_levels_each_count():
    """As where every track of a side was mastered by itself: 200 half periods at each of three levels."""
    parts = [level * np.clip(1.3 * sine(441.0, 100 / 441, 44_100, 0.1), -1.0, 1.0) for level in (0.989, 0.84, 0.3)]
    for order in ([0, 1, 2], [2, 1, 0], [1, 0, 2]):
        found = flat(rounded(np.concatenate([parts[i] for i in order])))[0]
        assert found.count == pytest.approx(600, abs=4)  # what the seams cut into


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_wave_that_is_cut_off_on_one_side_only(sign):
    x = sign * np.minimum(sine(441.0, 1.0, 48_000, 0.1), 0.6)
    found = flat(rounded(x))[0]
    assert (found.count, round(found.level, 6)) == (441, 0.6 * sign)


def test_at_full_scale_three_samples_are_enough():
    """There a file ends, so that equal samples are no chance; below, as where the level was taken down, they may be."""
    x = np.clip(1.2 * sine(3000.3, 1.0, 48_000, 0.3), -1.0, 1.0)
    runs = pushed(PeakSweep(), np.vstack([x, x]))[1][0]
    assert (runs.longest, runs.count > 1000) == (3, True)
    assert count(x) == pytest.approx(runs.count, rel=0.05)  # some fall too little on one side
    assert count(LOWERED * x) == 0
    first = np.concatenate([0.5 * np.clip(1.3 * sine(441.0, 1.0, 48_000, 0.1), -1.0, 1.0), x])
    assert count(first) == pytest.approx(2 * 441 + count(x), abs=4)  # of which the seam hides some
    above = np.concatenate([0.99 * x, [1.0, 0.0, -1.0]])  # a greater extreme: those before were no end of the file
    assert count(above) == 0


def test_the_longest_the_first_and_the_last():
    x = 0.1 * sine(100.0, 1.0, 48_000)
    for at, long in ((5000, 6), (20_000, 40), (30_000, 9)):
        x[at : at + long] = -0.7
    found = flat(x)[0]
    assert (found.count, found.longest, found.frame, found.begin, found.end) == (3, 40, 20_000, 5000, 30_009)
    assert found.level == -0.7


@pytest.mark.parametrize("at", [0, SEGMENT - 2, SEGMENT - 1, SEGMENT, 2 * SEGMENT - 3])
@pytest.mark.parametrize("long", [4, 5, 16, 17, SEGMENT, 3 * SEGMENT + 1])
def test_a_flat_top_across_segments(at, long):
    x = 0.1 * sine(100.0, 0.1, 48_000, 1.0)
    at += 8 * SEGMENT
    x[at : at + long] = 0.4
    found = flat(x)[0]
    assert (found.count, found.longest, found.frame) == (1, long, at)


# -- not found -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("level", [0.999, 0.9, 0.3, 0.06])
def test_crests_of_slow_sines_are_round(rate, bits, level):
    """The crest of a sine of peak A steps and w radians a sample is within a step for sqrt(8 / (A w w)) samples."""
    for hz in (20.0, 50.0, 110.0, 1000.0):
        assert count(rounded(level * sine(hz, 1.0, rate, 0.3), bits)) == 0


@pytest.mark.parametrize("width", [0.5, 0.25, 0.1])
@pytest.mark.parametrize("hz", [55.0, 441.3, 1000.0])
def test_square_waves_and_pulses(hz, width):
    phase = (hz * np.arange(48_000) / 48_000 + 0.013) % 1.0
    x = np.where(phase < width, 0.7, -0.7)
    assert count(rounded(x)) == 0
    assert count(rounded(x * np.linspace(1.0, 0.2, 48_000))) == 0  # that fades
    edges = x.copy()
    turns = np.flatnonzero(np.diff(x))
    edges[turns] = 0.1  # a sample on its way
    assert count(rounded(edges)) == 0


def test_staircases():
    """Noise that is held for six samples, and a triangle of sixteen steps, as old sound chips make them."""
    rng = np.random.default_rng(5)
    assert count(np.repeat(rng.uniform(-0.8, 0.8, 8000), 6)) == 0
    triangle = np.abs(np.arange(32_000) // 8 % 32 - 15.5) // 1.0 / 16.0 - 0.5
    assert count(triangle) == 0


def test_a_crest_that_is_as_flat_as_a_band_limit_allows():
    """A fundamental with a ninth of its third harmonic: the second derivative is zero at the crest as well."""
    for hz in (100.0, 500.0, 2000.0):
        for rate in (44_100, 192_000):
            x = 0.7 * (sine(hz, 1.0, rate, 0.2) + sine(3.0 * hz, 1.0, rate, 0.6) / 9.0)
            assert count(rounded(x, 16)) == 0


@pytest.mark.parametrize("seed", [11, *(pytest.param(seed, marks=pytest.mark.long) for seed in (12, 13, 14))])
def test_noise(seed):
    """Two samples that agree to a step are frequent, five that do are a chance of one in a billion."""
    x = np.random.default_rng(seed).normal(0.0, 1.0 / 6.0, (2, 3_000_000))
    for peak in (0.1, 0.3, 0.9):
        for bits in (16, 24):
            assert sum(one.count for one in flat(rounded(peak * x, bits))) == 0, (peak, bits)


@pytest.mark.parametrize("value", [0.0, 0.5, -0.7])
def test_direct_current_and_silence(value):
    assert count(np.full(5000, value)) == 0
    pulses = np.full(5000, value)
    pulses[::100] = 0.9
    assert count(pulses) == 0


def test_the_edges_of_the_definition():
    """Four samples just above the least level and fall, and a little below each."""
    long = 24

    def one(level, fall):
        x = np.full(2000, level - 2.0 * fall)
        x += 1e-3 * sine(1000.0, 1.0, 2000, 0.3)[: len(x)] * 0.0
        x[1000 - 2 : 1000] = [level - 2.0 * fall, level - fall / 2.0]
        x[1000 : 1000 + long] = level
        x[1000 + long : 1002 + long] = [level - fall / 2.0, level - fall]
        x[:998:2] -= 0.01
        x[1003 + long :: 2] -= 0.01
        return count(x)

    assert one(LEAST + 0.001, 2.0 * LEAST_FALL) == 1
    assert one(LEAST - 0.001, 2.0 * LEAST_FALL) == 0
    assert one(0.5, 1.01 * LEAST_FALL) == 1
    assert one(0.5, 0.99 * LEAST_FALL) == 0


# -- any blocks ----------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(frames=st.integers(1, 6000), sizes=st.lists(st.integers(0, 900), max_size=12), seed=st.integers(0, 50))
def test_any_blocks_give_the_same(frames, sizes, seed):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.normal(0.0, 0.05, (2, frames)), axis=1)
    x = rounded(rng.choice([0.6, 1.0]) * np.clip(np.sin(x * 3.0) * 1.5, -1.0, 1.0), rng.choice([16, 24]))
    assert flat(x) == flat(x, sizes)


def flat_beside(u, at, way):
    """Whether three of the four samples from one on, going one way, are equal in a row."""
    beside = u[at : at + 4 * way : way] if at + 4 * way >= 0 else u[at::way]
    steps = np.abs(np.diff(beside)) <= SPREAD
    return bool((steps[:-1] & steps[1:]).any())


def plain(x, top):
    """Count flat tops in plain numpy, of a signal that was cut off at `top`: runs that reach it, with steep sides."""
    found = 0
    for sign in (1.0, -1.0):
        u = np.concatenate([np.zeros(8), sign * x, np.zeros(8)])
        edges = np.flatnonzero(np.diff(u >= top - SPREAD)) + 1
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            run = u[start:stop]
            fall, spread = run.min() - max(u[start - 2 : start].min(), u[stop : stop + 2].min()), np.ptp(run) + 2.0**-15
            square = all(flat_beside(u, at, way) for at, way in ((start - 1, -1), (stop, 1)))
            found += (
                not square
                and stop - start >= 4
                and fall >= LEAST_FALL
                and (stop - start - 1) * np.log10(fall / spread) >= 9.0
            )
    return found


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_against_a_plain_count(seed):
    """Filtered noise, cut off at one level: every run lies at the greatest value of its segment."""
    rng = np.random.default_rng(seed)
    noise = np.convolve(rng.normal(0.0, 1.0, 4000), np.hanning(rng.integers(4, 24)), "same")
    x = 0.8 * np.clip(noise / np.abs(noise).max() * rng.uniform(1.1, 3.0), -1.0, 1.0)
    assert count(x) == plain(x, 0.8)
