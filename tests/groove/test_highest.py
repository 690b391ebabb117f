"""The quick search of the recommended level against the full one, which bisects every limit by itself."""

import numpy as np
import pytest

from qc.groove.geometry import cut_arrays
from qc.groove.geometry.side import SideGeometry, greatest_near
from qc.groove.geometry.span import Span
from qc.groove.level.highest import HighestSearch, SharedSpirals, highest
from qc.groove.level.levels import LevelSearch
from support.sides import LAST, every_disc, shipped, sound

CASES = [
    # sectors, then what the side holds: limited by the last diameter, the curvature, the depth, nothing, everything
    (40_000, {"swing": 40.0, "rise": 10.0}),
    (20_000, {"swing": 10.0, "bend": 9e4}),
    (9_000, {"swing": 5.0, "rise": 60.0}),
    (6_000, {"swing": 0.01}),
    (30_000, {"swing": 30.0, "rise": 25.0, "bend": 3e4, "drive": 3_000.0}),
    (300, {"swing": 80.0, "rise": 80.0, "bend": 9e6, "drive": 9e4}),
]


@pytest.mark.parametrize(("sectors", "holds"), CASES)
@pytest.mark.parametrize("disc", [("12in", "33"), ("10in", "45"), ("7in", "33")])
def test_it_is_the_level_and_the_limit_of_the_full_search(sectors, holds, disc):
    chain, rows = shipped(*disc)
    side = SideGeometry.of(chain, Span(0, sectors), sound(sectors, **holds))
    full = LevelSearch(side, rows)
    _, recommended, _ = full.allowed()
    for near in (None, -400, round(10 * recommended.level)):
        found = HighestSearch(side, rows).highest(near)
        assert found.reached == recommended, near
    ends = full.worst("groove.last_diameter", recommended.level)[0].value
    assert found.last_diameter == pytest.approx(ends, abs=1e-12)
    assert found.travel == pytest.approx(full.worst("groove.travel", recommended.level)[0].value, abs=1e-12)


def test_discs_that_share_spirals_come_to_what_each_comes_to_alone():
    envelopes = sound(25_000, swing=30.0, rise=20.0, bend=4e4, drive=1_000.0)
    shared = {}
    for chain, rows in every_disc().values():
        side = SideGeometry.of(chain, Span(0, 25_000), envelopes)
        spirals = shared.setdefault(SharedSpirals.key(chain), SharedSpirals(side))
        found, alone = HighestSearch(side, rows, spirals).highest(), highest(side, rows)
        assert found.reached == alone.reached
        assert found.last_diameter == pytest.approx(alone.last_diameter, abs=1e-12)
    assert len(shared) == 2  # 33 1/3 and 45


@pytest.mark.parametrize(("sectors", "holds"), CASES)
def test_it_computes_a_few_spirals_only(sectors, holds, monkeypatch):
    spirals = []
    real = cut_arrays.compute_path
    monkeypatch.setattr(cut_arrays, "compute_path", lambda *args: spirals.append(1) or real(*args))
    chain, rows = shipped()
    highest(SideGeometry.of(chain, Span(0, sectors), sound(sectors, **holds)), rows)
    assert len(spirals) <= 20  # two polarities; the full search takes some sixty


def test_a_side_too_long_for_silence_needs_no_spiral_to_be_refused():
    """(292.6 - 120.65)/2 mm at 69 um a turn of 135 sectors: 168,212 sectors fit, and the tolerance is 10 um more."""
    chain, _ = shipped()
    most = int((292.6e-3 - 120.65e-3) / 2.0 / 69e-6 * 135.0)
    for sectors, fits in ((most, True), (most + 100, False)):
        search = HighestSearch(SideGeometry.of(chain, Span(0, sectors), sound(sectors)), [LAST])
        assert search.never() is not fits
        found = search.highest()
        assert (found.reached.bound == "<") is not fits
        assert found.last_diameter == pytest.approx(292.6e-3 - 2.0 * sectors * 69e-6 / 135.0, abs=1e-9)


@pytest.mark.parametrize("reach", [0, 1, 2, 7, 67, 134])
@pytest.mark.parametrize("length", [1, 2, 5, 300])
def test_the_greatest_nearby_by_hand(length, reach):
    x = np.random.default_rng(length).normal(size=length)
    expected = [x[max(0, i - reach) : i + reach + 1].max() for i in range(length)]
    assert np.array_equal(greatest_near(x, reach), expected)


def test_a_side_under_another_chain_keeps_what_does_not_change():
    chain, _ = shipped()
    other, _ = shipped("10in", "33")
    slow, _ = shipped("12in", "45")
    side = SideGeometry.of(chain, Span(0, 500), sound(500, rise=10.0))
    assert side.under(other).walls is side.walls
    assert side.under(slow).walls is not side.walls  # the preview is half a turn, and a turn is shorter
    fresh = SideGeometry.of(slow, Span(0, 500), sound(500, rise=10.0)).walls["normal"]
    assert np.array_equal(side.under(slow).walls["normal"].up_near, fresh.up_near)
