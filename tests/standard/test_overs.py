"""Passages of overs as published, and ffmpeg's true peak meter as a witness."""

import re
import subprocess

import numpy as np
import pytest
import soundfile

from qc.model.cutting_chain import Chain
from qc.testing.drive import run_need
from qc_standard.overs import PASSAGES, Overs

RATE = 48_000


def passages(x):
    need = Overs.of(Chain())
    result = run_need(need, x, RATE)
    return result, need.publish(result)[PASSAGES]


def bursts(*places, db=0.5):
    """A second of silence for each place, with 0.1 s of a sine at a quarter of the rate at (channel, second, level)."""
    x = np.zeros((2, RATE * 5))
    n = np.arange(RATE // 10)
    window = np.sin(np.pi * n / n.size) ** 2
    for channel, second in places:
        at = round(second * RATE)
        x[channel, at : at + n.size] = 10.0 ** (db / 20.0) * window * np.sin(0.5 * np.pi * n + 0.25 * np.pi)
    return x


def test_overs_of_both_channels_within_half_a_second_are_one_passage():
    result, count = passages(bursts((0, 1.0), (1, 1.2), (0, 3.0)))
    assert [its.at.channel for its in result] == [None, "left"]
    assert count.value == 2
    first = result[0]
    assert (first.at.start_s, first.at.end_s) == pytest.approx((1.05, 1.25), abs=0.03)  # their middles


def test_the_place_of_the_number_is_the_highest_passage():
    x = bursts((0, 1.0)) + bursts((1, 2.5), db=2.0)
    result, count = passages(x)
    assert count.at == result[1].at
    assert result[1].peak_db == pytest.approx(2.0, abs=0.02)
    assert result[1].peak_s == pytest.approx(2.55, abs=0.001)


def test_silence_has_no_passage():
    result, count = passages(np.zeros((2, RATE)))
    assert result == ()
    assert (count.value, count.at) == (0, None)


@pytest.mark.ffmpeg
def test_ffmpeg_measures_the_same_true_peak(tmp_path):
    """ffmpeg's ebur128 resamples by other filters: 0.3 dB is what BS.1770 lets meters at four times the rate differ."""
    rng = np.random.default_rng(2)
    x = bursts((0, 1.0), (0, 2.0), db=1.0)
    x[1] = 0.2 * rng.standard_normal(x.shape[1])
    soundfile.write(tmp_path / "x.wav", x.T, RATE, subtype="FLOAT")
    command = ["ffmpeg", "-nostats", "-i", str(tmp_path / "x.wav"), "-af", "ebur128=peak=true", "-f", "null", "-"]
    words = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    witness = float(re.findall(r"Peak:\s+(-?[0-9.]+) dBFS", words)[-1])
    result, _ = passages(x)
    assert max(its.peak_db for its in result) == pytest.approx(witness, abs=0.3)
