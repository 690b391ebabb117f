"""The long-term spectrum against tones and noise of known strength."""

import numpy as np
import pytest
import soundfile

from qc.audio.excerpts import Excerpts
from qc.audio.multi_file_source import FileSegment
from qc.audio.spectrum import spectrum
from qc.plugin_api import Stream

RATE = 48_000
SECONDS = 20


@pytest.fixture
def taken(tmp_path):
    def take(x):
        path = tmp_path / "a.wav"
        soundfile.write(path, x.T, RATE, subtype="FLOAT")
        stream = Stream("side:A", RATE, 2, x.shape[1])
        return spectrum(Excerpts(stream, [FileSegment(path, "a.wav", 0, 0, x.shape[1], RATE)]))

    return take


def noise(rms, seconds=SECONDS):
    return rms * np.random.default_rng(5).standard_normal((2, seconds * RATE))


def tone(hz, level, seconds=SECONDS):
    return 10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * hz * np.arange(seconds * RATE) / RATE)


@pytest.mark.parametrize("hz", [50.0, 1_000.3, 15_625.0])
def test_a_steady_tone_is_found_with_its_frequency_and_level(taken, hz):
    (line,) = taken(noise(1e-4) + tone(hz, -50.0)).lines
    assert line.frequency == pytest.approx(hz, abs=0.5)
    assert line.level == pytest.approx(-50.0, abs=1.5)  # between two bins a Hann window loses 1.4 dB


def test_noise_has_no_lines_and_a_tone_that_comes_and_goes_is_none(taken):
    assert taken(noise(0.1)).lines == ()
    half = tone(1_000.0, -30.0)
    half[: len(half) // 2] = 0.0
    assert taken(noise(1e-4) + half).lines == ()


def test_white_noise_rises_by_three_decibels_an_octave_and_adds_up_to_itself(taken):
    found = taken(noise(0.1))
    low, high = (found.level[np.argmin(np.abs(found.frequency - hz))] for hz in (1_000.0, 8_000.0))
    assert high - low == pytest.approx(9.03, abs=0.7)
    total = 10.0 * np.log10(np.sum(10.0 ** (found.level / 10.0)))
    part = found.frequency[-1] * 2.0 ** (1.0 / 24.0) / (RATE / 2.0)
    assert total == pytest.approx(20.0 * np.log10(0.1 * np.sqrt(2.0)) + 10.0 * np.log10(part), abs=0.2)


def test_a_side_too_short_for_a_piece_has_none_and_a_short_one_no_lines(taken):
    assert taken(noise(0.1, 1)[:, : RATE // 2]) is None
    assert taken(noise(1e-4, 4) + tone(1_000.0, -50.0, 4)).lines == ()
