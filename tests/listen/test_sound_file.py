"""Sound files: the rate changed without a shift, 24 bits, soft ends."""

import numpy as np
import pytest
import soundfile

from qc.listen.sound_file import FADE_S, RATE, faded, resampled, write_sound


@pytest.mark.parametrize("rate", [88_200, 96_000])
@pytest.mark.parametrize("hz", [50.0, 1_000.0, 9_000.0, 19_500.0])
def test_a_sine_keeps_its_level_and_its_place(rate, hz):
    x = np.vstack([np.sin(2.0 * np.pi * hz * np.arange(rate) / rate + phase) for phase in (0.3, 1.7)])
    found = resampled(x, rate)
    assert found.shape == (2, RATE)
    t = np.arange(RATE) / RATE
    expected = np.vstack([np.sin(2.0 * np.pi * hz * t + phase) for phase in (0.3, 1.7)])
    middle = slice(500, -500)
    assert found[:, middle] == pytest.approx(expected[:, middle], abs=2e-5)


@pytest.mark.parametrize("rate", [88_200, 96_000])
def test_what_lies_above_half_the_rate_is_taken_out(rate):
    x = np.vstack([np.sin(2.0 * np.pi * 30_000.0 * np.arange(rate) / rate)] * 2)
    assert np.abs(resampled(x, rate)[:, 500:-500]).max() < 1e-5


def test_a_file_holds_every_sample_to_half_of_the_last_bit(tmp_path):
    x = np.random.default_rng(1).uniform(-1.0, 1.0, (2, 1_000))
    write_sound(tmp_path / "x.wav", x)
    read, rate = soundfile.read(tmp_path / "x.wav")
    assert rate == RATE
    assert pytest.approx(x, abs=2.0**-24 * 1.001, rel=0.0) == read.T


def test_only_the_ends_are_faded():
    frames = round(FADE_S * RATE)
    found = faded(np.ones((2, 10 * frames)))
    assert np.array_equal(found[:, frames:-frames], np.ones((2, 8 * frames)))
    assert (np.diff(found[:, :frames]) > 0.0).all()
    assert found[0, 0] < 1e-4
    assert np.array_equal(found, found[:, ::-1])
