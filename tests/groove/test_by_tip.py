"""The level under another tip against a search of its own under a chain with that tip."""

from dataclasses import replace

import pytest

from qc.groove.geometry.cut import MEASURES, Cutting
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.level.by_tip import OF_TIP, TipSearch, enters, with_tip
from qc.groove.level.levels import LevelSearch
from qc.groove.level.rows import EDGE, LevelPolicy
from qc.model.cutting_chain import NamedTip
from support.sides import shipped, sound

CASES = [
    # sectors, then what the side holds: limited by the curvature twice, the length, the width, nothing, and too long
    (20_000, {"swing": 10.0, "bend": 9e4}),
    (30_000, {"swing": 35.0, "rise": 20.0, "bend": 5e4, "drive": 500.0}),
    (40_000, {"swing": 60.0, "rise": 5.0, "bend": 1e3}),
    (9_000, {"swing": 5.0, "rise": 60.0}),
    (6_000, {"swing": 0.01}),
    (300, {"swing": 80.0, "rise": 80.0, "bend": 9e6, "drive": 9e4}),
    (190_000, {"swing": 1.0}),
]


def searched(chain, sectors, envelopes, rows):
    search = LevelSearch(SideGeometry.of(chain, Span(0, sectors), envelopes), rows)
    return search, *search.allowed()


@pytest.mark.parametrize(("sectors", "holds"), CASES)
@pytest.mark.parametrize("policy", [EDGE, LevelPolicy("margin", 0.35)], ids=["edge", "margin"])
def test_each_tip_comes_to_what_a_search_under_its_chain_does(sectors, holds, policy):
    chain, rows = shipped()
    envelopes = sound(sectors, seed=3, **holds)
    search, by_limit, _, _ = searched(chain, sectors, envelopes, rows)
    tips = TipSearch(search, by_limit, policy)
    for radius in (18e-6, 5e-6):
        under, _, edge, _ = searched(with_tip(chain, radius), sectors, envelopes, rows)
        found, expected = tips.highest(radius), under.recommended(edge, policy)
        assert (found.edge, found.reached) == (edge, expected), radius
        ends = under.worst("groove.last_diameter", expected.level)[0].value
        assert found.last_diameter == pytest.approx(ends, abs=1e-12)


def test_a_rounder_tip_takes_less_level_where_curves_limit_it():
    chain, rows = shipped()
    search, by_limit, edge, _ = searched(chain, 20_000, sound(20_000, swing=10.0, bend=9e4), rows)
    levels = [TipSearch(search, by_limit).highest(radius).reached.level for radius in (18e-6, 12e-6, 5e-6)]
    assert levels[0] < levels[1] < edge.level < levels[2]


def test_the_measurements_of_the_tip_are_those_that_it_moves():
    chain, _ = shipped()
    envelopes = sound(3_000, swing=20.0, rise=10.0, bend=9e4, drive=500.0)
    moved = set()
    for level in (-6.0, 6.0):  # shares are 0 or 1 at a level too low or too high for them
        cuttings = [
            Cutting(SideGeometry.of(with_tip(chain, radius), Span(0, 3_000), envelopes), level, "normal")
            for radius in (18e-6, 5e-6)
        ]
        moved |= {name for name in MEASURES if cuttings[0].measure(name) != cuttings[1].measure(name)}
    assert moved == OF_TIP


def test_a_tip_wider_than_the_groove_does_not_enter_it():
    chain, _ = shipped()
    narrow = replace(chain, cut=replace(chain.cut, top_width=25e-6))  # walls 25.5 um apart where 18 um touch them
    assert enters(chain, NamedTip("spherical", 18e-6, 18e-6))
    assert not enters(narrow, NamedTip("spherical", 18e-6, 18e-6))
    assert not enters(narrow, NamedTip("elliptical", 8e-6, 18e-6))
    assert enters(narrow, NamedTip("line contact", 5e-6))
