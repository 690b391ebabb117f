"""Where a limit is not kept: stretches by hand, and laws that hold for any side."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.groove.geometry.cut import MEASURES
from qc.groove.level.events import events, placed
from qc.model.track import Track
from support.by_hand import CHAIN, GRAVITY, ROWS, SECOND, TURN, UM, envelopes, on, search, swinging, with_cut

BASE = 69.0 * UM / TURN  # of plain pitch, a sector


def found(kept, measure, warn, fail, *, chain=CHAIN, level=0.0):
    return events(search(kept, chain), level, measure, warn, fail)


def told(many):
    return [(one.severity, one.start, one.end, one.worst.sector, round(one.value, 6)) for one in many]


# -- one sector at a time --------------------------------------------------------------------------------------


def fast(sectors, *stretches):
    return envelopes(sectors, lateral_v=0.01 * on(sectors, *stretches))  # cm/s


def test_a_stretch_and_its_worst_sector():
    kept = fast(1000, (100, 130, 52.0), (117, 118, 61.5))
    assert told(found(kept, "groove.lateral_velocity_peak", 50.0, None)) == [("warn", 100, 130, 117, 61.5)]


@pytest.mark.parametrize(("apart", "count"), [(0, 1), (1, 1), (37, 1), (38, 2), (39, 2)])
def test_events_closer_than_half_a_second_are_one(apart, count):
    """37 sectors are 0.493 s and 38 are 0.507 s."""
    kept = fast(1000, (200, 210, 55.0), (210 + apart, 220 + apart, 60.0))
    many = found(kept, "groove.lateral_velocity_peak", 50.0, None)
    assert len(many) == count
    assert (many[0].start, many[-1].end) == (200, 220 + apart)


def test_on_the_limit_is_no_event():
    kept = fast(1000, (100, 200, 50.0))
    assert found(kept, "groove.lateral_velocity_peak", 50.0, None) == []
    assert found(kept, "groove.lateral_velocity_peak", 49.999, None)


def test_a_failure_is_its_own_event_and_what_is_near_it_is_not_told_again():
    """The warning goes on for 2 s after the failure; the first half second of that belongs to it."""
    kept = envelopes(2000, low_vertical=UM * on(2000, (500, 800, 45.0), (600, 610, 66.0), (605, 606, 70.0)))
    many = found(kept, "groove.low_vertical_peak", 40.0, 60.0)
    assert told(many) == [
        ("warn", 500, 600 - 37, 500, 45.0),
        ("fail", 600, 610, 605, 70.0),
        ("warn", 610 + 37, 800, 647, 45.0),
    ]
    short = envelopes(2000, low_vertical=UM * on(2000, (590, 620, 45.0), (600, 610, 66.0)))
    assert told(found(short, "groove.low_vertical_peak", 40.0, 60.0)) == [("fail", 600, 610, 600, 66.0)]


def test_the_wall_is_named():
    a = np.zeros((2, 500))
    a[0, 100:110], a[1, 300:310] = 6_000.0 * GRAVITY, 7_000.0 * GRAVITY
    many = found(envelopes(500, a_abs=a), "groove.acceleration_peak", 5_000.0, None)
    assert [(one.start, one.worst.channel) for one in many] == [(100, "left"), (300, "right")]


# -- windows ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sectors", "severity"), [(75, "warn"), (76, "fail"), (15, None), (16, "warn")])
def test_a_share_is_told_by_the_sectors_that_it_counts(sectors, severity):
    """Of 750 sectors 75 are 10 % and 15 are 2 %: on the limit is kept to."""
    v = 2.0 * np.pi * (100.0 / 3.0 / 60.0) * 0.1463  # more than the speed of any groove here
    kept = envelopes(3000, lateral_v=on(3000, (1000, 1000 + sectors, 1.2 * v), (1003, 1004, 1.3 * v)))
    many = found(kept, "groove.lateral_slope_share", 0.02, 0.10)
    if severity is None:
        assert many == []
        return
    (one,) = many
    assert (one.severity, one.start, one.end, one.worst.sector) == (severity, 1000, 1000 + sectors, 1003)
    assert one.value == pytest.approx(sectors / 750.0, abs=1e-12)
    assert one.worst.end - one.worst.start == 750
    assert one.worst.start <= 1000
    assert one.worst.end >= 1000 + sectors


def test_two_bursts_that_are_over_only_together_are_one_event():
    kept = envelopes(6000, lateral_v=3.0 * on(6000, (1000, 1050), (1500, 1550), (4000, 4050)))
    (one,) = found(kept, "groove.lateral_slope_share", None, 0.10)
    assert (one.start, one.end) == (1000, 1550)
    assert one.value == pytest.approx(100.0 / 750.0)


def test_drive_is_told_by_the_sectors_above_it():
    """Half a second of 500 g in silence: over 1 s the root of a half of it; over 10 s the root of a twentieth."""
    square = (500.0 * GRAVITY) ** 2 * on(3000, (1500, 1500 + 37))
    kept = envelopes(3000, a_square=np.vstack([square, 0.5 * square]))
    (one,) = found(kept, "groove.drive_1s", 200.0, 400.0)
    assert (one.severity, one.start, one.end, one.worst.channel) == ("warn", 1500, 1537, "left")
    assert one.value == pytest.approx(500.0 * np.sqrt(37.0 / 75.0), rel=1e-9)
    assert one.worst.end - one.worst.start == 75
    (ten,) = found(kept, "groove.drive_10s", 100.0, 300.0)
    assert (ten.start, ten.end, ten.worst.end - ten.worst.start) == (1500, 1537, 750)
    assert ten.value == pytest.approx(500.0 * np.sqrt(37.0 / 750.0), rel=1e-9)


# -- the spiral ------------------------------------------------------------------------------------------------


def test_the_last_diameter_is_an_event_from_where_the_spiral_passes_it():
    """25 min of silence from 160 mm: 69 um a turn run past 115 mm after 326.1 turns, and past the rest after that."""
    chain = replace(CHAIN, disc=replace(CHAIN.disc, outer=0.160))
    sectors = 25 * 60 * SECOND
    (one,) = found(envelopes(sectors), "groove.last_diameter", 120.65, 115.0, chain=chain)
    passed = (0.080 - (0.0575 - 0.005e-3)) / BASE  # within 0.01 mm of the diameter counts as on it
    assert one.severity == "fail"
    assert one.start + 1 == pytest.approx(passed, abs=1.0)
    assert (one.end, one.worst.sector) == (sectors, sectors - 1)
    assert one.value == pytest.approx(160.0 - 2e3 * sectors * BASE, abs=1e-6)
    (warned,) = found(envelopes(sectors), "groove.last_diameter", 120.65, None, chain=chain)
    assert warned.start < one.start


def risen(sectors, up=(), down=()):
    return envelopes(sectors, vertical_max=UM * on(sectors, *up), vertical_min=-UM * on(sectors, *down))


@pytest.mark.parametrize("depth", ["variable", "fixed"])
def test_each_polarity_has_its_own_narrow_places(depth):
    """Turned over, the groove is narrow where it was deep: under `worst` both are events, each with its polarity."""
    kept = risen(2000, up=[(500, 510, 64.0)], down=[(1200, 1210, 62.5)])
    deepest = 28.0 if depth == "fixed" else 75.0
    expected = {"normal": (500, 64.0), "inverted": (1200, 62.5)}
    for polarity in ("normal", "inverted", "worst"):
        chain = with_cut(depth=depth, polarity=polarity)
        many = found(kept, "groove.top_width_min", 30.0, 25.4, chain=chain)
        wanted = expected if polarity == "worst" else {polarity: expected[polarity]}
        assert {one.polarity: (one.start, one.end - one.start) for one in many} == {
            name: (start, 10) for name, (start, _) in wanted.items()
        }
        for one in many:
            assert one.value == pytest.approx(2.0 * (deepest - expected[one.polarity][1]), abs=1e-9)
            assert one.severity == ("fail" if one.value < 25.4 else "warn")


def test_an_overlap_is_where_the_carriage_cannot_follow():
    """One swing of 300 um a wall after silence: half a turn's notice at 500 um a turn is not enough."""
    wall = 300.0 * UM * on(2000, (1000, 1004))
    kept = envelopes(2000, **swinging(wall))
    many = found(kept, "groove.land_min", 13.0, 0.0)
    # of the turn before its start: 66 sectors plain, then the 69 from which it is known at 500 um a turn
    given = (500.0 * 69.0 + 69.0 * 66.0) / TURN
    assert many[0].severity == "fail"
    assert many[0].start == 1000
    assert many[0].value == pytest.approx(given - 56.0 - np.sqrt(2.0) * 300.0, abs=1e-6)
    assert not [one for one in many if one.start not in (1000, 1000 + TURN)]  # where it lies, and its neighbour
    assert found(kept, "groove.land_min", None, 0.0, chain=with_cut(max_pitch=2e-3)) == []


def test_an_event_is_placed_by_second_track_and_radius():
    tracks = [Track(1, "", 0, 10), Track(2, "", 10, 40)]
    kept = fast(3000, (1500, 1530, 55.0), (1512, 1513, 60.0))
    there = search(kept, tracks=tracks)
    (one,) = events(there, 0.0, "groove.lateral_velocity_peak", 50.0, None)
    where = placed(there, 0.0, one)
    assert where.measured.at.model_dump(exclude_none=True) == {
        "start_s": pytest.approx(1512 / 75), "end_s": pytest.approx(1513 / 75), "track": 2,
        "radius_mm": pytest.approx(146.3 - 1e3 * 1513 * BASE), "polarity": "normal",
    }  # fmt: skip
    assert (where.stretch.start_s, where.stretch.end_s) == (1500 / 75, pytest.approx(1530 / 75))
    assert where.window == where.measured.at


# -- laws ------------------------------------------------------------------------------------------------------


def programme(seed, sectors=4000):
    """Envelopes of no music at all: every sector by itself, a few passages loud."""
    rng = np.random.default_rng(seed)
    loud = 0.05 + on(sectors, *((int(s), int(s) + int(rng.integers(3, 400))) for s in rng.integers(0, sectors, 5)))
    wall = 12.0 * UM * loud * rng.uniform(0.3, 1.0, (2, sectors))
    up, down = 14.0 * UM * loud * rng.uniform(0.0, 1.0, (2, sectors))
    a = 900.0 * GRAVITY * loud * rng.uniform(0.1, 1.0, (2, sectors))
    return {
        "d_max": wall, "d_min": -wall[::-1], "vertical_max": up, "vertical_min": -down,
        "lateral_max": wall.sum(axis=0), "lateral_min": -wall.sum(axis=0),
        "lateral_v": 0.3 * loud * rng.uniform(0.3, 1.0, sectors),
        "vertical_v": 0.25 * loud * rng.uniform(0.3, 1.0, sectors), "v_abs": 0.2 * loud * rng.uniform(0, 1, sectors),
        "a_abs": a, "a_square": (0.5 * a) ** 2, "sibilance_a": 0.6 * a, "low_vertical": up,
    }  # fmt: skip


LAWS = settings(max_examples=15, deadline=None)
LIMITED = [(row.measure, row.op, row.warn, row.fail) for row in ROWS]


@LAWS
@given(seed=st.integers(0, 10_000), level=st.integers(-60, 140).map(lambda n: n / 10.0))
def test_events_and_the_measurement_tell_the_same_worst(seed, level):
    """There is an event if and only if the number breaks the limit, and the worst event is that number's."""
    there = search(envelopes(4000, **programme(seed)))
    for measure, op, warn, fail in LIMITED:
        many = events(there, level, measure, warn, fail)
        worst, polarity = there.shown(measure, level)
        value = worst.value * MEASURES[measure].factor
        sign = 1.0 if op == "<=" else -1.0
        bound = warn if warn is not None else fail
        if not many:
            assert sign * value <= sign * bound + 0.011
            continue
        gravest = max(many, key=lambda one: sign * one.value)
        assert gravest.value == value
        assert (gravest.worst.sector, gravest.worst.start, gravest.worst.end) == (
            worst.sector, worst.start, worst.end,
        )  # fmt: skip
        assert (gravest.worst.channel, gravest.polarity) == (worst.channel, polarity)
        assert gravest.severity == ("fail" if fail is not None and sign * (value - fail) > 0.0 else "warn")
        for one in many:
            assert 0 <= one.start <= one.worst.sector < one.end <= 4000
            assert one.worst.start <= one.worst.sector < one.worst.end
        for one, following in pairwise(many):
            if one.severity == following.severity:
                assert following.start - one.end > 37
            else:
                assert following.start >= one.end


@LAWS
@given(seed=st.integers(0, 10_000), more=st.integers(1, 60))
def test_a_higher_level_takes_no_event_away(seed, more):
    """What lay beyond a limit still does, in the same place or a wider one, and is worse or as bad."""
    there = search(envelopes(4000, **programme(seed)))
    for measure, op, warn, fail in LIMITED:
        bound = warn if warn is not None else fail
        lower = events(there, 2.0, measure, bound, None)
        higher = events(there, 2.0 + more / 10.0, measure, bound, None)
        sign = 1.0 if op == "<=" else -1.0
        for one in lower:
            over = [o for o in higher if o.start <= one.worst.sector < o.end]
            assert over, measure
            assert sign * over[0].value >= sign * one.value - 1e-9


@LAWS
@given(seed=st.integers(0, 10_000))
def test_events_of_two_passages_far_apart_are_those_of_each(seed):
    """Superposition: more than the longest window and two turns apart, neither knows of the other but for its radius.

    Measured on what does not depend on the radius.
    """
    rng = np.random.default_rng(seed)
    n, far = 6000, 3500
    one, other = programme(seed, 900), programme(seed + 1, 900)
    quiet = {name: np.zeros((*np.shape(values)[:-1], n)) for name, values in one.items()}

    def laid(*parts):
        kept = {name: values.copy() for name, values in quiet.items()}
        for start, values in parts:
            for name, whole in kept.items():
                whole[..., start : start + 900] = values[name]
        return search(envelopes(n, **kept))

    start = int(rng.integers(200, 600))
    both, first, second = laid((start, one), (far, other)), laid((start, one)), laid((far, other))
    free = [
        limit for limit in LIMITED
        if any(word in limit[0] for word in ("drive", "width", "depth", "land", "velocity", "acceleration", "low_v"))
    ]  # fmt: skip
    for measure, _, warn, fail in free:
        apart = told(events(first, 6.0, measure, warn, fail)) + told(events(second, 6.0, measure, warn, fail))
        together = told(events(both, 6.0, measure, warn, fail))
        assert [row[:3] for row in together] == [row[:3] for row in apart], measure
        assert [row[4] for row in together] == pytest.approx([row[4] for row in apart], abs=1e-5)
