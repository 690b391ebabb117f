"""The memo of a side from earlier searches: taken as it is, never in another's place, and no end of it stored."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import qc.groove.geometry.cut_arrays
from qc.cache.codec import decode, encode
from qc.cache.entry import read, write
from qc.groove.geometry.cut import MEASURES
from qc.groove.geometry.worst import Worst
from qc.groove.level.budget import budget
from qc.groove.level.levels import LevelSearch
from qc.groove.level.memo import MOST_LEVELS, MOST_TRIALS, LevelMemo, Recent, RepairTrial, contradicts
from support.by_hand import ROWS, UM, envelopes, on, side, with_cut

FIXED = with_cut(depth="fixed")
RISES = ((1000, 1010, 20.0), (3000, 3010, 16.0), (5000, 5010, 12.0))
LOUD = np.abs(np.sin(np.arange(9000) / 50.0))
HEARD = envelopes(
    9000, vertical_max=UM * on(9000, *RISES), lateral_v=0.5 * LOUD, a_abs=9e3 * np.vstack([LOUD, LOUD[::-1]]),
    d_max=30.0 * UM * np.vstack([LOUD, LOUD]),
)  # fmt: skip


def again(memo):
    """The memo as the next run has it: written down, and read."""
    stored = memo.stored()
    return LevelMemo(decode(type(stored), *encode(type(stored), stored)))


def all_of(of):
    """Everything that a report takes of a search."""
    by_limit, recommended, clean = of.allowed()
    repairs = budget(of.side, by_limit, recommended, of.memo)
    numbers = {name: of.quantity(name, recommended.level) for name in MEASURES}
    return by_limit, recommended, clean, repairs, numbers


@pytest.fixture
def laid(monkeypatch):
    """The spirals that were laid."""
    spirals = []
    for name in ("compute_path", "compute_spiral"):
        given_by = getattr(qc.groove.geometry.cut_arrays, name)
        monkeypatch.setattr(qc.groove.geometry.cut_arrays, name, lambda *a, by=given_by: spirals.append(None) or by(*a))
    return spirals


def test_numbers_in_the_memo_need_no_spiral_again(laid):
    there = side(HEARD, FIXED)
    first = LevelSearch(there, ROWS)
    found = all_of(first)
    assert laid
    laid.clear()
    second = LevelSearch(there, ROWS, again(first.memo))
    assert all_of(second) == found
    assert laid == []
    assert not second.memo.grown


def test_where_one_limit_is_another_only_what_is_new_is_laid(laid):
    there = side(HEARD, FIXED)
    first = LevelSearch(there, ROWS)
    all_of(first)
    rows = [replace(row, fail=0.9 * row.fail) if row.measure == "groove.top_width_min" else row for row in ROWS]
    laid.clear()
    fresh = all_of(LevelSearch(there, rows))
    all_laid = len(laid)
    laid.clear()
    second = LevelSearch(there, rows, again(first.memo))
    assert all_of(second) == fresh
    assert 0 < len(laid) < all_laid
    assert second.memo.grown


def test_numbers_in_the_memo_are_believed():
    """It is the number that counts, and it is looked up by measurement, level and polarity."""
    memo, there = LevelMemo(), side(HEARD, FIXED)
    for polarity in there.polarities:
        memo.at(3.0, polarity).worst["groove.drive_1s"] = Worst(1e9, 5, 0, 75, "left")
    told = LevelSearch(there, ROWS, again(memo))
    assert told.worst("groove.drive_1s", 3.0)[0].value == 1e9
    plain = LevelSearch(there, ROWS)
    assert told.worst("groove.drive_1s", 3.1) == plain.worst("groove.drive_1s", 3.1)
    assert told.worst("groove.drive_10s", 3.0) == plain.worst("groove.drive_10s", 3.0)


def scaled(row, by, sets):
    """A limit with other values, and another of them that sets the level, where it has that."""
    warn, fail = (None if bound is None else by * bound for bound in (row.warn, row.fail))
    return replace(row, warn=warn, fail=fail, sets_level=sets if {"warn": warn, "fail": fail}.get(sets) else None)


limits = st.lists(
    st.builds(scaled, st.sampled_from(ROWS), st.floats(0.5, 2.0), st.sampled_from(["warn", "fail", None])),
    min_size=1, max_size=6, unique_by=lambda row: row.measure,
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(limits, limits)
def test_a_search_after_another_one_finds_what_it_finds_alone(one, other):
    there = side(HEARD, FIXED)
    before = LevelSearch(there, one)
    all_of(before)
    assert all_of(LevelSearch(there, other, again(before.memo))) == all_of(LevelSearch(there, other))


def test_repairs_that_were_tried_under_other_limits_are_tried_anew():
    there = side(HEARD, FIXED)
    first = LevelSearch(there, ROWS)
    by_limit, recommended, _ = first.allowed()
    of_all = budget(there, by_limit, recommended, first.memo)
    assert of_all.repairs
    alone = {row: reached for row, reached in by_limit.items() if row == recommended.by}
    assert budget(there, alone, recommended, first.memo) == budget(there, alone, recommended) != of_all
    assert len(first.memo.stored().trials) == 2


def test_no_end_of_it_is_kept_and_what_was_asked_for_last_is():
    memo = LevelMemo()
    for tenths in range(MOST_LEVELS + 5):
        memo.at(tenths / 10.0, "normal").worst["groove.travel"] = Worst(0.08, 1, 1, 2)
        memo.add_trials(f"{tenths}", [RepairTrial(((1, 2),), tenths, None)])
    memo.at(0.1, "normal")
    memo.trials("1")
    kept = memo.stored()
    assert (len(kept.levels), len(kept.trials)) == (MOST_LEVELS, MOST_TRIALS)
    assert (kept.levels[-1].level, kept.trials[-1][0]) == (0.1, "1")
    assert kept.levels[0].level == pytest.approx(0.6)  # all after it but 0.1 were asked for later


def test_a_level_at_which_nothing_was_measured_is_not_kept():
    memo = LevelMemo()
    memo.at(0.0, "normal")
    assert memo.stored().levels == ()
    assert not memo.grown


def test_as_much_as_is_kept_fits_into_a_file_of_the_store(tmp_path):
    """Every measurement at every level, each at places of its own."""
    memo = LevelMemo()
    for tenths in range(MOST_LEVELS):
        numbers = memo.at(tenths / 10.0 + 1e-17, "inverted")
        for k, name in enumerate(MEASURES):
            sector = 1_000_000 + 100 * tenths + k
            numbers.worst[name] = Worst(-1.0 / (3.0 + sector), sector, sector - 375, sector + 375, "right")
            numbers.radii |= {sector: 0.1 + 1.0 / sector, sector - 375: 0.1 - 1.0 / sector}
    for k in range(MOST_TRIALS):
        passages = tuple((1_000_000 + n, 1_000_375 + n) for n in range(5))
        memo.add_trials(
            f"{k}" + ", groove.lateral_slope_share <= 0.123456789 1 at -100" * 12, [RepairTrial(passages, -100, 1)] * 5
        )
    place, key, kind = tmp_path / "it.kept", 64 * "0", type(memo.stored())
    write(place, key, kind, memo.stored(), "2026-11-30")
    assert read(place, key, kind).value == memo.stored()


def some(*, value=1.0, radius=0.1, tenths=-10, level=0.0, key="k"):
    memo = LevelMemo()
    numbers = memo.at(level, "inverted")
    numbers.worst["groove.travel"] = Worst(value, 3, 1, 5)
    numbers.radii[7] = radius
    memo.add_trials(key, [RepairTrial(((1, 2),), tenths, None)])
    return memo.stored()


def test_only_other_results_for_the_same_question_are_a_contradiction():
    """Another level or another key is another question: each run asks its own."""
    assert not contradicts(some(), some())
    assert not contradicts(some(), some(level=-1.0, value=2.0, radius=0.2, key="other", tenths=5))
    for other in (some(value=2.0), some(radius=0.2), some(tenths=5)):
        assert contradicts(some(), other)
        assert contradicts(other, some())


def test_only_the_values_asked_for_last_are_kept_and_the_oldest_goes_before_a_new_one_is_computed():
    computed = []
    recent = Recent(2)

    def get(key):
        return recent.get(key, lambda: computed.append((key, len(recent._values))) or key.upper())

    assert [get(key) for key in "abacab"] == ["A", "B", "A", "C", "A", "B"]
    assert computed == [("a", 0), ("b", 1), ("c", 1), ("b", 1)]
    recent.clear()
    assert get("a") == "A"
    assert computed[-1] == ("a", 0)
