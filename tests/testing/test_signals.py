"""The kit's signals against closed forms: rms, peak, duty, glide, and for noise the slope of its spectrum."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.testing import signals

RATE = 48_000


def mean_square(x):
    return float(np.mean(x**2))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("hz", [50.0, 997.0, 10_000.0])
def test_a_sine_has_its_peak_over_root_two(rate, hz):
    x = signals.sine(hz, 1.0, rate, 0.4)  # whole periods in a second
    assert x.shape == (2, rate)
    assert x.dtype == np.float64
    assert np.sqrt(mean_square(x)) == pytest.approx(0.4 / np.sqrt(2.0), rel=1e-9)
    assert np.array_equal(x[0], x[1])


def test_a_sine_lies_at_its_frequency_and_phase():
    x = signals.sine(1_000.0, 1.0, RATE, 0.5, phase=np.pi / 2.0)[0]
    spectrum = np.abs(np.fft.rfft(x)) * 2.0 / RATE
    assert int(spectrum.argmax()) == 1_000
    assert spectrum[1_000] == pytest.approx(0.5)
    assert x[0] == pytest.approx(0.5)


def test_the_fades_of_a_sine_lose_five_eighths_of_their_energy():
    """The mean square of a raised cosine is 3/8, so that each fade loses 5/8 of its seconds."""
    x = signals.sine(1_000.0, 2.0, RATE, 1.0, fade_s=0.25)
    assert mean_square(x) == pytest.approx(0.5 * (1.0 - 2.0 * 0.25 / 2.0 * 5.0 / 8.0), rel=1e-4)
    assert np.abs(x[:, [0, -1]]).max() == 0.0
    assert np.abs(x).max() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("channels", "left", "right"), [("both", 1, 1), ("opposed", 1, -1), ("left", 1, 0), ("right", 0, 1)]
)
def test_channels_are_as_named(channels, left, right):
    plain = signals.sine(440.0, 0.1, RATE, 0.3)[0]
    x = signals.sine(440.0, 0.1, RATE, 0.3, channels=channels)
    assert np.array_equal(x, np.vstack([left * plain, right * plain]))


def test_a_swell_has_its_peak_in_the_middle_and_three_sixteenths_of_its_square():
    x = signals.swell(2_000.0, 0.5, RATE, 0.8)
    assert int(np.abs(x[0]).argmax()) == x.shape[1] // 2
    assert x[0].max() == 0.8
    assert mean_square(x) == pytest.approx(3.0 / 16.0 * 0.8**2, rel=1e-6)
    assert np.abs(x[:, 0]).max() < 1e-9


@pytest.mark.parametrize(("on", "every"), [(0.05, 0.2), (0.1, 0.1), (0.25, 1.0)])
def test_bursts_last_their_part_of_the_time(on, every):
    x = signals.bursts(4_000.0, 4.0, RATE, 0.6, on_s=on, every_s=every, fade_s=0.0)
    assert mean_square(x) == pytest.approx(0.5 * 0.6**2 * on / every, rel=2e-3)
    t = np.arange(x.shape[1]) / RATE
    assert not x[:, (t % every) > on + 1e-9].any()


def test_a_burst_longer_than_its_time_is_refused():
    with pytest.raises(ValueError, match=r"0\.3 s does not fit into 0\.2 s"):
        signals.bursts(1_000.0, 1.0, RATE, 0.1, on_s=0.3, every_s=0.2)


def test_a_sweep_takes_as_long_for_every_octave():
    """Turns from t to t + T/10 are what integrating f(t) gives, f T/(10 ln 2) in each of ten octaves."""
    seconds = 10.0
    x = signals.sweep(20.0, 20_480.0, seconds, RATE, 0.5)[0]
    crossings = np.flatnonzero(np.diff(np.signbit(x))) / RATE
    for octave in range(10):
        turns = np.count_nonzero((crossings >= octave) & (crossings < octave + 1.0)) / 2.0
        assert turns == pytest.approx(20.0 * 2.0**octave / np.log(2.0), rel=1e-3, abs=1.0)
    assert np.abs(x).max() == pytest.approx(0.5, abs=1e-3)


def test_a_sweep_that_goes_nowhere_is_a_sine():
    still = signals.sweep(1_000.0, 1_000.0, 0.5, RATE, 0.5)
    assert still == pytest.approx(signals.sine(1_000.0, 0.5, RATE, 0.5), abs=1e-9)


def slope(x, rate, low=50.0, high=10_000.0):
    """Slope of the power density over frequency, both as logarithms: averaged periodograms with a Hann window."""
    size = 8_192
    window = np.hanning(size)
    parts = [x[i : i + size] * window for i in range(0, len(x) - size, size // 2)]
    power = np.mean([np.abs(np.fft.rfft(part)) ** 2 for part in parts], axis=0)
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    band = (hz > low) & (hz < high)
    weights = 1.0 / np.sqrt(hz[band])  # every octave counts alike
    return np.polyfit(np.log(hz[band]), np.log(power[band]), 1, w=weights)[0]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_power_of_pink_noise_falls_with_the_frequency(seed):
    x = signals.pink_noise(20.0, RATE, 0.1, seed=seed)
    assert slope(x[0], RATE) == pytest.approx(-1.0, abs=0.05)
    assert np.sqrt(mean_square(x)) == pytest.approx(0.1, rel=1e-12)
    white = np.random.default_rng(seed).standard_normal(x.shape[1])
    assert slope(white, RATE) == pytest.approx(0.0, abs=0.05)  # that the reference tells one from the other


def test_pink_noise_keeps_to_its_band_and_repeats_itself():
    x = signals.pink_noise(4.0, RATE, 0.1, from_hz=100.0, to_hz=1_000.0)
    power = np.abs(np.fft.rfft(x[0])) ** 2
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / RATE)
    assert power[(hz < 99.0) | (hz > 1_001.0)].sum() < 1e-20 * power.sum()
    assert np.array_equal(x, signals.pink_noise(4.0, RATE, 0.1, from_hz=100.0, to_hz=1_000.0))
    assert not np.array_equal(x, signals.pink_noise(4.0, RATE, 0.1, from_hz=100.0, to_hz=1_000.0, seed=2))


def test_independent_noises_do_not_correlate():
    left, right = signals.pink_noise(20.0, RATE, 0.1, channels="apart", from_hz=200.0)
    assert np.sqrt(mean_square(left)) == pytest.approx(np.sqrt(mean_square(right)))
    assert abs(float(np.mean(left * right))) < 0.05 * 0.1**2


def test_noise_without_a_frequency_in_its_band_is_refused():
    with pytest.raises(ValueError, match="hold no noise between 20 and 30 Hz"):
        signals.pink_noise(0.01, RATE, 0.1, to_hz=30.0)


@settings(deadline=None)
@given(st.floats(0.0, 0.5), st.sampled_from([44_100, 48_000, 192_000]))
def test_every_signal_has_the_requested_length(seconds, rate):
    frames = round(seconds * rate)
    assert signals.silence(seconds, rate).shape == (2, frames)
    assert signals.sine(100.0, seconds, rate, 0.1, fade_s=0.1).shape == (2, frames)
    assert signals.bursts(100.0, seconds, rate, 0.1, on_s=0.1, every_s=0.2).shape == (2, frames)
    assert not signals.silence(seconds, rate).any()
