"""Clicks and dropouts in loud real music: none in the music itself, and those that are planted are found there.

The music is of Debian's wesnoth-1.16-music; without it these tests are skipped and say so, or fail where it must be
there (see support/real_music.py).
"""

import math

import numpy as np
import pytest
import soundfile

from published.planted.time_faults import click, dropout, short_dropout, tick
from qc.testing.drive import run_need
from qc_standard.time_faults.analysis import FaultsInTime
from support.planted_faults import read_found
from support.real_music import MUSIC, needed

pytestmark = [pytest.mark.music, pytest.mark.long]

LOUD = ("battle.ogg", "frantic.ogg", "northerners.ogg", "vengeful.ogg")
STEP_DB, FALL_DB = 32.0, 10.0
"""limits of the rulesets"""


def music(name, start, seconds):
    needed((MUSIC / name).exists(), f"no real music: {MUSIC / name} is missing (Debian: wesnoth-1.16-music)")
    rate = soundfile.info(MUSIC / name).samplerate
    x, _ = soundfile.read(MUSIC / name, always_2d=True, start=round(start * rate), frames=round(seconds * rate))
    return np.ascontiguousarray(x.T), rate


def found(x, rate):
    """Return the start of every click and dropout beyond the limits, in s."""
    result = run_need(FaultsInTime(), x, rate, 131_072)
    clicks = [fault.first / rate for fault in result.clicks if fault.step_db > STEP_DB]
    return clicks, [fault.first / rate for fault in result.dropouts if fault.depth_db > FALL_DB]


def beside_dropouts():
    """Return how many of 12 dropouts may show as clicks: the part that the table of planted faults has of them.

    The edge of a fall that is not found stands out as a click where the wave jumps.
    """
    fault = read_found()["a fall for 120 ms"]
    return math.ceil(12.0 * fault.others.get("programme.click", 0) / (len(fault.strengths) * fault.pieces))


@pytest.mark.parametrize("name", LOUD)
def test_loud_music_has_no_faults_in_time(name):
    assert found(*music(name, 0.0, 60.0)) == ([], [])


@pytest.mark.parametrize(
    ("plant", "strength", "kind"),
    [(click, -16.0, 0), (tick, -16.0, 0), (dropout, 15.0, 1), (short_dropout, 10.0, 1), (short_dropout, 2500.0, 1)],
)
def test_planted_faults_are_found_by_their_own_name(plant, strength, kind):
    hits, wrong = 0, 0
    for seed, name in enumerate(3 * LOUD):
        x, rate = music(name, 20.0 + 5.0 * (seed // 4), 12.0)
        faulty, (start, _) = plant(x, rate, strength, seed)
        places = found(faulty, rate)
        hits += any(abs(place - start) < 0.01 for place in places[kind])
        wrong += len(places[1 - kind])
    assert wrong <= (1 if kind == 0 else beside_dropouts())
    assert hits >= 8, f"{hits} of 12"
