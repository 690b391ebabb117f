"""Mains hum, against tones whose level and frequency are closed forms, and sox's own measurement of a level."""

import re
import subprocess

import numpy as np
import pytest
import soundfile

from qc.testing.drive import run_need
from qc_standard.spectrum.hum import Hum
from qc_standard.spectrum.low_band import LINES, LowBandLines

RATE = 48_000


def sine(hz, peak_db, seconds, rate=RATE):
    return 10.0 ** (peak_db / 20.0) * np.sin(2.0 * np.pi * hz * np.arange(int(seconds * rate)) / rate)


def quiet(seconds, rate=RATE):
    """Noise of -90 dBFS with a tone in every third second, as music that pauses."""
    noise = 3e-5 * np.random.default_rng(1).standard_normal((2, int(seconds * rate)))
    t = np.arange(noise.shape[1]) / rate
    return noise + 0.3 * np.sin(2.0 * np.pi * 440.0 * t) * ((t % 3.0) < 1.0)


def hum(samples, rate=RATE, blocks=65_536):
    return run_need(Hum(), samples, rate, blocks)


@pytest.mark.parametrize("rate", [32_000, 44_100, 96_000, 192_000])
def test_a_line_has_the_level_and_frequency_of_its_sine(rate):
    found = run_need(LowBandLines(), np.stack([sine(50.1, -40, 6, rate), sine(299.9, -20, 6, rate)]), rate)
    for channel, number, hz, level in ((0, 0, 50.1, -43.01), (1, len(LINES) - 1, 299.9, -23.01)):
        assert np.allclose(10.0 * np.log10(found.line[2:, channel, number]), level, atol=0.05)
        assert np.allclose(found.frequency[2:, channel, number], hz, atol=0.01)


def test_what_lies_above_the_low_band_does_not_fold_onto_a_line():
    rate = 96_000
    for hz in (700.0, 750.0 - 60.0, 1_450.0, 5_950.0, 6_050.0, 11_940.0):  # each would fold onto 50 or 60 Hz
        found = run_need(LowBandLines(), np.stack([sine(hz, 0, 5, rate)] * 2), rate)
        assert 10.0 * np.log10(found.line[2:, 0, :2].max()) < -60.0, hz


@pytest.mark.parametrize("family", [50, 60])
def test_each_family_is_found_by_its_lines_at_the_level_that_sox_measures(family, tmp_path):
    lines = sum(sine(family * n, level, 12.0) for n, level in ((1, -66.0), (2, -72.0), (3, -70.0)))
    (found,) = hum(quiet(12.0) + lines)
    assert found.family == family
    assert found.lines[:3] == (family, 2.0 * family, 3.0 * family)
    soundfile.write(tmp_path / "lines.wav", lines, RATE, subtype="FLOAT")
    stats = subprocess.run(["sox", tmp_path / "lines.wav", "-n", "stats"], capture_output=True, text=True, check=True)
    rms = float(re.search(r"RMS lev dB\s+(-[\d.]+)", stats.stderr).group(1))
    assert found.quantity().value == pytest.approx(rms, abs=0.15)


def test_hum_of_one_part_of_a_side_is_found_there():
    samples = quiet(200.0)
    samples[0, 82 * RATE : 123 * RATE] += sine(60.0, -60.0, 41.0)
    (found,) = hum(samples)
    assert (found.family, found.channel) == (60, "left")
    assert 75.0 <= found.start_s <= 85.0
    assert 120.0 <= found.end_s <= 130.0


@pytest.mark.parametrize("samples", [
    pytest.param(np.zeros((2, 10 * RATE)), id="silence"),
    pytest.param(np.zeros((2, 100)), id="nothing"),
    pytest.param(np.stack([sine(50.0, -6, 10.0)] * 2), id="one tone"),
    pytest.param(quiet(12.0) + sine(49.0, -50, 12.0), id="a G"),
    pytest.param(quiet(12.0) + sine(61.74, -50, 12.0), id="a B"),
    pytest.param(quiet(2.0) + sine(50.0, -50, 2.0), id="too short"),
    pytest.param(quiet(12.0) + sine(50.0, -50, 12.0) * np.linspace(1.0, 0.0, 12 * RATE) ** 3, id="a tone that fades"),
])  # fmt: skip
def test_what_is_no_hum_is_not_found(samples):
    assert hum(samples) == ()


@pytest.mark.parametrize("blocks", [1_000, [7, 300_001]])
def test_the_size_of_a_block_changes_nothing(blocks):
    samples = quiet(30.0) + sine(50.0, -66.0, 30.0)
    assert hum(samples) == hum(samples, blocks=blocks)
