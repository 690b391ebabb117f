"""The level budget: levels of a closed form, and repairs against a whole search of a side that was changed by hand."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.groove.level.budget import LONGEST, MOST, budget
from qc.groove.level.levels import LevelSearch
from qc.groove.level.print_through import neighbours
from support.by_hand import CHAIN, GRAVITY, ROWS, SECOND, TURN, UM, envelopes, on, search, side, swinging, with_cut

EASE = 10.0 ** (-6.0 / 20.0)
FIXED = with_cut(depth="fixed")
BASE = 69.0 * UM / TURN


def worked(kept, chain=CHAIN, rows=ROWS):
    there = LevelSearch(side(kept, chain), rows)
    by_limit, recommended, _ = there.allowed()
    return budget(there.side, by_limit, recommended), recommended


def down_to_a_tenth(level):
    return np.floor(10.0 * level + 1e-9) / 10.0


RISES = ((1000, 1010, 20.0), (3000, 3010, 16.0), (5000, 5010, 12.0), (7000, 7010, 9.0), (9000, 9010, 8.0),
         (11000, 11010, 7.5))  # fmt: skip


def test_taming_the_narrowest_places_wins_what_the_next_one_leaves():
    """A groove of 56 um fixed keeps 25.4 um up to a rise of 15.3 um (15.305 with 0.01 um): 20 log of 15.3 / rise."""
    found, recommended = worked(envelopes(12_000, vertical_max=UM * on(12_000, *RISES)), FIXED)
    levels = [down_to_a_tenth(20.0 * np.log10(15.305 / rise)) for _, _, rise in RISES]
    assert recommended.level == levels[0]
    assert found.ruling.measure == "groove.top_width_min"
    assert [repair.reached.level for repair in found.repairs] == pytest.approx(levels[1:], abs=1e-9)
    assert [repair.wins for repair in found.repairs] == pytest.approx([one - levels[0] for one in levels[1:]])
    for count, repair in enumerate(found.repairs, start=1):
        assert [(start, end) for start, end in repair.passages] == [(start, end) for start, end, _ in RISES[:count]]
        assert repair.reached.by == found.ruling


def test_where_another_limit_rules_no_more_is_tried():
    """After the worst bend the drive rules: reducing more bends wins nothing."""
    square = (150.0 * GRAVITY) ** 2 * np.ones((2, 12_000))  # over 10 s all the time: +6.02 dB to 300 g
    kept = envelopes(12_000, vertical_max=UM * on(12_000, *RISES), a_square=square)
    found, _ = worked(kept, FIXED)
    assert [repair.reached.level for repair in found.repairs] == pytest.approx([-0.4, 2.1, 4.6, 5.6, 6.0])
    rulers = [repair.reached.by.measure for repair in found.repairs]
    assert rulers == ["groove.top_width_min"] * 4 + ["groove.drive_10s"]
    louder, _ = worked(replace(kept, a_square=4.0 * kept.a_square), FIXED)
    assert louder.lifted.level == 0.0
    assert louder.lifted.by.measure == "groove.drive_10s"
    assert [repair.reached.level for repair in louder.repairs] == pytest.approx([-0.4, 0.0])


def test_the_budget_lists_what_sets_the_level_the_tightest_first():
    found, recommended = worked(envelopes(3000, vertical_max=UM * on(3000, (1000, 1010, 20.0))), FIXED)
    assert found.rows[0] == (found.ruling, replace(recommended, by=found.ruling))
    levels = [reached.level for _, reached in found.rows]
    assert levels == sorted(levels)
    assert {row for row, _ in found.rows} == {row for row in ROWS if row.sets_level}


def test_nothing_rules_and_nothing_is_repaired():
    found, recommended = worked(envelopes(3000))
    assert (found.ruling, found.repairs, recommended.bound, found.lifted.bound) == (None, (), ">", ">")


def test_nothing_to_be_done_for_a_side_that_is_too_long_at_any_level():
    chain = replace(CHAIN, disc=replace(CHAIN.disc, outer=0.130))
    found, recommended = worked(envelopes(60 * 10 * SECOND), chain)
    assert (recommended.bound, found.repairs) == ("<", ())
    assert found.ruling.measure == "groove.last_diameter"


# -- against a whole search of a side that was changed by hand ---------------------------------------------------


def loud_places(seed, sectors):
    rng = np.random.default_rng(seed)
    starts = rng.integers(0, sectors - 300, 8)
    places = [(int(s), int(s) + int(rng.integers(20, 300)), float(rng.uniform(0.5, 1.0))) for s in starts]
    return 0.12 + on(sectors, *places), rng


def lateral_programme(seed, sectors=6000):
    """Everything lateral, so that width and depth know nothing of it."""
    loud, rng = loud_places(seed, sectors)
    wall = 20.0 * UM * loud * rng.uniform(0.5, 1.0, sectors)
    a = 700.0 * GRAVITY * loud * rng.uniform(0.2, 1.0, (2, sectors))
    return swinging(wall) | {
        "lateral_v": 0.35 * loud * rng.uniform(0.3, 1.0, sectors), "a_abs": a, "a_square": (0.4 * a) ** 2,
        "sibilance_a": 0.7 * a,
    }  # fmt: skip


FORGOTTEN = {  # which envelope a limit looks at
    "groove.lateral_slope_share": "lateral_v", "groove.tracing_ratio_share": "a_abs", "groove.drive_1s": "a_square",
    "groove.drive_10s": "a_square", "groove.sibilance_share": "sibilance_a",
}  # fmt: skip


def repaired(programme, passages, measure):
    """Lower the displacement of the passages by 6 dB, and take out of them what the limit looks at."""
    changed = {name: np.array(values, dtype=float) for name, values in programme.items()}
    for start, end in passages:
        for name in ("d_max", "d_min"):
            changed[name][..., start:end] *= EASE
        if measure in FORGOTTEN:
            changed[FORGOTTEN[measure]][..., start:end] = 0.0
    return changed


SEARCHED = settings(max_examples=6, deadline=None)


@pytest.mark.parametrize("measure", [*FORGOTTEN, "groove.last_diameter"])
@SEARCHED
@given(seed=st.integers(0, 10_000))
def test_a_repair_is_worth_what_the_repaired_side_is_recommended(measure, seed):
    """The repaired side searched as a whole, by bisection of every limit: the same level, and the same limit rules."""
    programme = lateral_programme(seed)
    kept = envelopes(6000, **programme)
    chain = CHAIN
    if measure == "groove.last_diameter":  # a disc that is as good as full
        chain = replace(CHAIN, disc=replace(CHAIN.disc, outer=0.12065 + 2.0 * 5200 * BASE + 0.004))
    alone = {row for row in ROWS if row.measure == measure}
    first, _, _ = search(kept, chain).allowed()
    rows = [
        row for row in ROWS
        if row in alone or not row.sets_level or (
            first[row].level > min(first[one].level for one in alone)
            and FORGOTTEN.get(row.measure) != FORGOTTEN.get(measure, "")  # what is taken out is theirs too
        )
    ]  # fmt: skip
    found, recommended = worked(kept, chain, rows)
    assert found.ruling.measure == measure
    level = recommended.level
    for number, repair in enumerate(found.repairs, start=1):
        assert len(repair.passages) == number <= MOST
        assert all(0 <= start < end <= 6000 and end - start <= LONGEST for start, end in repair.passages)
        in_time = sorted(repair.passages)
        assert all(one[1] <= other[0] for one, other in pairwise(in_time))
        changed = LevelSearch(side(envelopes(6000, **repaired(programme, repair.passages, measure)), chain), rows)
        _, expected, _ = changed.allowed()
        assert repair.reached.level == expected.level
        lands = repair.reached.by is not None and repair.reached.by.measure == "groove.land_min"
        assert lands or repair.reached.level >= level - 1e-9  # what is lowered may take a neighbour's land ahead of it
        assert repair.wins == pytest.approx(repair.reached.level - recommended.level)
        level = repair.reached.level
        if repair.reached.by != found.ruling:
            assert number == len(found.repairs)  # the last that is tried


# -- neighbours ------------------------------------------------------------------------------------------------


def beside(loud, quiet, *, marks=False, chain=CHAIN):
    """A loud burst with a turn before it and one after it that move by so many um a wall."""
    wall = UM * (quiet + (loud - quiet) * on(2000, (1000, 1020)))
    there = search(envelopes(2000, **swinging(wall)), chain)
    return neighbours(there.cutting(0.0, "normal"))


def test_a_loud_turn_beside_quiet_ones_is_told_with_both_times():
    before, after = sorted(beside(20.0, 0.2), key=lambda one: one.quiet)
    for one in (before, after):
        assert 1000 <= one.loud < 1020
        assert one.ratio == pytest.approx(100.0)
        assert one.land <= 26.0 * UM
    assert before.loud - before.quiet == TURN  # a pre-echo, one turn early
    assert after.quiet - after.loud == TURN


def test_neighbours_that_are_alike_or_far_apart_are_not_told():
    assert beside(20.0, 2.1) == []  # less than 20 dB
    assert beside(20.0, 1.9)
    assert beside(9.0, 0.1) == []  # the edge swings by 12.7 um, less than the land
    assert beside(9.3, 0.1)
    assert beside(0.0, 0.0) == []


def test_a_silent_neighbour_has_no_ratio_but_a_least_one():
    assert all(one.silent for one in beside(20.0, 0.0))
    assert beside(20.0, 0.0)
    assert not any(one.silent for one in beside(20.0, 0.2))
