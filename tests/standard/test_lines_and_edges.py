"""Steady lines at the top and edges of a lower sample rate, against closed forms, sox and scipy's filters."""

import subprocess

import numpy as np
import pytest
import soundfile
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.spectrum.steady import NAMED, SteadyLines
from qc_standard.spectrum.upsampled import RaisedRate

SOFT_TOP = signal.butter(2, 18_000.0, fs=96_000, output="sos")


def music(rate, seconds, seed=1):
    """Noise that falls by 6 dB an octave above 1 kHz, with a beat, over hiss of -96 dBFS."""
    rng = np.random.default_rng(seed)
    white = rng.standard_normal((2, int(seconds * rate)))
    dull = signal.sosfilt(signal.butter(1, 1_000.0, fs=rate, output="sos"), white)
    beat = 0.5 + 0.5 * np.sin(2.0 * np.pi * 2.0 * np.arange(white.shape[1]) / rate)
    return 0.3 * dull * beat + 1.6e-5 * rng.standard_normal(white.shape)


def sine(hz, peak_db, rate, frames):
    return 10.0 ** (peak_db / 20.0) * np.sin(2.0 * np.pi * hz * np.arange(frames) / rate)


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
@pytest.mark.parametrize("hz", [15_625.0, 4.5e6 / 286.0])
def test_a_television_line_is_found_by_name_at_its_frequency_and_level(rate, hz):
    samples = music(rate, 15.0)
    samples += sine(hz, -46.0, rate, samples.shape[1])
    (line,) = run_need(SteadyLines(), samples, rate)
    assert line.hz == pytest.approx(hz, abs=0.5)
    assert line.quantity().value == pytest.approx(-49.01, abs=0.2)
    assert NAMED[min(NAMED, key=lambda named: abs(named - hz))] in line.name
    assert line.channel is None


def test_the_ratio_falls_where_the_top_of_the_sound_falls_off():
    rate = 48_000
    samples = np.stack([3e-4 * np.random.default_rng(1).standard_normal(30 * rate), np.zeros(30 * rate)])
    samples[0] += sine(15_625.0, -50.0, rate, 30 * rate) * np.repeat([1.0, 0.5, 0.25], 10 * rate)
    samples[1] += 0.3 * sine(440.0, 0.0, rate, 30 * rate)
    (line,) = run_need(SteadyLines(), samples, rate)
    start, middle, end = line.ratios_db
    assert line.channel == "left"
    assert start - middle == pytest.approx(6.02, abs=1.5)
    assert middle - end == pytest.approx(6.02, abs=1.5)


@pytest.mark.parametrize("samples", [
    pytest.param(np.zeros((2, 480_000)), id="silence"),
    pytest.param(np.zeros((2, 50)), id="nothing"),
    pytest.param(np.stack([sine(12_000.0, -20.0, 48_000, 480_000)] * 2), id="one tone"),
    pytest.param(music(48_000, 10.0), id="noise"),
    pytest.param(music(48_000, 2.0) + sine(15_625.0, -50.0, 48_000, 96_000), id="too short"),
])  # fmt: skip
def test_no_line_is_found_where_there_is_none(samples):
    assert run_need(SteadyLines(), samples, 48_000) == ()


@pytest.mark.parametrize(("before", "after"), [(44_100, 96_000), (48_000, 96_000), (44_100, 88_200), (96_000, 192_000)])
def test_music_that_sox_raised_to_another_rate_is_found_at_its_own(before, after, tmp_path):
    soundfile.write(tmp_path / "a.wav", music(before, 10.0).T, before, subtype="PCM_24")
    subprocess.run(["sox", tmp_path / "a.wav", "-b", "24", tmp_path / "b.wav", "rate", "-v", str(after)], check=True)
    samples, _ = soundfile.read(tmp_path / "b.wav", always_2d=True)
    edge = run_need(RaisedRate(), samples.T, after)
    assert edge.rate == before
    assert edge.drop_db > 30.0


@pytest.mark.parametrize("samples", [
    pytest.param(music(96_000, 10.0), id="music"),
    pytest.param(np.zeros((2, 960_000)), id="silence"),
    pytest.param(np.zeros((2, 0)), id="nothing"),
    pytest.param(np.stack([sine(1_000.0, -6.0, 96_000, 480_000)] * 2), id="one tone"),
    pytest.param(signal.sosfilt(SOFT_TOP, music(96_000, 10.0)), id="a soft top"),
])  # fmt: skip
def test_music_with_a_top_of_its_own_has_no_edge(samples):
    assert run_need(RaisedRate(), samples, 96_000) is None
