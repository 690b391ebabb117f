"""Balance, correlation, difference and dead channels against closed forms on sines, and plain numpy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.model.cutting_chain import Chain
from qc.model.quantity import meets
from qc.testing.drive import run_need
from qc_standard.relation import Relation
from qc_standard.stereo import LowCorrelation, Stereo

RATE = 8000
NOISE = 0.1 * np.random.default_rng(5).standard_normal((2, RATE * 12))


def tone(seconds, frequency=1000.0, phase=0.0):
    return np.sin(2.0 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE + phase)


def published(x):
    need = Relation.of(Chain())
    return need.publish(run_need(need, x, RATE))


@pytest.mark.parametrize("ratio", [-40.0, -6.0, 0.0, 3.0, 25.0])
@pytest.mark.parametrize("direct", [0.0, 0.2])
def test_balance_of_sines_is_their_ratio_whatever_the_direct_current(ratio, direct):
    x = 0.01 * np.vstack([tone(3.0), 10.0 ** (ratio / 20.0) * tone(3.0, 500.0)])
    x[1] += direct
    found = published(x)["stereo.balance"]
    assert (found.value, found.bound) == (pytest.approx(ratio, abs=1e-6), None)


@pytest.mark.parametrize("phase", [0.0, 0.7, np.pi / 2.0, 2.5, np.pi])
def test_correlation_of_sines_is_the_cosine_of_their_phase(phase):
    x = 0.1 * np.vstack([tone(2.0), tone(2.0, phase=phase)])
    assert published(x)["stereo.correlation"].value == pytest.approx(np.cos(phase), abs=1e-6)


@pytest.mark.parametrize(("bass", "above"), [(1.0, 1.0), (-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)])
def test_the_upper_correlation_excludes_the_band_of_a_butterworth_low_pass(bass, above):
    """Powers of a 4th-order low-pass at 300 Hz, 1 / (1 + (f / 300)^8), and a 2nd-order high-pass at 10 Hz."""
    frequencies, signs = np.array([100.0, 500.0]), np.array([bass, above])
    left = 0.1 * (tone(4.0, 100.0) + 0.5 * tone(4.0, 500.0))
    right = 0.1 * (bass * tone(4.0, 100.0) + above * 0.5 * tone(4.0, 500.0))
    found = published(np.vstack([left, right]))
    energies = np.array([1.0, 0.5]) ** 2
    low = 1.0 / (1.0 + (frequencies / 300.0) ** 8) / (1.0 + (10.0 / frequencies) ** 4)
    rest = energies * (1.0 - low)
    assert found["stereo.correlation"].value == pytest.approx(energies @ signs / energies.sum(), abs=1e-6)
    assert found["stereo.upper_correlation"].value == pytest.approx(rest @ signs / rest.sum(), abs=0.01)


@pytest.mark.parametrize("rumble", [0.0, 0.1, 0.4])
def test_rumble_below_the_subsonic_corner_is_not_above_the_bass(rumble):
    """Music that is alike in both channels, and 3 Hz from side to side: it is below 10 Hz, not above 300.

    What is left of it is a thousandth of its energy at the most, here held against that of 1 kHz.
    """
    x = 0.1 * (tone(8.0, 100.0) + 0.5 * tone(8.0, 1000.0))
    swing = rumble * tone(8.0, 3.0)
    found = published(np.vstack([x + swing, x - swing]))
    assert found["stereo.upper_correlation"].value == pytest.approx(1.0, abs=0.005 + 1e-3 * (rumble / 0.05) ** 2)


@pytest.mark.parametrize(("treble", "said"), [(0.1, False), (0.3, True)])
def test_music_that_is_nearly_all_bass_has_no_upper_correlation(treble, said):
    """1 % of the energy above 300 Hz, and 8 %."""
    x = 0.1 * (tone(4.0, 60.0) + treble * tone(4.0, 1000.0))
    assert ("stereo.upper_correlation" in published(np.vstack([x, -x]))) == said


@pytest.mark.parametrize("below", [20.0, 69.0, 100.0])
def test_the_difference_is_relative_to_the_sum(below):
    m, s = 0.1 * tone(2.0), 0.1 * 10.0 ** (-below / 20.0) * tone(2.0, 500.0)
    assert published(np.vstack([m + s, m - s]))["stereo.difference"].value == pytest.approx(-below, abs=1e-3)


def test_equal_and_opposite_channels_have_a_difference_at_its_bounds():
    same, opposed = (published(0.1 * np.vstack([tone(2.0), sign * tone(2.0)])) for sign in (1.0, -1.0))
    assert (same["stereo.difference"].value, same["stereo.difference"].bound) == (-120.0, "<")
    assert (opposed["stereo.difference"].value, opposed["stereo.difference"].bound) == (120.0, ">")


def test_sixteen_bits_of_independent_dither_are_below_the_warning():
    """Triangular dither and rounding have the power of a quarter of a squared step in each channel (closed form)."""
    rng, step, music = np.random.default_rng(1), 2.0**-15, 0.1 * tone(6.0)
    dithered = [np.round(music / step + rng.random(len(music)) - rng.random(len(music))) * step for _ in range(2)]
    expected = 10.0 * np.log10(2.0 * step**2 / 4.0 / (4.0 * 0.1**2 / 2.0))
    found = published(np.vstack(dithered))["stereo.difference"].value
    assert found == pytest.approx(expected, abs=0.2)
    assert found < -50.0


@pytest.mark.parametrize(("dead", "value", "bound"), [(0, 60.0, ">"), (1, -60.0, "<")])
@pytest.mark.parametrize("direct", [0.0, 0.3])
def test_a_silent_channel_is_the_extreme_of_balance_and_no_correlation(dead, value, bound, direct):
    x = 0.1 * np.vstack([tone(12.0), tone(12.0, 500.0)])
    x[dead] = direct
    found = published(x)
    balance = found["stereo.balance"]
    assert (balance.value, balance.bound) == (value, bound)
    # a house's rules "at_most: 3 dB" and "at_least: -3 dB": one of them fails, and it is the right one
    assert meets(balance.value, 3.0, "<=", "dB") == (dead == 1)
    assert meets(balance.value, -3.0, ">=", "dB") == (dead == 0)
    worst = found["stereo.balance_10s"]
    assert (worst.value, worst.bound, worst.at.end_s - worst.at.start_s) == (value, bound, pytest.approx(10.0))
    assert found["stereo.correlation"].value == 0.0
    assert found["programme.dead_share"].value == 100.0
    assert found["programme.dead_share"].at.channel == ("left", "right")[dead]
    assert found["programme.dead_longest"].value == pytest.approx(12.0)


def test_silence_publishes_nothing():
    assert published(np.zeros((2, RATE))) == {}


@pytest.mark.parametrize("cut", [True, False])
def test_a_channel_is_cut_off_or_fades(cut):
    x = 0.2 * np.vstack([tone(12.0), tone(12.0, 500.0)])
    t = np.arange(x.shape[1]) / RATE
    fade = 10.0 ** (-3.0 * np.maximum(t - 3.0, 0.0) / (1e-9 if cut else 1.0))  # 60 dB in a second, or at once
    x[1] *= np.where(t < 8.0, fade, 1.0)
    (one,) = run_need(Relation.of(Chain()), x, RATE).dead
    assert (one.channel, one.cut_off) == ("right", cut)
    assert one.end == pytest.approx(800, abs=1)
    if cut:
        assert one.first == pytest.approx(300, abs=1)
    else:  # 40 dB below the other channel; at 0.2 / sqrt(2) = -17 dBFS rms that is above the floor of -60 dBFS
        assert one.first == pytest.approx(300 + 100 * 40.0 / 60.0, abs=2)


@pytest.mark.parametrize(("every", "dead"), [(0.7, True), (0.2, False)])
def test_a_crackle_does_not_bring_a_dead_channel_to_life(every, dead):
    """Common practice, no source: a loose plug crackles now and then; what sounds five times a second may be music."""
    x = 0.1 * np.vstack([tone(6.0), 0.0 * tone(6.0)])
    x[1, RATE // 2 :: round(every * RATE)] = 0.1
    assert published(x)["programme.dead_share"].value == (100.0 if dead else 0.0)


@pytest.mark.parametrize(("leaks", "dead"), [(-41.0, True), (-39.0, False)])
def test_crosstalk_from_the_other_channel_is_no_programme(leaks, dead):
    rise = np.linspace(0.05, 0.5, 6 * RATE)  # so that the channel rises above its own floor
    left = rise * tone(6.0)
    x = np.vstack([left, 10.0 ** (leaks / 20.0) * left])
    share = published(x)["programme.dead_share"].value
    assert share == 100.0 if dead else share < 50.0


@pytest.mark.parametrize("channel", [0, 1])
def test_a_balance_beyond_its_range_is_a_bound(channel):
    """One channel at -40 dBFS, the other at -100 dBFS, which is silence: the truth lies beyond 60 dB or is unknown."""
    x = 0.01 * np.sqrt(2.0) * np.vstack([tone(12.0), tone(12.0)])
    x[channel] *= 1e-3
    sign = 1.0 if channel == 0 else -1.0
    for name in ("stereo.balance", "stereo.balance_10s"):
        found = published(x)[name]
        assert (found.value, found.bound) == (60.0 * sign, ">" if channel == 0 else "<")


def test_the_worst_ten_seconds_are_found():
    x = 0.1 * np.vstack([tone(40.0), tone(40.0, 500.0)])
    x[1, 20 * RATE : 30 * RATE] *= 10.0 ** (-15.0 / 20.0)
    found = published(x)["stereo.balance_10s"]
    assert found.value == pytest.approx(-15.0, abs=0.01)
    assert (found.at.start_s, found.at.end_s) == pytest.approx((20.0, 30.0))


@pytest.mark.parametrize("rate", [44_056, 47_952])
@pytest.mark.parametrize("seconds", [0.004, 3.0, 12.0])
def test_rates_without_whole_frames_in_10_ms_are_measured(rate, seconds):
    """44.1 and 48 kHz pulled down by 1000/1001 for video: each sum has a part of its own length."""
    t = np.arange(round(seconds * rate)) / rate
    x = 0.1 * np.vstack([np.sin(2.0 * np.pi * 1000.0 * t), np.sin(2.0 * np.pi * 1000.0 * t + np.pi / 3.0)])
    found = {}
    for need in (Relation.of(Chain()), Stereo.of(Chain()), LowCorrelation.of(Chain())):
        found |= need.publish(run_need(need, x, rate))
    if seconds > 1.0:  # the cosine of 60 degrees
        assert found["stereo.correlation"].value == pytest.approx(0.5, abs=1e-3)
        assert found["stereo.correlation_min"].value == pytest.approx(0.5, abs=1e-3)


@settings(max_examples=15, deadline=None)
@given(frames=st.integers(RATE, RATE * 12), sizes=st.lists(st.integers(0, 30_000), max_size=8))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = NOISE[:, :frames].copy()
    x[1, RATE * 2 : RATE * 6] = 0.0
    once, cut = run_need(Relation.of(Chain()), x, RATE, frames), run_need(Relation.of(Chain()), x, RATE, sizes)
    assert (once.sums == cut.sums).all()
    assert Relation.of(Chain()).publish(once) == Relation.of(Chain()).publish(cut)
    whole = frames // 80
    assert once.sums[:whole, 3:5] == pytest.approx(x[:, : 80 * whole].reshape(2, whole, 80).sum(axis=2).T, abs=1e-12)
