"""Flat tops in real music: none where nothing was cut off, and those that were are found again at a lower level.

The music is of Debian's wesnoth-1.16-music; without it these tests are skipped and say so, or fail where it must be
there (see support/real_music.py).
"""

import numpy as np
import pytest
import soundfile

from qc.dsp.meters.peaks import PeakSweep
from support.real_music import MUSIC, needed

pytestmark = [pytest.mark.music, pytest.mark.long]

SOUND = ("knolls.ogg", "underground.ogg", "sad.ogg", "the_city_falls.ogg", "return_to_wesnoth.ogg")
CLIPPED = ("vengeful.ogg", "frantic.ogg")
"""decoded to 16 bits these reach full scale and are cut off there"""
LOWERED = 10.0 ** (-1.5 / 20.0)


def music(name):
    needed((MUSIC / name).exists(), f"no real music: {MUSIC / name} is missing (Debian: wesnoth-1.16-music)")
    x, _ = soundfile.read(MUSIC / name, always_2d=True, frames=6_000_000)
    return np.ascontiguousarray(x.T)


def rounded(x, bits):
    step = 2.0 ** (1 - bits)
    return np.clip(step * np.round(x / step), -1.0, 1.0 - step)


def flat_tops(x):
    sweep = PeakSweep()
    for at in range(0, x.shape[1], 1 << 17):
        sweep.push(x[:, at : at + (1 << 17)])
    sweep.finish()
    return sum(one.count for one in sweep.flat_tops())


def runs_at_full_scale(x, long):
    """Count runs of `long` samples and more at the ends of 16 bits, in plain numpy."""
    count = 0
    for channel in x:
        for end in (-1.0, 1.0 - 2.0**-15):
            edges = np.flatnonzero(np.diff(np.concatenate([[False], channel == end, [False]]))).reshape(-1, 2)
            count += int((np.diff(edges, axis=1) >= long).sum())
    return count


@pytest.mark.parametrize("name", SOUND)
def test_music_that_was_not_cut_off_has_none(name):
    """Half as loud, so that no decoder's overshoot is cut off: at 16 bits, at 24, and at 24 from 16."""
    x = 0.5 * music(name)
    assert np.abs(x).max() < 0.9
    for made in (rounded(x, 16), rounded(x, 24), rounded(1.7 * rounded(x, 16), 24)):
        assert flat_tops(made) == 0


@pytest.mark.parametrize("name", CLIPPED)
@pytest.mark.parametrize("bits", [16, 24])
def test_music_that_was_cut_off_is_found_after_it_was_turned_down(name, bits):
    full = rounded(music(name), 16)
    long, short = runs_at_full_scale(full, 6), runs_at_full_scale(full, 3)
    assert long > 30
    assert 0.95 * long <= flat_tops(rounded(LOWERED * full, bits)) <= short
    assert 0.9 * short <= flat_tops(full) <= short
