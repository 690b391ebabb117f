"""The search for a level against a scan of every step, for any bracket, any limit and any way to guess."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.groove.level.search import (
    HIGHEST,
    LOWEST,
    Bracket,
    Trial,
    all_levels,
    doubling,
    halving,
    search_highest,
    search_together,
    step_down,
    straight,
)

NEVER = st.just(False)


@st.composite
def brackets(draw, ends_first=NEVER):
    """A bracket of up to 700 steps, with any of the guesses, good or bad."""
    low = draw(st.integers(-500, 500))
    high = low + draw(st.integers(1, 700))
    near = st.integers(low - 50, high + 50)
    guess = draw(
        st.one_of(
            st.just(halving),
            st.builds(doubling, near, st.integers(1, 20)),
            st.builds(straight, near, st.integers(1, 20)),
            st.builds(lambda steps: lambda bracket: steps[bracket.run % len(steps)], st.lists(near, min_size=1)),
        )
    )
    return Bracket(low, high, guess, draw(ends_first))


def scan(holds, low, high):
    """The last step, going up from the low end one at a time, before the first at which a predicate does not hold."""
    step = low
    while step + 1 < high and holds(step + 1):
        step += 1
    return step


@given(brackets(st.booleans()), st.integers(-600, 1300))
def test_any_guess_comes_to_what_a_scan_of_every_step_finds(bracket, last):
    tried = []

    def holds(step):
        tried.append(step)
        return step <= last

    low, high = bracket.low, bracket.high
    assert search_highest(holds, bracket) == scan(lambda step: step <= last, low, high)
    assert len(tried) == len(set(tried))
    assert all(low < step < high for step in tried)


@given(st.lists(st.tuples(st.integers(-450, 250), st.floats(0.01, 3.0)), min_size=1, max_size=6))
def test_limits_searched_together_come_to_what_each_comes_to_alone(limits):
    """Limits that are exceeded by more the higher the level, along curves of several bends."""
    tried = []

    def attempt(limit, step):
        tried.append((limit, step))
        beyond = step - limits[limit][0]
        return Trial(beyond <= 0, math.copysign(abs(beyond) ** limits[limit][1], beyond))

    found = search_together(attempt, {limit: all_levels(straight(0, 16)) for limit in range(len(limits))})
    for limit, (last, _) in enumerate(limits):
        assert found[limit] == scan(lambda step, last=last: step <= last, LOWEST - 1, HIGHEST + 1)
    assert len(tried) == len(set(tried))


@given(st.sets(st.integers(0, 60)), brackets())
def test_where_it_holds_and_does_not_by_turns_the_answer_holds_and_the_next_step_does_not(holding, bracket):
    low, high = bracket.low, bracket.high
    found = search_highest(lambda step: step - low in holding, bracket)
    assert found == low or found - low in holding
    assert found + 1 == high or found + 1 - low not in holding


@given(st.integers(LOWEST, HIGHEST + 1), st.data())
def test_a_limit_the_wrong_way_round_is_decided_at_the_ends(first, data):
    """It holds from a level on upwards, so that the highest level holds, or none does."""
    other = data.draw(st.integers(LOWEST, HIGHEST))
    wrong = all_levels(straight(0, 16), ends_first=True)
    right = all_levels(straight(0, 16))
    found = search_together(
        lambda limit, step: Trial(step >= first if limit == "wrong" else step <= other),
        {"right": right, "wrong": wrong},
    )
    assert found == {"right": other, "wrong": HIGHEST if first <= HIGHEST else LOWEST - 1}


@given(st.sets(st.integers(-30, 30)), st.integers(-30, 30))
def test_stepping_down_finds_the_first_step_below_that_holds(holding, start):
    expected = max((step for step in holding if step <= start), default=-31)
    assert step_down(lambda step: step in holding, start, -30) == expected


@pytest.mark.parametrize("last", [LOWEST - 1, LOWEST, -37, 0, 199, HIGHEST])
def test_halving_takes_ten_trials_for_all_levels(last):
    """601 levels have 602 answers, and 2^10 is 1,024."""
    tried = []
    search_highest(lambda step: not tried.append(step) and step <= last, all_levels(halving))
    assert len(tried) <= math.ceil(math.log2(602))


@pytest.mark.parametrize("last", range(-70, 71, 7))
@pytest.mark.parametrize("stride", [1, 4])
def test_doubling_takes_few_trials_near_its_guess(last, stride):
    """Strides reach a distance d after log2(d / stride) + 1 of them; the last, no longer than d, is then halved."""
    tried = []
    search_highest(lambda step: not tried.append(step) and step <= last, all_levels(doubling(0, stride)))
    strides = math.log2(abs(last) / stride + 1) if last else 0
    assert len(tried) <= 2 * strides + math.log2(stride) + 3


def test_a_straight_line_is_followed_to_its_zero():
    """The excess grows by a third a step and is 0 between 8 and 9: both ends, then both neighbours of the zero."""
    tried = []

    def attempt(_limit, step):
        tried.append(step)
        return Trial(step <= 8, (step - 8.5) / 3.0)

    assert search_together(attempt, {"limit": all_levels(straight(0, 16))}) == {"limit": 8}
    assert tried == [0, 16, 8, 9]


@pytest.mark.parametrize(("low", "high"), [(3, 3), (4, 3)])
def test_an_empty_bracket_is_refused(low, high):
    with pytest.raises(ValueError, match=f"from {low} to {high}"):
        Bracket(low, high, halving)


def test_a_bracket_without_a_step_inside_is_answered_without_a_trial():
    def holds(_step):
        raise AssertionError

    assert search_highest(holds, Bracket(3, 4, halving)) == 3


def test_an_error_of_the_predicate_is_raised_as_it_is():
    with pytest.raises(ZeroDivisionError):
        search_highest(lambda step: 1 // (step - step) == 0, all_levels(halving))
