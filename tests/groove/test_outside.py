"""The search for the level of limits on numbers of others: exact, in few calls, and none that breaks the contract."""

import numpy as np
import pytest

from qc.groove.level.outside import LEAST_TRIED, MOST_CALLS, OutsideSearch
from qc.groove.level.rows import LevelRow
from qc.model.quantity import Quantity, meets

NAME = "house.number"


def row(op, fail, warn=None, key="most"):
    return LevelRow("house.check", key, NAME, op, warn, fail, "1", "fail")


class Asked:
    """Answers with a function of the level, and keeps which levels were asked."""

    def __init__(self, number):
        self.number, self.levels = number, []

    def __call__(self, level):
        assert -40.0 <= level <= 20.0
        self.levels.append(level)
        value = self.number(level)
        return {} if value is None else {NAME: Quantity(value=value, unit="1")}


def reached(number, *rows):
    asked = Asked(number)
    found = OutsideSearch(asked).reach(rows)
    assert len(asked.levels) == len(set(asked.levels))
    return found, len(asked.levels)


def highest(number, op, bound):
    """The highest tenth of a dB by trying every one, None where none holds."""
    levels = [tenths / 10.0 for tenths in range(-400, 201)]
    keeping = [level for level in levels if meets(number(level), bound, op, "1")]
    return max(keeping, default=None)


SHAPES = {
    "goes with the gain": lambda level: 10.0 ** (level / 20.0),
    "goes with the square of the gain": lambda level: 10.0 ** (level / 10.0),
    "rises straight": lambda level: 3.0 + level / 40.0,
    "rises in steps": lambda level: float(np.floor(level / 7.3)),
    "jumps once": lambda level: float(level > 3.3),
    "bends sharply": lambda level: 0.01 * level + max(0.0, level + 2.0) ** 3,
    "saturates": lambda level: float(np.tanh(level / 4.0)),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_the_level_is_the_highest_step_at_which_the_limit_holds(shape):
    number, rng = SHAPES[shape], np.random.default_rng(3)
    for at in rng.uniform(-39.0, 19.0, 25):
        bound = number(at)
        for op, sign in (("<=", 1.0), (">=", -1.0)):
            limit = row(op, sign * bound)
            found, calls = reached(lambda level, sign=sign: sign * number(level), limit)
            want = highest(lambda level, sign=sign: sign * number(level), op, sign * bound)
            assert found.by_limit[limit].level == pytest.approx(want), at
            assert LEAST_TRIED <= calls <= MOST_CALLS - 2, at


def test_a_limit_that_always_or_never_holds_is_bounded():
    limit = row("<=", 5.0)
    always, _ = reached(lambda _: 4.0, limit)
    never, _ = reached(lambda _: 6.0, limit)
    assert (always.by_limit[limit].level, always.by_limit[limit].bound) == (20.0, ">")
    assert (never.by_limit[limit].level, never.by_limit[limit].bound) == (-40.0, "<")


def test_the_warn_value_has_a_level_of_its_own_from_the_same_calls():
    limit = row("<=", 1.0, warn=0.5)
    found, calls = reached(lambda level: 10.0 ** (level / 20.0), limit)
    assert found.by_limit[limit].level == 0.0
    assert found.warned[limit].level == -6.1  # 20 log 0.5 = -6.02
    assert calls <= MOST_CALLS - 2


def test_what_is_left_open_when_the_calls_are_used_up_lies_below_the_answer():
    limits = [row("<=", float(bound), key=f"most{bound}") for bound in range(-40, 20, 7)]
    found, calls = reached(lambda level: float(np.floor(level)), *limits)
    assert calls == MOST_CALLS - 2
    for limit in limits:
        assert found.by_limit[limit].level <= highest(lambda level: float(np.floor(level)), "<=", limit.fail)


def test_a_number_that_gets_better_as_the_level_rises_sets_no_level():
    for number, op in ((lambda level: -level, "<="), (lambda level: level, ">="), (lambda level: abs(level + 3), "<=")):
        with pytest.raises(ValueError, match=r"gets better as the level rises, from .* at .* dB to .*, so no limit"):
            OutsideSearch(Asked(number)).reach([row(op, 1.0)])


def test_rounding_is_no_improvement():
    found, _ = reached(lambda level: 1.0 - 1e-12 * level, row("<=", 2.0))
    assert next(iter(found.by_limit.values())).bound == ">"


def test_a_number_without_a_value_anywhere_sets_no_level_and_one_with_gaps_is_refused():
    found, _ = reached(lambda _: None, row("<=", 1.0))
    assert not found.by_limit
    with pytest.raises(ValueError, match="has a value at some cut levels and none at"):
        OutsideSearch(Asked(lambda level: None if level > 5.0 else level)).reach([row("<=", 1.0)])
