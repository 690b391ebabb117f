"""The time between the channels: delays made by turning phases, and by whole samples."""

import numpy as np
import pytest

from qc.model.cutting_chain import Chain
from qc.testing import faults, signals
from qc.testing.drive import run_need
from qc_standard.azimuth.delay import ChannelDelay


def measured(x, rate, blocks=1 << 15):
    return run_need(ChannelDelay.of(Chain()), np.ascontiguousarray(x), rate, blocks).delay_s


def music(rate, seconds=16.0, apart=0.2):
    """Noise with a middle and some of each side's own, (2, frames)."""
    return signals.pink_noise(seconds, rate, 0.1) + signals.pink_noise(
        seconds, rate, apart * 0.1, channels="apart", seed=3
    )


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize("samples", [0.0, 0.25, -0.6, 1.0, 3.3])
def test_a_delay_is_measured_to_a_twentieth_of_a_sample(rate, samples):
    x = faults.late(music(rate), rate, seconds=samples / rate)
    assert rate * measured(x, rate) == pytest.approx(samples, abs=0.05)


def test_a_channel_that_is_moved_by_samples_is_late_by_them():
    x = music(48_000)
    x[0] = np.roll(x[0], 5)
    assert 48_000 * measured(x, 48_000) == pytest.approx(-5.0, abs=0.05)


def test_a_level_difference_is_no_delay():
    x = music(48_000) * np.array([[1.0], [0.3]])
    assert measured(x, 48_000) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    "x",
    [
        signals.pink_noise(16.0, 48_000, 0.1, channels="apart"),
        signals.pink_noise(4.0, 48_000, 0.1),
        np.zeros((2, 48_000 * 12)),
        np.zeros((2, 10)),
    ],
)
def test_wide_short_and_silent_sides_have_no_time(x):
    assert measured(x, 48_000) is None


def test_echoes_of_one_side_are_no_delay():
    """Reverberation that differs between the channels leaves the direct sound in time."""
    rng, rate = np.random.default_rng(2), 48_000
    direct = signals.pink_noise(16.0, rate, 0.1)
    tail = np.exp(-np.arange(rate // 4) / (0.05 * rate)) * 0.01
    room = [np.convolve(channel[: 16 * rate], tail * rng.standard_normal(len(tail)))[: 16 * rate] for channel in direct]
    found = measured(direct + np.vstack(room), rate)
    assert found is None or abs(found) < 4e-6
