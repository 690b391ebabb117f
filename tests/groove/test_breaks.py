"""Side breaks against every placement there is, and orders against every permutation."""

from fractions import Fraction
from itertools import combinations, pairwise, permutations

import numpy as np
import pytest

from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.level.highest import highest
from qc.model.cutting_chain import Signal
from qc.model.track import Track
from qc.plan import breaks
from qc.plan.breaks import BreakSearch
from qc.plan.reordered import reordered
from qc.plan.running_order import JOIN, Delivered, RunningOrder
from support.sides import DEEP, LAST, TRACED, delivered, shipped, sound

ROWS = (LAST, TRACED, DEEP)
CHAIN, _ = shipped()


def seeds(count):
    """The first of some random programmes; the others where the longest laws run."""
    return [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(1, count))]


def tracks(count, seed=0, longest=40_000):
    """Tracks of all lengths, loud and soft, bright and dull."""
    draw = np.random.default_rng(seed)
    return [
        sound(
            int(draw.integers(3_000, longest)), swing=draw.uniform(10.0, 90.0), rise=draw.uniform(5.0, 40.0),
            bend=draw.uniform(1e4, 9e4), drive=draw.uniform(100.0, 900.0), seed=seed + i,
        )
        for i in range(count)
    ]  # fmt: skip


def level(order, first, last):
    """The level of one stretch by a search of its own, which test_highest holds against the full one."""
    reached = highest(order.side(CHAIN, first, last), ROWS).reached
    return reached.level if reached.bound != "<" else -99.0


def every_level(order):
    """The level of every stretch."""
    n = len(order.pieces)
    return {(i, j): level(order, i, j) for i in range(n) for j in range(i, n)}


def every_placement(order, known, sides):
    """Worst level, sum of levels, sum of squared lengths and ends, of every way to break a programme."""
    n = len(order.pieces)
    for cuts in combinations(range(1, n), sides - 1):
        edges = [0, *cuts, n]
        parts = [(a, b - 1) for a, b in pairwise(edges)]
        levels = [known[part] for part in parts]
        lengths = [order.seconds(*part) ** 2 for part in parts]
        yield min(levels), sum(levels), -sum(lengths), tuple(parts)


def parts_of(split):
    return tuple((part.first, part.last) for part in split.parts)


@pytest.mark.parametrize("seed", seeds(4))
def test_no_placement_is_better(seed):
    order = RunningOrder.of([delivered(tracks(6, 10 * seed))])
    splits = list(BreakSearch(order, CHAIN, ROWS).splits(6))
    known = every_level(order)
    for sides, split in enumerate(splits, 1):
        worst, total, _, parts = max(every_placement(order, known, sides))
        if worst < -40.0:
            assert split.worst.reached.bound == "<"
            continue
        assert split.worst.reached.level == worst
        assert sum(part.highest.reached.level for part in split.parts) == pytest.approx(total)
        assert parts_of(split) == parts
        assert [part.seconds for part in split.parts] == [order.seconds(*part) for part in parts]
    assert len(splits) < 2 or splits[-1].worst.tenths > splits[0].worst.tenths
    more = max(every_placement(order, known, 6))[0]
    assert splits[-1].worst.reached.level == more  # a further side wins nothing


def test_equal_levels_are_broken_into_equal_lengths():
    one = sound(9_000, rise=60.0)  # each by itself is limited by its depth, and so is any side of them
    order = RunningOrder.of([delivered([one] * 6)])
    splits = list(BreakSearch(order, CHAIN, [DEEP]).splits(3))
    assert len(splits) == 1  # two sides win nothing
    search = BreakSearch(order, CHAIN, [DEEP])
    top = search._top_of_all(3)
    assert search._chosen(2, top) == ((0, 2), (3, 5))
    assert search._chosen(3, top) == ((0, 1), (2, 3), (4, 5))


@pytest.mark.parametrize("seed", seeds(3))
def test_many_tracks_come_to_the_same_worst_level(seed, monkeypatch):
    order = RunningOrder.of([delivered(tracks(7, 10 * seed + 5, 30_000))])
    exact = BreakSearch(order, CHAIN, ROWS)
    expected = list(exact.splits(4))
    monkeypatch.setattr(breaks, "EXACT", 3)
    bounded = BreakSearch(order, CHAIN, ROWS)
    found = list(bounded.splits(4))
    assert not bounded.exact
    assert [split.worst.reached for split in found] == [split.worst.reached for split in expected]
    assert bounded.searched <= exact.searched
    for split in found:
        assert [part.first for part in split.parts[1:]] == [part.last + 1 for part in split.parts[:-1]]


def test_a_delivered_side_is_cut_as_ever():
    side = delivered(tracks(3, 7))
    order = RunningOrder.of([side])
    whole = order.side(CHAIN, 0, 2)
    alone = SideGeometry.of(CHAIN, side.span, side.envelopes)
    assert np.array_equal(whole.marks, alone.marks)
    assert highest(whole, ROWS) == highest(alone, ROWS)


def test_sides_are_put_together_with_silence_and_a_mark():
    a, b = delivered(tracks(2, 1)), delivered(tracks(1, 3), name="B")
    order = RunningOrder.of([a, b])
    assert [(piece.side, piece.number) for piece in order.pieces] == [("A", 1), ("A", 2), ("B", 1)]
    second, third = order.pieces[1:]
    assert third.first - second.last == JOIN
    side = order.side(CHAIN, 1, 2)
    gap = slice(second.last - second.first, third.first - second.first)
    assert side.marks[gap].sum() == pytest.approx(1e-3)
    assert np.count_nonzero(side.marks) == JOIN
    assert not side.envelopes.d_max[:, gap].any()


def test_a_side_without_tracks_is_one_piece():
    side = delivered(tracks(1, 3))
    bare = Delivered("A", type(side.span)(side.span.start, side.span.end), side.envelopes)
    (piece,) = RunningOrder.of([bare]).pieces
    assert (piece.number, piece.first, piece.last) == (None, 0, side.span.sectors)


def test_a_track_that_begins_where_the_file_ends_has_a_sector():
    side = delivered(tracks(2, 3))
    end = Fraction(side.span.end, 75)
    late = Track(3, "", end, end + Fraction(1, 100))
    side = Delivered("A", Span(side.span.start, side.span.end, (*side.span.tracks, late)), side.envelopes)
    order = RunningOrder.of([side])
    assert all(piece.last > piece.first for piece in order.pieces)
    BreakSearch(order, CHAIN, ROWS).splits(3)
    reordered(order, CHAIN, ROWS, 0, 2, highest(order.side(CHAIN, 0, 2), ROWS))


def test_no_side_ends_where_the_music_runs_on():
    order = RunningOrder.of([delivered(tracks(5, 2), segue={1, 2})])
    assert order.units == ((0, 0), (1, 3), (4, 4))
    for split in BreakSearch(order, CHAIN, ROWS).splits(3):
        assert {part.last for part in split.parts} <= {0, 3, 4}


def test_signals_that_differ_are_not_mixed():
    a = delivered([sound(300)])
    b = delivered([sound(300, signal=Signal(top=15_000.0))], name="B")
    with pytest.raises(ValueError, match="same signal"):
        RunningOrder.of([a, b])


# -- another order -----------------------------------------------------------------------------------------------


def best_by_force(order, given):
    """The highest level of any order of the pieces."""
    return max(
        highest(again.side(CHAIN, 0, len(again.pieces) - 1), ROWS, given).tenths
        for again in (order.rearranged([(i, i) for i in way]) for way in permutations(range(len(order.pieces))))
    )


@pytest.mark.parametrize("seed", seeds(5))
def test_no_order_is_better_by_more_than_a_tenth(seed):
    """Bright tracks given last; the search may miss what the turns at the seams of tracks share, under 0.1 dB."""
    draw = np.random.default_rng(seed)
    bright = np.sort(draw.uniform(2e4, 3e5, 4))
    lengths = draw.integers(4_000, 20_000, 4)
    made = [
        sound(int(n), swing=15.0, rise=5.0, bend=a, drive=a / 10.0, seed=i)
        for i, (n, a) in enumerate(zip(lengths, bright, strict=True))
    ]
    order = RunningOrder.of([delivered(made)])
    given = highest(order.side(CHAIN, 0, 3), ROWS)
    assert given.reached.by is TRACED
    found = reordered(order, CHAIN, ROWS, 0, 3, given)
    assert found.highest.tenths >= best_by_force(order, given.tenths) - 1
    assert found.wins > 0.0
    assert sorted(found.pieces) == [0, 1, 2, 3]
    again = order.rearranged([(i, i) for i in found.pieces])
    assert highest(again.side(CHAIN, 0, 3), ROWS) == found.highest
    assert found.pieces[-1] != 3  # the brightest comes no longer last


def test_no_order_wins_where_the_length_rules():
    order = RunningOrder.of([delivered(tracks(4, 3, 60_000))])
    given = highest(order.side(CHAIN, 0, 3), [LAST])
    assert given.reached.by is LAST
    found = reordered(order, CHAIN, [LAST], 0, 3, given)
    assert (found.pieces, found.wins) == ((0, 1, 2, 3), 0.0)
    levels = {
        highest(again.side(CHAIN, 0, 3), [LAST], given.tenths).tenths
        for again in (order.rearranged([(i, i) for i in way]) for way in permutations(range(4)))
    }
    assert max(levels) - min(levels) <= 1


def test_tracks_that_run_on_stay_together():
    made = [sound(6_000, swing=10.0, bend=a, drive=a / 10.0, seed=i) for i, a in enumerate((2e4, 3e4, 2.5e5))]
    order = RunningOrder.of([delivered(made, segue={0})])
    given = highest(order.side(CHAIN, 0, 2), ROWS)
    assert reordered(order, CHAIN, ROWS, 0, 2, given).pieces == (2, 0, 1)


def test_the_order_given_rearranged_is_the_same_side():
    order = RunningOrder.of([delivered(tracks(3, 9))])
    again = order.rearranged(order.units)
    assert again.pieces == order.pieces
    assert np.array_equal(again.envelopes.d_max, order.envelopes.d_max)
