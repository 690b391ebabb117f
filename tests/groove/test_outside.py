"""The search for the level of limits on numbers of others: exact, in few calls, and none that breaks the contract."""

import numpy as np
import pytest

from qc.groove.level.levels import Reached, lowest
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


def gain(level):
    return 10.0 ** (level / 20.0)


def test_the_lowest_of_several_limits_on_one_number_is_exact_whatever_their_order():
    levels = (6.3, 9.1, -2.37, 15.0, 2.2)
    for turn in range(len(levels)):
        order = levels[turn:] + levels[:turn]
        limits = [row("<=", gain(level), warn=gain(level - 3.0), key=f"most{level}") for level in order]
        found, calls = reached(gain, *limits)
        lowest = next(limit for limit in limits if limit.key == "most-2.37")
        assert found.by_limit[lowest] == Reached(-2.4, None, lowest)
        assert min(found.ceilings.values()) == -24
        assert found.warned[lowest].level == min(reached.level for reached in found.warned.values()) == -5.4
        assert calls <= MOST_CALLS - 2


@pytest.mark.parametrize("shape", SHAPES)
def test_the_first_of_many_limits_is_exact_and_what_is_left_open_is_marked_and_holds(shape):
    number, rng = SHAPES[shape], np.random.default_rng(5)
    marked = 0
    for _ in range(12):
        limits = [row("<=", number(at), key=f"most{at}") for at in rng.uniform(-39.0, 19.0, 9)]
        found, calls = reached(number, *limits)
        assert calls <= MOST_CALLS - 2
        exact = {limit: highest(number, "<=", limit.fail) for limit in limits}
        assert min(found.by_limit.values(), key=lambda r: r.level).level == pytest.approx(min(exact.values()))
        for limit, level in found.by_limit.items():
            if level.bound is None or exact[limit] == 20.0:
                assert level.level == pytest.approx(exact[limit])
            else:
                assert level.bound == ">"
                assert level.level <= exact[limit]
                assert limit not in found.ceilings
                marked += 1
        assert lowest(list(found.by_limit.values())).bound is None
    assert marked or shape in {"rises in steps", "jumps once"}  # where several limits have one level


def test_limits_on_two_numbers_of_one_need_are_searched_together():
    """Land that shrinks with the gain, 100 - 40 g, and a drive of 3 g: 30 um are left at 4.86 dB, 4 is met at 2.50."""

    def numbers(level):
        land, drive = 100.0 - 40.0 * gain(level), 3.0 * gain(level)
        return {"house.land": Quantity(value=land, unit="um"), "house.drive": Quantity(value=drive, unit="g")}

    land = LevelRow("house.check", "least", "house.land", ">=", 50.0, 30.0, "um", "fail")
    drive = LevelRow("house.other", "most", "house.drive", "<=", 3.0, 4.0, "g", "fail")
    for rows in ((land, drive), (drive, land)):
        asked = []
        found = OutsideSearch(lambda level: asked.append(level) or numbers(level)).reach(rows)  # noqa: B023
        assert found.by_limit[drive] == Reached(2.4, None, drive)
        assert found.warned[drive].level == 0.0
        assert found.by_limit[land] in (Reached(4.8, None, land), Reached(found.by_limit[land].level, ">", land))
        assert 2.4 < found.by_limit[land].level <= 4.8
        assert len(asked) <= MOST_CALLS - 2


def test_of_equal_levels_the_one_that_is_narrowed_down_rules():
    ruling, open_ended = Reached(-12.0, None, row("<=", 1.0)), Reached(-12.0, ">", row("<=", 2.0))
    assert lowest([open_ended, ruling]) == ruling
    assert lowest([open_ended, Reached(-12.0, "<")]).bound == "<"


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
