"""Quiet passages against the noise of a pressing: the closed form of that noise, and what the level changes."""

import math

import numpy as np
import pytest

from qc.plugin_api import Chain, Programme
from qc.testing.drive import run_need
from qc_standard.noise.disc import disc_noise, quiet_passages

RATE = 8_000


def bounds(*parts):
    """The programme of parts (rms in dBFS, seconds) of noise that swings at 0.3 Hz."""
    rng, made = np.random.default_rng(4), []
    for level, seconds in parts:
        t = np.arange(int(seconds * RATE)) / RATE
        swing = np.sqrt(1.0 + 0.9 * np.sin(2.0 * np.pi * 0.3 * t))
        made.append(10.0 ** (level / 20.0) * swing * rng.standard_normal((2, len(t))))
    return run_need(Programme(20_000.0), np.concatenate(made, axis=1), RATE)


@pytest.mark.parametrize("level", [-20.0, 0.0, 4.0])
def test_the_noise_of_a_pressing_lies_55_db_below_a_tone_of_5_cm_a_second(level):
    # the tone of 5 cm/s, lateral, has a peak of -18 dBFS in both channels at a level of 0 dB, by the chain's definition
    tone_rms = -18.0 - 10.0 * math.log10(2.0)
    assert disc_noise(Chain(), level) == pytest.approx(tone_rms - 55.0 - level, abs=1e-9)


def test_a_passage_near_the_noise_has_its_seconds_and_its_level():
    quiet = quiet_passages(bounds((-20.0, 30.0), (-52.0, 20.0), (-20.0, 10.0)), -50.0)
    (passage,) = quiet.passages
    assert (passage.start_s, passage.end_s) == pytest.approx((30.0, 50.0), abs=0.2)
    assert passage.above == pytest.approx(-2.0, abs=0.3)
    assert quiet.near_s == pytest.approx(20.0, abs=0.2)
    assert quiet.share == pytest.approx(100.0 / 3.0, abs=0.5)
    assert quiet.quietest.above == pytest.approx(-2.0, abs=0.5)


def test_the_level_alone_moves_everything_by_as_many_db():
    sides = bounds((-20.0, 30.0), (-52.0, 20.0), (-20.0, 10.0))
    near, far = quiet_passages(sides, -60.0), quiet_passages(sides, -64.0)
    assert near.quietest.above - far.quietest.above == pytest.approx(-4.0, abs=1e-6)
    assert near.near_s > 19.0
    assert far.near_s == 0.0


@pytest.mark.parametrize("seconds", [3.0, 9.0])
def test_a_quiet_passage_of_less_than_10_s_does_not_count(seconds):
    assert not quiet_passages(bounds((-20.0, 15.0), (-52.0, seconds), (-20.0, 15.0)), -50.0).passages


def test_a_pause_of_steady_hiss_or_of_silence_is_no_passage():
    rng = np.random.default_rng(2)
    loud = 0.1 * rng.standard_normal((2, 12 * RATE))
    hiss = 10.0 ** (-65.0 / 20.0) * rng.standard_normal((2, 15 * RATE))
    for pause in (hiss, np.zeros_like(hiss)):
        side = run_need(Programme(20_000.0), np.concatenate([loud, pause, loud], axis=1), RATE)
        quiet = quiet_passages(side, -60.0)
        assert not quiet.passages
        assert quiet.near_s == 0.0


def test_a_silent_side_has_no_passage():
    quiet = quiet_passages(run_need(Programme(20_000.0), np.zeros((2, 12 * RATE)), RATE), -60.0)
    assert (quiet.quietest, quiet.passages, quiet.near_s) == (None, (), 0.0)


def test_a_last_track_that_is_too_quiet_for_programme_counts():
    quiet = quiet_passages(bounds((-20.0, 30.0), (-62.0, 20.0)), -50.0)
    (passage,) = quiet.passages
    assert (passage.start_s, passage.end_s) == pytest.approx((30.0, 50.0), abs=0.2)


def test_a_fade_of_8_s_into_silence_is_no_passage():
    t = np.arange(8 * RATE) / RATE
    fade = 10.0 ** ((-42.0 - 5.0 * t) / 20.0) * np.random.default_rng(3).standard_normal((2, len(t)))
    loud = 0.1 * np.random.default_rng(2).standard_normal((2, 12 * RATE))
    samples = np.concatenate([loud, fade, np.zeros((2, 6 * RATE)), loud], axis=1)
    assert not quiet_passages(run_need(Programme(20_000.0), samples, RATE), -50.0).passages
