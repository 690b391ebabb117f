"""The level search against every level tried one by one, and what it holds in memory."""

import math
import tracemalloc

import numpy as np
import pytest

from qc.groove.geometry.cut import CHANNELS, MEASURES, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.geometry.worst import Worst
from qc.groove.level.levels import LevelSearch
from qc.groove.level.rows import LevelRow
from qc.groove.level.search import HIGHEST, LOWEST
from qc.groove.signal.sector_envelopes import GrooveInput
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from support.cells import with_cells

CHAIN = Chain()
ROWS = tuple(
    LevelRow(name, "limit", name, op, warn, fail, MEASURES[name].unit, sets)
    for name, op, warn, fail, sets in (
        ("groove.last_diameter", ">=", 280.0, 270.0, "warn"),
        ("groove.top_width_min", ">=", 30.0, 25.4, "fail"),
        ("groove.depth_max", "<=", 110.0, 127.0, "fail"),
        ("groove.lateral_slope_share", "<=", 0.02, 0.1, "fail"),
        ("groove.tracing_ratio_share", "<=", 0.02, 0.1, "fail"),
        ("groove.tracing_ratio_peak", "<=", 4.0, None, None),
        ("groove.sibilance_share", "<=", 0.1, 0.3, "fail"),
        ("groove.drive_1s", "<=", 200.0, 400.0, "fail"),
        ("groove.land_min", ">=", 13.0, 0.0, "fail"),
        ("groove.land_min", "<=", 12.0, None, None),  # the wrong way round, as a house may have it
        ("groove.acceleration_peak", "<=", 5000.0, None, None),
    )
)


def side_of(sectors, seed=1, chain=CHAIN):
    """Envelopes of about a programme's size, louder by and by and with beats."""
    rng = np.random.default_rng(seed)
    shape = np.repeat(rng.uniform(0.2, 1.0, sectors // 20 + 1), 20)[:sectors] * rng.uniform(0.5, 1.0, sectors)

    def walls(size):
        return size * shape * rng.uniform(0.6, 1.0, (2, sectors))

    def groove(size):
        return size * shape * rng.uniform(0.6, 1.0, sectors)

    envelopes = with_cells(
        chain.signal, d_max=walls(3e-4), d_min=-walls(3e-4), lateral_max=groove(4e-4), lateral_min=-groove(4e-4),
        vertical_max=groove(1e-4), vertical_min=-groove(1.2e-4), lateral_v=groove(2.0), vertical_v=groove(1.0),
        v_abs=walls(2.0), a_abs=walls(4e4), a_square=walls(1.5e4) ** 2, sibilance_a=walls(2e4),
        low_vertical=groove(8e-5),
    )  # fmt: skip
    return SideGeometry.of(chain, Span(0, sectors), envelopes)


def one_by_one(side, row, bound):
    """Try every level from the lowest on; the last that holds, None where none does."""
    fresh = LevelSearch(side, [row])
    found = None
    for tenths in range(LOWEST, HIGHEST + 1):
        if not fresh.holds((row, bound), tenths / 10.0):
            break
        found = tenths / 10.0
    return found


def test_each_limit_is_reached_where_trying_every_level_says():
    side = side_of(2000)
    search = LevelSearch(side, ROWS)
    wanted = [(row, bound) for row in ROWS for bound in (row.warn, row.fail) if bound is not None]
    wanted = [want for want in wanted if want[0].op == MEASURES[want[0].measure].op]
    found = search.reach(wanted)
    assert len({reached.level for reached in found.values()}) > 8
    for (row, bound), reached in found.items():
        expected = one_by_one(side, row, bound)
        assert reached.level == (LOWEST / 10.0 if expected is None else expected), row
        assert (reached.bound == "<") == (expected is None)


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("seed", range(5))
def test_the_clean_level_is_the_first_of_the_lowest_at_which_a_warn_value_is_reached(seed, order):
    """All are searched here, which the test above holds against every level; the search itself leaves most out."""
    side, rows = side_of(300 + 200 * seed, seed=seed), ROWS[::order]
    each = LevelSearch(side, rows).reach([(row, row.warn) for row in rows if row.warn is not None])
    lowest = min(each.values(), key=lambda one: (one.level, one.bound != "<"))
    _, _, clean = LevelSearch(side, rows).allowed()
    assert (clean.level, clean.bound, clean.by) == (lowest.level, lowest.bound, lowest.by)


@pytest.mark.parametrize("others", [(), ROWS[:4]])
def test_a_limit_the_wrong_way_round_that_holds_only_at_high_levels_rules_nothing(others):
    """A house may ask for no less travel than so much: louder is better, so the highest level is tried first."""
    side = side_of(2000)
    low, high = (LevelSearch(side, []).worst("groove.travel", level)[0].value * 1e3 for level in (0.0, 20.0))
    assert low < high
    row = LevelRow("house", "least", "groove.travel", ">=", (low + high) / 2.0, low, "mm", None)
    by_limit, _, clean = LevelSearch(side, [row, *others]).allowed()
    assert (by_limit[row].level, by_limit[row].bound) == (20.0, ">")
    alone = LevelSearch(side, others).allowed()[2]
    assert (clean.level, clean.bound, clean.by) == (alone.level, alone.bound, alone.by)


def test_a_limit_the_wrong_way_round_goes_by_the_worse_polarity():
    side = side_of(500)
    search = LevelSearch(side, ROWS)
    row = ROWS[-2]
    for level in (-20.0, 0.0, 10.0, 20.0):
        worst = min(Cutting(side, level, p).measure("groove.land_min").value for p in side.polarities) * 1e6
        assert search.holds((row, 12.0), level) == (worst <= 12.0 + 0.01)


def share(ratio, seconds):
    """Share of sectors above 1 in the worst `seconds`, or in all of a shorter side; (2, n): the greater wall."""
    rows = np.atleast_2d(ratio)
    greater = rows.max(axis=0)
    window = min(seconds * SECTORS_A_SECOND, len(greater))
    over = np.cumsum(np.concatenate([[0], greater > 1.0]))
    counts = over[window:] - over[:-window]
    if counts.any():
        start = int(counts.argmax())
        worst = start + int(greater[start : start + window].argmax())
    else:  # nothing is over: the window about the greatest ratio
        worst = int(greater.argmax())
        start = max(0, min(worst - window // 2, len(greater) - window))
    name = CHANNELS[int(rows[:, worst].argmax())] if rows.shape[0] == 2 else None
    return Worst(float(counts[start]) / window, worst, start, start + window, name)


@pytest.mark.parametrize("level", [-30.0, -6.0, 0.0, 6.0, 20.0])
@pytest.mark.parametrize("sectors", [1, 50, 700, 2000])
def test_shares_and_peaks_are_what_the_whole_arrays_say(level, sectors):
    side = side_of(sectors, seed=sectors)
    e = side.envelopes
    for polarity in side.polarities:
        cut = Cutting(side, level, polarity)
        assert cut.measure("groove.lateral_slope_share") == share(cut.lateral_slope, 10)
        assert cut.measure("groove.vertical_slope_share") == share(cut.vertical_slope, 10)
        assert cut.measure("groove.tracing_ratio_share") == share(cut.tracing(e.a_abs), 10)
        assert cut.measure("groove.sibilance_share") == share(cut.tracing(e.sibilance_a), 1)
        assert cut.measure("groove.lateral_slope_peak") == cut.peak(cut.lateral_slope)
        assert cut.measure("groove.tracing_ratio_peak") == cut.peak(cut.tracing(e.a_abs))
        assert cut.measure("groove.tracing_ratio_peak_5um") == cut.peak(cut.tracing(e.a_abs, 5e-6))
        assert cut.measure("groove.wall_velocity_peak") == cut.scaled_peak(e.v_abs)
        assert cut.measure("groove.land_min") == cut.peak(cut.spiral.land, least=True)
        assert cut.measure("groove.travel").value == cut.spiral.travel
        assert cut.measure("groove.travel_least").value == cut.spiral.travel_least
        assert cut.measure("groove.last_diameter").value == 2.0 * cut.spiral.last_radius


def test_equal_ratios_of_both_walls_lie_on_the_left_one():
    side = side_of(900)
    both = {name: np.vstack([getattr(side.envelopes, name)[0]] * 2) for name in ("a_abs", "sibilance_a")}
    alike = SideGeometry(CHAIN, side.span, GrooveInput(**{**vars(side.envelopes), **both}))
    cut = Cutting(alike, 3.0, "normal")
    for name in ("groove.tracing_ratio_peak", "groove.tracing_ratio_share", "groove.sibilance_share"):
        assert cut.measure(name).channel == "left"


def test_what_was_found_stays_when_the_arrays_are_let_go():
    search = LevelSearch(side_of(1500), ROWS)
    first = {name: (search.quantity(name, -3.0), search.window(name, -3.0)) for name in MEASURES}
    search.quantity("groove.travel", 4.0)
    assert first == {name: (search.quantity(name, -3.0), search.window(name, -3.0)) for name in MEASURES}
    again = LevelSearch(search.side, ROWS)
    assert first == {name: (again.quantity(name, -3.0), again.window(name, -3.0)) for name in MEASURES}


def test_a_minute_of_a_side_holds_a_third_of_a_mebibyte():
    """Besides the envelopes, which the pass hands over: what each sector measures, and its greatest cell of 1 ms."""

    def held(minutes):
        side = side_of(minutes * 60 * 75)
        tracemalloc.start()
        search = LevelSearch(side, ROWS)
        search.allowed()
        for name in MEASURES:
            search.quantity(name, -3.0)
        size, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return size

    held(1)  # loads the compiled code, which is not of the side
    assert (held(5) - held(1)) / 4.0 < 2**20 / 3.0
    assert math.isfinite(held(1))


def test_the_clean_level_keeps_the_fail_value_of_a_limit_that_sets_the_level_and_has_no_other():
    name = "groove.depth_max"
    alone = LevelRow(name, "alone", name, "<=", None, 90.0, MEASURES[name].unit, "fail")
    wide = LevelRow(name, "wide", name, "<=", 110.0, 127.0, MEASURES[name].unit, "fail")
    _, edge, clean = LevelSearch(side_of(2000), [alone, wide]).allowed()
    assert clean.level == edge.level == one_by_one(side_of(2000), alone, 90.0)
