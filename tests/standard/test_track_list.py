"""A track list against measured starts: the exchange, the speed, and how often chance would fit as well."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import scipy.stats

from qc_standard.documents.track_list import (
    BY_CHANCE,
    ListedTimes,
    MeasuredTimes,
    exchanged_tracks,
    list_of_another_side,
    other_speed,
    with_lengths_exchanged,
)
from qc_standard.layout import DeclaredTrack


def listed(*lengths, gap=2.0, begin=0.0):
    """Tracks of these lengths in s, with gaps between them."""
    tracks, start = [], begin
    for i, length in enumerate(lengths):
        tracks.append(DeclaredTrack(i, i + 1, start, start + length, segue=False))
        start += length + gap
    return tracks


def measured(tracks, extra=()):
    """What is measured when the audio is as listed, with further starts after pauses inside the tracks."""
    starts = np.sort([*(track.start for track in tracks[1:]), *extra])
    return MeasuredTimes(starts, tracks[0].start, tracks[-1].end)


def at_speed(times, speed):
    """The times as they are found when the whole file runs at another speed."""
    return MeasuredTimes(times.starts / speed, times.begin_s / speed, times.end_s / speed)


A, B = listed(181, 242, 205, 173, 260), listed(215, 190, 233, 251)


def test_audio_of_another_side_is_found_by_that_side_s_list():
    found = list_of_another_side("A", measured(B), {"A": A, "B": B})
    assert (found.side, found.fit.found, found.fit.of, found.own.found) == ("B", 3, 3, 0)


def test_audio_that_fits_its_own_list_is_not_another_side_s():
    assert list_of_another_side("A", measured(A), {"A": A, "B": B}) is None


@pytest.mark.parametrize("rounding", [0.0, 0.5])
def test_two_tracks_in_each_other_s_place_are_found(rounding):
    written = [
        DeclaredTrack(track.index, track.number, track.start + rounding * (-1) ** track.index, track.end, segue=False)
        for track in A
    ]
    found = exchanged_tracks(written, measured(with_lengths_exchanged(A, 1, 3)))
    assert (found.first.number, found.second.number) == (2, 4)
    assert (found.fit.found, found.own.found) == (4, 2)


def test_the_lengths_of_two_tracks_change_places_and_the_gaps_do_not():
    changed = with_lengths_exchanged(A, 0, 2)
    assert [track.seconds for track in changed] == [205, 242, 181, 173, 260]
    assert [late.start - early.end for early, late in pairwise(changed)] == [2.0] * 4


@pytest.mark.parametrize("speed", [1.01, 0.99, 1.005, 48.0 / 44.1, 44.1 / 48.0, 1.35, 1.0 / 1.35])
@pytest.mark.parametrize("extra", [(), (100.0, 333.0, 700.0, 801.5)])
def test_the_speed_of_a_side_is_the_ratio_of_listed_and_heard_times(speed, extra):
    found = other_speed(A, at_speed(measured(A, extra), speed))
    assert found.speed == pytest.approx(speed, abs=1e-4)
    assert found.fit.found == 4
    assert found.own.found <= 1


def test_the_speed_of_a_list_rounded_to_the_second_is_found_to_a_thousandth():
    rounded = [DeclaredTrack(t.index, t.number, float(round(t.start + 0.4)), t.end, segue=False) for t in A]
    assert other_speed(rounded, at_speed(measured(A), 1.01)).speed == pytest.approx(1.01, abs=1e-3)


def test_starts_that_are_late_because_the_music_fades_in_are_no_other_speed():
    short = listed(31.2, 40.1, 28.7, 35.5)
    late = MeasuredTimes(measured(short).starts + np.array([0.3, 0.7, 0.9]), 0.0, short[-1].end)
    assert other_speed(short, late) is None


def test_one_per_cent_is_found_on_a_side_of_three_minutes():
    short = listed(40.25, 36.5, 52.1, 47.3)
    assert other_speed(short, at_speed(measured(short), 1.01)).speed == pytest.approx(1.01, abs=1e-4)


def test_silence_added_in_front_of_a_side_that_runs_fast_does_not_hide_its_speed():
    fast = at_speed(measured(A), 1.02)
    later = MeasuredTimes(fast.starts + 5.0, fast.begin_s + 5.0, fast.end_s + 5.0)
    assert other_speed(A, later).speed == pytest.approx(1.02, abs=1e-4)


def test_silence_added_in_front_is_no_other_speed():
    right = measured(A)
    later = MeasuredTimes(right.starts + 5.0, right.begin_s + 5.0, right.end_s + 5.0)
    assert other_speed(A, later).speed == pytest.approx(1.0, abs=1e-6)


def test_lists_that_fit_nothing_fit_by_chance_as_seldom_as_promised():
    """Random sides with a pause every 20 s on the average, against random lists."""
    rng = np.random.default_rng(5)
    tries, found = 400, {"side": 0, "tracks": 0, "speed": 0}
    for _ in range(tries):
        pauses = MeasuredTimes(np.sort(rng.uniform(0.0, 1_100.0, 55)), 0.0, 1_100.0)
        one, other = (listed(*rng.uniform(150.0, 260.0, 5)) for _ in range(2))
        found["side"] += list_of_another_side("A", pauses, {"A": one, "B": other}) is not None
        found["tracks"] += exchanged_tracks(one, pauses) is not None
        speed = other_speed(one, pauses)
        found["speed"] += speed is not None and abs(speed.speed - 1.0) > 0.002
    assert max(found.values()) <= scipy.stats.binom.ppf(0.999, tries, BY_CHANCE), found


def test_the_chance_of_a_fit_is_that_of_points_thrown_at_random():
    """Two listed starts, ten pauses in 1,000 s: each is within 1.5 s of one with a chance of nearly 3 %."""
    rng = np.random.default_rng(1)
    tracks = listed(300.0, 300.0, 300.0)
    fits = 0
    for _ in range(40_000):
        starts = rng.uniform(0.0, 1_000.0, 10)
        fits += ListedTimes.of(tracks).fit(MeasuredTimes(starts, 0.0, 1_000.0)).found == 2
    at_the_edge = np.concatenate([rng.uniform(0.0, 1_000.0, 8), [302.0 + 1.5, 604.0 - 1.5]])
    expected = ListedTimes.of(tracks).fit(MeasuredTimes(at_the_edge, 0.0, 1_000.0)).chance
    assert expected == pytest.approx((10 * 3.0 / 1_000.0) ** 2, rel=0.01)
    assert fits / 40_000 == pytest.approx(expected, rel=0.35)
