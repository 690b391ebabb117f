"""Assumptions changed one at a time: each against a search of its own, and what must follow from the geometry."""

from dataclasses import replace

import pytest

from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.level.levels import LevelSearch
from qc.groove.level.sensitivity import assumed, sensitivity
from support.sides import NARROW, shipped, sound

SIDE = sound(60_000, swing=35.0, rise=20.0, bend=5e4, drive=500.0, seed=3)


def tried(chain=None, rows=None, envelopes=SIDE):
    own, shipped_rows = shipped()
    side = SideGeometry.of(chain or own, Span(0, envelopes.sectors), envelopes)
    return {(one.key, one.value): one for one in sensitivity(side, rows or shipped_rows)}


def test_each_comes_to_what_a_search_under_that_chain_does():
    chain, rows = shipped()
    found = tried()
    assert set(found) == {
        *(("playback.tip_radius", tip) for tip in (18e-6, 8e-6, 5e-6)),
        *(("cut.land", land) for land in (8e-6, 13e-6, 25e-6)),
        *(("cut.top_width", width) for width in (50e-6, 56e-6, 65e-6)),
        ("cut.depth", "variable"), ("cut.depth", "fixed"),
    }  # fmt: skip
    for (key, value), one in found.items():
        other = assumed(chain, key, value)
        assert one.own is (other == chain)
        _, recommended, _ = LevelSearch(SideGeometry.of(other, Span(0, 60_000), SIDE), rows).allowed()
        assert one.highest.reached == recommended, (key, value)


def test_more_never_wins_level():
    """A rounder tip, more land and a wider groove never let a side be cut louder, as long as the length rules."""
    found = tried()
    for key, values in (
        ("playback.tip_radius", (5e-6, 8e-6, 18e-6)), ("cut.land", (8e-6, 13e-6, 25e-6)),
        ("cut.top_width", (50e-6, 56e-6, 65e-6)),
    ):  # fmt: skip
        levels = [found[key, value].highest.tenths for value in values]
        assert levels == sorted(levels, reverse=True), key


def test_a_fixed_depth_is_ruled_by_the_width_that_is_left():
    """56 um less twice the rise is 25.4 um where the rise is 15.3 um: at 20 log10(15.3/60) dB of 60 um."""
    found = tried(rows=[NARROW], envelopes=sound(3_000, rise=60.0))
    assert found["cut.depth", "variable"].highest.reached.bound is None
    assert found["cut.depth", "fixed"].highest.reached.level == pytest.approx(-11.9)  # -11.87 dB, rounded down


def test_an_own_value_stands_among_the_others():
    chain, _ = shipped()
    found = tried(replace(chain, cut=replace(chain.cut, land=10e-6)), [NARROW], sound(300, rise=10.0))
    lands = [(value, one.own) for (key, value), one in found.items() if key == "cut.land"]
    assert lands == [(8e-6, False), (10e-6, True), (13e-6, False), (25e-6, False)]


def test_what_does_not_go_together_has_no_level():
    chain, _ = shipped()
    found = tried(replace(chain, cut=replace(chain.cut, keep_width=55e-6)), [NARROW], sound(300, rise=10.0))
    assert found["cut.top_width", 50e-6].highest is None
    assert found["cut.top_width", 65e-6].highest is not None


def test_the_preview_is_never_tried():
    assert not [key for key, _ in tried(envelopes=sound(300)) if "preview" in key]
