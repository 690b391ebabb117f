"""Traces of lossy coders, against ffmpeg's coders, closed forms and scipy's filters."""

import numpy as np
import pytest
import soundfile
from scipy import signal

from published.planted.lossy import coded
from qc.testing import faults, signals
from qc.testing.drive import run_need
from qc_standard.lossy.edge import steep_edge
from qc_standard.lossy.holes import BURST, Holes, burst_start, frame_size
from qc_standard.lossy.traces import LossyTraces
from qc_standard.spectrum.spectra import SideSpectra, Spectra
from support.rendered import LOSSY, SOUNDS


def holes(samples, rate, blocks=8192):
    return run_need(Holes(), np.ascontiguousarray(samples), rate, blocks)


def traces(samples, rate):
    return run_need(LossyTraces(), np.ascontiguousarray(samples), rate)


def edge(samples, rate):
    return steep_edge(Spectra(run_need(SideSpectra(), samples, rate)), 0.0, 100.0)


def frame_of(burst, rate, number=5):
    """Second at which a frame of a burst begins, and its length."""
    size = frame_size(rate)
    return (burst_start(burst, BURST * size) + number * size) / rate, size / rate


@pytest.mark.parametrize("rate", [44_100, 48_000, 88_200, 96_000, 192_000])
def test_a_band_that_is_missing_in_single_frames_is_found_in_them(rate):
    noise = signals.pink_noise(6.0, rate, 0.1, channels="apart")
    starts, lengths = zip(*(frame_of(burst, rate) for burst in (0, 4, 7)), strict=True)
    at = [start - 0.002 for start in starts]
    x = faults.missing_band(noise, rate, at_s=at, seconds=lengths[0] + 0.004, from_hz=13_000.0, to_hz=13_800.0)
    found = holes(x, rate)
    assert (found.at / rate).tolist() == pytest.approx(starts)
    assert all(13_000.0 < hz < 13_800.0 for hz in found.hz)


def test_a_hole_in_the_difference_of_the_channels_alone_counts():
    """A coder that codes middle and side leaves out a band of the side, and both channels stay full."""
    rate = 48_000
    middle, side = signals.pink_noise(3.0, rate, 0.1, channels="apart")
    start, length = frame_of(2, rate)
    side = np.stack([side, side])
    side = faults.missing_band(
        side, rate, at_s=[start - 0.002], seconds=length + 0.004, from_hz=13_000.0, to_hz=13_800.0
    )
    found = holes(np.stack([middle + side[0], middle - side[0]]), rate)
    assert (found.at / rate).tolist() == pytest.approx([start])


def test_a_band_that_is_missing_all_along_or_a_lone_tone_that_stops_is_no_hole():
    rate = 48_000
    noise = signals.pink_noise(3.0, rate, 0.1)
    gone = faults.missing_band(noise, rate, at_s=[0.0], seconds=3.0, from_hz=13_000.0, to_hz=13_800.0)
    assert not len(holes(gone, rate).at)
    start, length = frame_of(2, rate)
    tone = signals.sine(13_600.0, 3.0, rate, 0.004)
    stops = faults.dropout(tone, rate, at_s=start - 0.002, seconds=length + 0.004, fade_s=0.01)
    assert not len(holes(gone + stops, rate).at)


@pytest.mark.parametrize("x", [
    pytest.param(np.zeros((2, 480_000)), id="silence"),
    pytest.param(np.zeros((2, 50)), id="nothing"),
    pytest.param(signals.sine(1_000.0, 5.0, 48_000, 0.5), id="one tone"),
    pytest.param(signals.sine(12_000.0, 5.0, 48_000, 0.5), id="one high tone"),
    pytest.param(signals.sweep(20.0, 20_000.0, 5.0, 48_000, 0.5), id="a sweep"),
    pytest.param(signals.pink_noise(2.0, 48_000, 0.1), id="two seconds"),
    pytest.param(signals.pink_noise(5.0, 48_000, 0.1, channels="left"), id="one channel"),
])  # fmt: skip
def test_sound_without_a_coder_has_no_trace(x):
    assert traces(x, 48_000) is None


def test_the_size_of_a_block_changes_nothing():
    rate = 44_100
    noise = signals.pink_noise(4.0, rate, 0.1)
    x = faults.missing_band(noise, rate, at_s=[0.5, 1.0], seconds=0.06, from_hz=12_000.0, to_hz=13_000.0)
    whole = holes(x, rate, x.shape[1])
    assert len(whole.at)
    for blocks in (1_000, 16_384, 50_001):
        other = holes(x, rate, blocks)
        assert other.at.tolist() == whole.at.tolist()
        assert other.sounding == whole.sounding


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize("hz", [16_000.0, 19_000.0])
def test_the_edge_of_scipys_filter_is_found_at_its_frequency_with_its_fall(rate, hz):
    """White noise behind a long filter of 16,000 taps, 50 dB above white noise of the whole width."""
    rng = np.random.default_rng(1)
    taps = signal.firwin(16_001, hz, fs=rate, window=("kaiser", 12.0))
    white = signal.fftconvolve(0.1 * rng.standard_normal((2, 10 * rate)), taps[None], mode="same", axes=1)
    found = edge(white + 0.1 * 10.0**-2.5 * rng.standard_normal(white.shape), rate)
    assert found.hz == pytest.approx(hz, abs=60.0)
    assert found.drop_db == pytest.approx(50.0, abs=1.0)


def test_a_filter_of_96_db_an_octave_is_no_edge():
    rate = 48_000
    white = 0.1 * np.random.default_rng(1).standard_normal((2, 10 * rate))
    assert edge(signal.sosfilt(signal.butter(16, 16_000.0, fs=rate, output="sos"), white), rate) is None


LOOPS = ("loop_tabla", "loop_safari", "loop_mika")


@pytest.fixture(scope="module")
def lossless():
    """Half a minute of loops of a package that are stored as FLAC."""
    parts = [soundfile.read(SOUNDS / f"{name}.flac", always_2d=True) for name in LOOPS]
    assert {rate for _, rate in parts} == {44_100}
    sound = np.concatenate([np.broadcast_to(x.T, (2, len(x))) for x, _ in parts], axis=1)
    return np.tile(sound, (1, 4))[:, : 30 * 44_100]


@pytest.mark.rendered
def test_lossless_loops_have_no_edge_and_hardly_a_hole(lossless):
    found = traces(lossless, 44_100)
    assert found is None or (found.holes <= 2 and found.edge is None)


@pytest.mark.rendered
@pytest.mark.ffmpeg
@pytest.mark.parametrize(("coder", "suffix", "kilobits"), [
    ("libmp3lame", "mp3", 128.0), ("libmp3lame", "mp3", 192.0), ("libvorbis", "ogg", 128.0),
])  # fmt: skip
def test_the_same_loops_show_the_coder_of_ffmpeg(lossless, coder, suffix, kilobits):
    found = traces(coded(lossless, 44_100, kilobits, coder, suffix), 44_100)
    assert found.holes > 2
    assert found.edge is not None


@pytest.mark.music
def test_music_that_is_stored_as_vorbis_shows_it():
    samples, rate = soundfile.read(LOSSY / "underground.ogg", always_2d=True, frames=40 * 44_100)
    found = traces(samples.T, rate)
    assert found.holes > 5
    assert 14_500.0 < found.edge.hz < 20_700.0
