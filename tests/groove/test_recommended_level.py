"""At its recommended level a side fails no limit that sets the level, whatever a house's limits and policy are."""

from dataclasses import replace

import numpy as np
import pytest

from qc.groove.geometry.cut import FOLLOWING, MEASURES, OF_LOUDNESS, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.geometry.worst import Worst
from qc.groove.level.highest import HighestSearch, SharedSpirals
from qc.groove.level.levels import HIGHEST, LOWEST, LevelSearch
from qc.groove.level.memo import LevelMemo
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.level.side_at_level import WorkedSide
from qc.model.cutting_chain import Chain
from support.cells import with_cells

LOUDNESS = -16.4  # LUFS
TOLERANCE = {"um": 0.01, "mm": 0.01}  # what counts as on a limit, section 4 of the groove model
POLICIES = (EDGE, LevelPolicy("margin", 1.0), LevelPolicy("margin", 0.25))
DISCS = (("12in", "33", 0.2926, 0.1064), ("10in", "45", 0.2418, 0.1064), ("7in", "45", 0.1683, 0.0974))


def side_of(seed):
    """A side of random envelopes, from seconds to some minutes, on a disc of any size."""
    rng = np.random.default_rng(seed)
    sectors = int(rng.integers(80, 12_000))
    size, speed, outer, finishing = DISCS[seed % 3]
    chain = Chain()
    cut = replace(chain.cut, polarity=("worst", "normal", "inverted")[seed // 3 % 3], max_pitch=rng.uniform(1e-4, 5e-4))
    chain = replace(chain, cut=cut, disc=replace(chain.disc, size=size, speed=speed, outer=outer, finishing=finishing))
    shape = np.repeat(rng.uniform(0.1, 1.0, sectors // 20 + 1), 20)[:sectors] * rng.uniform(0.3, 1.0, sectors)

    def walls(size):
        return size * shape * rng.uniform(0.2, 1.0, (2, sectors))

    def groove(size):
        return size * shape * rng.uniform(0.2, 1.0, sectors)

    envelopes = with_cells(
        chain.signal, d_max=walls(3e-4), d_min=-walls(3e-4), lateral_max=groove(4e-4), lateral_min=-groove(4e-4),
        vertical_max=groove(3e-4), vertical_min=-groove(3e-4), lateral_v=groove(2.0), vertical_v=groove(1.0),
        v_abs=walls(2.0), a_abs=walls(4e4), a_square=walls(1.5e4) ** 2, sibilance_a=walls(2e4),
        low_vertical=groove(3e-4),
    )  # fmt: skip
    return SideGeometry.of(chain, Span(0, sectors), envelopes, LOUDNESS), rng


def values(side, measure, level):
    """What a measurement comes to in each polarity, by a cutting of its own."""
    cuttings = (Cutting(side, level, polarity) for polarity in side.polarities)
    return [cutting.measure(measure).value * FOLLOWING[measure].factor for cutting in cuttings]


def holds(side, row, bound, level):
    """Whether a limit holds, told without the search."""
    slack = TOLERANCE.get(row.unit, 1e-9 * max(1.0, abs(bound)))
    if row.op == ">=":
        return min(values(side, row.measure, level)) >= bound - slack
    return max(values(side, row.measure, level)) <= bound + slack


def limits_of_a_house(side, rng):
    """Some limits of a house, each broken above some level, on its value there as people write numbers."""
    names = rng.choice(sorted(FOLLOWING), size=int(rng.integers(1, 9)), replace=False)
    for number, name in enumerate(map(str, names)):
        how, level = FOLLOWING[name], int(rng.integers(-250, 180)) / 10.0
        value = float(f"{values(side, name, level)[0]:.{int(rng.integers(2, 6))}g}")
        sets = str(rng.choice(["warn", "fail", ""])) or None
        milder = value - 1.0 if how.op == "<=" else value + 1.0
        yield LevelRow(f"house.n{number}", "most", name, how.op, value if sets == "warn" else milder,
                       None if sets == "warn" else value, how.unit, sets)  # fmt: skip


@pytest.mark.parametrize("seed", range(60))
def test_a_free_side_fails_no_limit_that_sets_the_level(seed):
    side, rng = side_of(seed)
    rows = list(limits_of_a_house(side, rng))
    policy = POLICIES[seed % len(POLICIES)]
    search = LevelSearch(side, rows)
    _, edge, _ = search.allowed()
    recommended = search.recommended(edge, policy)
    setting = [row for row in rows if row.sets_level]
    if edge.bound == "<":
        assert not all(holds(side, row, row.setting, LOWEST / 10.0) for row in setting)
    else:
        for row in setting:
            assert holds(side, row, row.setting, edge.level), row
            assert holds(side, row, row.setting, recommended.level), row
        assert edge.level - recommended.level >= min(policy.margin, edge.level - LOWEST / 10.0) - 1e-9
        if edge.bound is None:
            assert not all(holds(side, row, row.setting, round(edge.level + 0.1, 1)) for row in setting)
    failing = {row for row in rows if row.sets_level is None and not holds(side, row, row.fail, recommended.level)}
    assert set(search.failing(recommended.level)) == failing
    alone = HighestSearch(side, rows, policy=policy).highest()
    assert (alone.edge.level, alone.edge.bound) == (edge.level, edge.bound)
    assert (alone.reached.level, alone.reached.bound) == (recommended.level, recommended.bound)


def test_the_limits_of_the_law_rule_some_side_each():
    """The sides and limits above reach what they are meant to reach."""
    ruling, bounds = set(), set()
    for seed in range(150):
        side, rng = side_of(seed)
        _, edge, _ = LevelSearch(side, list(limits_of_a_house(side, rng))).allowed()
        ruling.add(None if edge.by is None else edge.by.measure)
        bounds.add(edge.bound)
    assert {"layout.lead_out_room", "groove.low_vertical_peak"} <= ruling
    assert ruling & set(OF_LOUDNESS)
    assert {None, ">"} <= bounds


def test_lead_out_room_sets_the_level_to_where_the_room_is():
    """Half a turn of 6.4 mm before a closed groove of 106.4 mm: the side ends at 112.8 mm or outside (D-8, D-9)."""
    side, _ = side_of(9)
    assert side.chain.disc.finishing == 0.1064
    inside = 1e3 * Cutting(side, 6.0, "normal").spiral_path.radius[-1]  # put the closed groove near the end of the side
    disc = replace(side.chain.disc, finishing=2e-3 * (inside - 3.2))
    side = side.under(replace(side.chain, disc=disc))
    row = LevelRow("layout.lead-out-room", "least", "layout.lead_out_room", ">=", 0.75, 0.5, "turn", "fail")
    search = LevelSearch(side, [row])
    _, edge, _ = search.allowed()
    assert edge.by == row
    ends = [1e3 * search.worst("groove.last_diameter", level)[0].value for level in (edge.level, edge.level + 0.1)]
    assert ends[0] >= 1e3 * disc.finishing + 6.4 > ends[1]
    assert HighestSearch(side, [row]).highest().reached == edge


@pytest.mark.parametrize("policy", POLICIES)
def test_where_a_number_is_not_monotonic_the_level_goes_down_until_all_hold(monkeypatch, policy):
    """A number that is greater from -4.5 to -2.9 dB than above and below is met by no bisection, only at the end."""
    side, _ = side_of(3)
    bump = replace(
        MEASURES["groove.drive_1s"], factor=1.0, of=lambda c: Worst(9.0 * (-4.5 <= c.level <= -2.9), 0, 0, 1)
    )
    monkeypatch.setitem(MEASURES, "groove.drive_1s", bump)
    monkeypatch.setitem(FOLLOWING, "groove.drive_1s", bump)
    plain = LevelRow("house.peak", "most", "groove.lateral_velocity_peak", "<=", None, 0.0, "cm/s", "fail")
    plain = replace(plain, fail=max(values(side, plain.measure, -3.0)) + 1e-6)
    uneven = LevelRow("house.drive", "most", "groove.drive_1s", "<=", None, 5.0, "g", "fail")
    assert LevelSearch(side, [plain]).allowed()[1].level == -3.0
    search = LevelSearch(side, [plain, uneven])
    _, edge, _ = search.allowed()
    assert (edge.level, edge.by) == (-4.6, uneven)
    recommended = search.recommended(edge, policy)
    assert recommended.level == pytest.approx(-4.6 - policy.tenths / 10.0)
    found = HighestSearch(side, [plain, uneven], policy=policy).highest()
    assert (found.edge, found.reached) == (edge, recommended)


def test_discs_of_other_sizes_that_share_windings_have_their_own_minutes():
    """The table has other minutes for each size, so that no level by it may be taken from one disc to the next."""
    side, _ = side_of(1)
    row = LevelRow("layout.side-too-long", "over", "layout.minutes_over_table", "<=", None, -5.0, "min", "fail")
    spirals = SharedSpirals(side)
    for size in ("7in", "10in", "12in"):
        other = side.under(replace(side.chain, disc=replace(side.chain.disc, size=size)))
        assert HighestSearch(other, [row], spirals).highest().reached == LevelSearch(other, [row]).allowed()[1]


def test_numbers_that_depend_on_the_loudness_are_not_kept():
    """What is kept of a side may be given back when another loudness is measured."""
    side, _ = side_of(2)
    memo, rows = LevelMemo(), [LevelRow("a", "most", name, "<=", None, 0.0, "LU", "fail") for name in OF_LOUDNESS]
    LevelSearch(side, rows, memo).allowed()
    kept = {name for at in memo.stored().levels for name, _ in at.worst}
    assert not kept & set(OF_LOUDNESS)


@pytest.mark.parametrize(("value", "margin", "tenths"), [("edge", 1.0, 0), ("margin", 1.0, 10), ("margin", 0.25, 3)])
def test_a_margin_is_never_less_than_asked_for(value, margin, tenths):
    assert LevelPolicy(value, margin).tenths == tenths


def test_a_margin_stays_within_the_search():
    side, _ = side_of(4)
    search = LevelSearch(side, [])
    _, edge, _ = search.allowed()
    assert (edge.level, edge.bound) == (HIGHEST / 10.0, ">")
    assert search.recommended(edge, LevelPolicy("margin", 1.0)).quantity().model_dump() == {
        "value": 19.0, "unit": "dB", "bound": ">",
    }  # fmt: skip
    low = replace(edge, level=LOWEST / 10.0 + 0.5, bound=None)
    assert search.recommended(low, LevelPolicy("margin", 1.0)).level == LOWEST / 10.0


def test_the_judged_level_follows_the_margin():
    side, _ = side_of(5)
    search = LevelSearch(side, [LevelRow("a", "most", "groove.low_vertical_peak", "<=", 40.0, 60.0, "um", "fail")])
    worked = WorkedSide(search, *search.allowed(), None, LevelPolicy("margin", 1.0))
    found = worked.quantities(None)
    assert found["groove.edge_level"].value - found["groove.recommended_level"].value == pytest.approx(1.0)
    assert found["groove.judged_level"].value == found["groove.recommended_level"].value
