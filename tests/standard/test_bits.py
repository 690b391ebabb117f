"""Bits in use and tails in steps: closed forms, plain numpy, and ffmpeg's own bit depth."""

import subprocess

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.model.cutting_chain import Chain
from qc.testing import faults
from qc.testing.drive import run_need
from qc_standard.bits.low_bits import LowBits
from qc_standard.bits.tails import Tails

RATE = 48_000
NOISE = 0.2 * np.random.default_rng(8).standard_normal((2, 2 * RATE))


def published(need, x, rate=RATE):
    return {name: quantity.value for name, quantity in need.publish(run_need(need, x, rate)).items()}


@pytest.mark.parametrize("bits", [8, 12, 16, 19, 20, 23])
@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_rounding_leaves_so_many_bits_in_use(bits, rate):
    assert published(LowBits(), faults.requantised(NOISE, bits), rate) == {"file.bits_in_use": bits}


def test_samples_of_floating_point_use_all_bits():
    assert published(LowBits(), NOISE) == {"file.bits_in_use": 24}


def test_full_scale_and_silence_use_few_bits():
    assert published(LowBits(), np.full((2, RATE), -1.0)) == {"file.bits_in_use": 1}
    assert published(LowBits(), np.zeros((2, RATE))) == {}


@pytest.mark.ffmpeg
@pytest.mark.parametrize("bits", [12, 16, 20, 24])
def test_the_bits_in_use_are_those_that_ffmpeg_counts(tmp_path, bits):
    path = tmp_path / "noise.wav"
    soundfile.write(path, faults.requantised(NOISE, bits).T, RATE, "PCM_24")
    command = ["ffmpeg", "-hide_banner", "-i", str(path), "-af", "astats=measure_perchannel=none", "-f", "null", "-"]
    log = subprocess.run(command, capture_output=True, check=True, text=True).stderr
    counted = int(log.rpartition("Bit depth: ")[2].split("/")[0].split()[0])
    counted -= 8 if counted > 24 else 0  # ffmpeg decodes 24 bits to the upper ones of 32
    samples, _ = soundfile.read(path, always_2d=True)
    assert published(LowBits(), samples.T) == {"file.bits_in_use": counted} == {"file.bits_in_use": bits}


@settings(max_examples=30, deadline=None)
@given(frames=st.integers(1, 4_000), sizes=st.lists(st.integers(0, 1_500), max_size=8))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = faults.requantised(NOISE[:, :frames] * 1e-4, 16)
    whole, parts = run_need(LowBits(), x, 8_000, frames), run_need(LowBits(), x, 8_000, sizes)
    np.testing.assert_array_equal(whole.used, parts.used)
    np.testing.assert_array_equal(whole.changes, parts.changes)


def test_changes_are_those_of_numpy():
    x = faults.requantised(NOISE * 1e-4, 16)
    result = run_need(LowBits(), x, RATE)
    changed = np.diff(x, axis=1, prepend=0.0) != 0.0
    np.testing.assert_array_equal(result.changes, changed.reshape(2, -1, RATE // 100).sum(axis=(0, 2)))


def faded(x, seconds):
    """Noise like music that fades by 110 dB, then silence, (2, frames)."""
    fade = 10.0 ** (-110.0 * np.linspace(0.0, 1.0, round(seconds * RATE)) / 20.0)
    tail = x[:, : len(fade)] * fade
    return np.concatenate([np.zeros((2, RATE)), x, tail, np.zeros((2, RATE))], axis=1)


def music(seconds):
    """A chord with a little hiss, (2, frames)."""
    n = np.arange(round(seconds * RATE)) / RATE
    chord = sum(np.sin(2.0 * np.pi * hz * n) / hz for hz in (110.0, 220.0, 331.0, 663.0, 1_320.0))
    return 20.0 * np.vstack([chord, chord]) + 1e-4 * np.random.default_rng(4).standard_normal((2, len(n)))


@pytest.mark.parametrize("seconds", [3.0, 6.0])
def test_a_fade_that_is_rounded_changes_seldom_and_one_with_dither_often(seconds):
    x, need = faded(music(seconds), seconds), Tails.of(Chain())
    assert published(need, faults.requantised(x, 16))["file.truncated_tail"] > 95.0
    # 1 - (9/16 + 2/64) of the samples change where triangular dither is all there is
    assert published(need, faults.requantised(x, 16, dither=True))["file.truncated_tail"] == pytest.approx(
        59.4, abs=1.5
    )
    assert published(need, x) == {}
    assert published(need, faults.requantised(x, 20)) == {}


@pytest.mark.parametrize("frames", [0, 1, 700, 30_000])
def test_sides_without_a_tail_have_no_number(frames):
    assert "file.truncated_tail" not in published(Tails.of(Chain()), NOISE[:, :frames])
