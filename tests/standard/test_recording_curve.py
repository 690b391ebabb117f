"""The recording curve on a spectrum, against the table of the standard (EQ-1, EQ-3) and scipy's filters."""

import numpy as np
import pytest
from scipy import signal

from qc.testing import faults, signals
from qc.testing.drive import run_need
from qc_standard.spectrum.recording_curve import MUSIC_DB, VARIES_DB, RecordingCurve, fitted, recording_curve_db

REPLAY_DB = {20: 19.274, 50: 16.946, 63: 15.852, 125: 11.563, 250: 6.677, 500: 2.648, 1000: 0.0, 2000: -2.589,
             4000: -6.605, 8000: -11.894, 16000: -17.708, 20000: -19.620}  # fmt: skip
"""Hz -> dB of the replay curve, as tabulated for the standard; recording is the inverse."""
RATE = 48_000


def measured(x, rate=RATE):
    return run_need(RecordingCurve(), np.ascontiguousarray(x), rate)


def music_filter(rate):
    """Return scipy's linear-phase filter that brings white noise to the octaves of music."""
    hz = 1000.0 * 2.0 ** np.arange(-4, 5)
    pink = 10.0 * np.log10(2.0 ** np.arange(-4, 5))  # white noise has 3 dB more in each octave
    levels = 10.0 ** ((MUSIC_DB - pink) / 20.0)
    return signal.firwin2(16_385, [0.0, *hz, 0.5 * rate], [levels[0], *levels, levels[-1]], fs=rate)


def like_music(seconds=25.0, rate=RATE):
    """Noise whose octaves are those of music."""
    white = np.random.default_rng(1).standard_normal(round(seconds * rate))
    x = signal.fftconvolve(white, music_filter(rate), mode="same")
    return np.tile(0.3 * x / np.abs(x).max(), (2, 1))


def replayed(x, rate=RATE):
    """Apply the analogue replay curve by scipy's frequency response."""
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / rate)
    response = signal.freqs([318e-6, 1.0], np.polymul([3180e-6, 1.0], [75e-6, 1.0]), 2.0 * np.pi * hz)[1]
    return np.fft.irfft(np.fft.rfft(x) * response, x.shape[1])


@pytest.mark.parametrize(("hz", "replay_db"), REPLAY_DB.items())
def test_the_curve_is_that_of_the_standard(hz, replay_db):
    assert recording_curve_db(np.array(float(hz))) == pytest.approx(-replay_db, abs=0.001)


@pytest.mark.parametrize("part", [-1.0, 0.0, 0.3, 1.0])
def test_the_part_of_the_curve_on_music_is_found(part):
    curve = recording_curve_db(1000.0 * 2.0 ** np.arange(-4, 5))
    found = fitted(MUSIC_DB + 7.0 + part * curve)
    assert found.part == pytest.approx(part, abs=1e-9)
    assert found.without_db == pytest.approx(found.with_db * abs(1.0 - part) / abs(part) if part else found.without_db)


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_the_curve_is_added_to_noise_with_the_spectrum_of_music(rate):
    """Against numpy's weighted line through what the curve of the standard adds to each octave of scipy's filter."""
    hz, response = signal.freqz(music_filter(rate), worN=1 << 16, fs=rate)
    power, middles = np.abs(response) ** 2, 1000.0 * 2.0 ** np.arange(-4, 5)
    replay = signal.freqs([318e-6, 1.0], np.polymul([3180e-6, 1.0], [75e-6, 1.0]), 2.0 * np.pi * hz)[1]
    inside = [(hz >= middle / np.sqrt(2.0)) & (hz < middle * np.sqrt(2.0)) for middle in middles]
    levels, raised = (
        np.array([10.0 * np.log10(each[band].sum()) for band in inside])
        for each in (power, power / np.abs(replay) ** 2)
    )
    expected = [
        np.polyfit(recording_curve_db(middles), each - MUSIC_DB, 1, w=1.0 / VARIES_DB)[0] for each in (levels, raised)
    ]
    x = like_music(100.0, rate)
    plain, cut = measured(x, rate), measured(faults.recording_curve(x, rate), rate)
    assert [plain.part, cut.part] == pytest.approx(expected, abs=0.02)
    assert expected[1] - expected[0] > 0.9
    assert cut.without_db < 3.0 < cut.with_db


def test_scipys_replay_takes_the_planted_curve_off():
    x = like_music()
    back = replayed(faults.recording_curve(x, RATE))
    assert np.corrcoef(back[0], x[0])[0, 1] == pytest.approx(1.0, abs=1e-9)
    assert measured(back).part == pytest.approx(measured(x).part, abs=1e-3)


@pytest.mark.parametrize("x", [
    pytest.param(np.zeros((2, 25 * RATE)), id="silence"),
    pytest.param(np.zeros((2, 10)), id="nothing"),
    pytest.param(signals.sine(8_000.0, 25.0, RATE, 0.1), id="one tone"),
    pytest.param(signals.pink_noise(15.0, RATE, 0.1), id="too short"),
])  # fmt: skip
def test_what_is_no_music_has_no_part(x):
    assert measured(x) is None


def test_the_level_of_a_passage_does_not_matter():
    x = like_music()
    quieter = x.copy()
    quieter[:, : x.shape[1] // 2] *= 0.1
    assert measured(quieter).part == pytest.approx(measured(x).part, abs=0.02)
