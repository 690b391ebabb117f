"""What remedies rest on: bass mono commutes with the cut, bands add up again, seconds follow from plain pitch."""

import numpy as np
import pytest

from qc.groove.level.side_at_level import WorkedSide
from qc.groove.remedies.bass_mono import CORNERS, cost, narrowed
from qc.groove.remedies.length import shorten
from qc.groove.remedies.outermost import allowed
from qc.groove.remedies.treble_cut import needed, to_limit
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Signal
from qc.testing.drive import through
from support.by_hand import CHAIN, ROWS, SECOND, UM, envelopes, search

RATE = 96_000


def motion(x, **signal):
    return through(Motion(Signal(**signal)), x, RATE)


@pytest.mark.parametrize("corner", CORNERS)
def test_bass_mono_of_the_motion_is_that_of_the_programme(corner):
    x = 0.1 * np.random.default_rng(3).standard_normal((2, RATE // 2))
    plain, wanted = motion(x), motion(x, bass_mono=corner)
    assert np.abs(narrowed(plain, corner, RATE) - wanted).max() < 1e-5 * np.abs(wanted).max()


def test_what_bass_mono_costs():
    assert cost(120.0, 120.0) == pytest.approx(-3.0103, abs=1e-4)
    assert cost(120.0, 240.0) == pytest.approx(-0.9691, abs=1e-4)


def worked(kept, chain=CHAIN, level=0.0):
    found = search(kept, chain)
    return WorkedSide(found, *found.allowed(), level)


def test_seconds_to_lose_of_a_silent_side():
    """45 min of plain pitch: 0.069 mm a turn, 33 1/3 turns a minute."""
    minutes = 45
    length = shorten(worked(envelopes(minutes * 60 * SECOND)), 0.12065)
    ends = 0.2926 - 2.0 * 69 * UM * minutes * 100.0 / 3.0
    assert length.ends == pytest.approx(ends, abs=1e-6)
    over = (0.12065 - 0.00001 - ends) / 2.0  # within 0.01 mm of its limit a diameter meets it
    assert length.less_s == pytest.approx(over / (69 * UM * 100.0 / 180.0), abs=1.1 / SECOND)
    assert length.level is None


def test_a_side_that_can_never_end_there_loses_all_and_says_so():
    assert shorten(worked(envelopes(100)), 0.3).less_s is None
    assert shorten(worked(envelopes(100)), 0.12065).less_s == 0.0


def test_the_level_that_lets_it_end_there_is_that_of_the_limit():
    swing = 90.0 * UM * np.ones(20 * 60 * SECOND)
    wall = swing / np.sqrt(2.0)
    kept = envelopes(len(swing), d_max=wall, d_min=-wall, lateral_max=swing, lateral_min=-swing)
    side = worked(kept)
    (row,) = [row for row in ROWS if row.measure == "groove.last_diameter"]
    assert shorten(side, 0.12065).level == side.by_limit[row].level


def test_decibels_of_a_share_leave_what_it_allows():
    rows = to_limit(np.array([[0.5, 4.0, 2.0, 0.1, 3.0, 0.2, 0.2, 0.2, 0.2, 0.2]]), "groove.sibilance_share", 0.1)
    assert needed(rows, "groove.sibilance_share", 0.1) == pytest.approx(20.0 * np.log10(3.0))
    assert needed(rows, "groove.sibilance_share", 0.3) == 0.0
    assert allowed(0.1, 750) == 75
