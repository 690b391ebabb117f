"""One side on every disc: closed forms of silence, each disc against a search of its own, and the words for it."""

from dataclasses import replace

import pytest

from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.level.levels import LevelSearch
from qc.model.cutting_chain import Signal
from qc.plan.formats import Format, compare
from support.sides import DEEP, LAST, every_disc, row, shipped, sound

OUTER = {"12in": 292.6, "10in": 241.8, "7in": 168.3}
LEAST = {"12in": 120.65, "10in": 120.65, "7in": 107.95}
TURNS = {"33": 100.0 / 3.0, "45": 45.0}


def fitted(envelopes, integrated=-18.0, discs=None):
    discs = discs or every_disc()
    span = Span(0, envelopes.sectors)
    found = compare(span, envelopes, [Format(*one) for one in discs.values()], integrated)
    return dict(zip(discs, found, strict=True))


@pytest.mark.parametrize("minutes", [4, 10, 16, 25, 40])
def test_silence_ends_where_its_turns_end(minutes):
    """Turns of 69 um from the outer diameter, and too long where that is inside the least last diameter."""
    for (size, speed), found in fitted(sound(minutes * 4_500)).items():
        ends = OUTER[size] - 2.0 * 0.069 * minutes * TURNS[speed]
        assert found.highest.last_diameter * 1e3 == pytest.approx(ends, abs=1e-6)
        assert (found.fit == "too_long") is (ends < LEAST[size] - 0.01), (size, speed, ends)
        assert found.highest.reached.bound == ("<" if found.fit == "too_long" else ">")


def test_each_disc_comes_to_what_its_own_search_does():
    envelopes = sound(50_000, swing=35.0, rise=20.0, bend=4e4, drive=500.0)
    discs = every_disc()
    for disc, found in fitted(envelopes).items():
        chain, rows = discs[disc]
        search = LevelSearch(SideGeometry.of(chain, Span(0, 50_000), envelopes), rows)
        _, recommended, _ = search.allowed()
        assert found.highest.reached == recommended, disc
        assert found.level_on_disc == pytest.approx(-18.0 + 18.0 + recommended.level)


ON_DISC = replace(row("groove.level_on_disc", ">=", -12.0, "LU"), warn=-6.0, sets_level=None)


@pytest.mark.parametrize(
    ("loudness", "fit"), [(-18.0, "fits"), (-24.0, "fits"), (-24.1, "quiet"), (-30.0, "quiet"), (-30.1, "too_quiet")]
)
def test_a_level_on_the_disc_may_be_too_quiet(loudness, fit):
    """Cut at 0 dB, -18 LUFS is 0 LU on the disc; it warns below -6 and fails below -12 LU."""
    chain, _ = shipped()
    # 15 um + 1.8 Y at 0 dB is the deepest: a bound there is reached at 0 dB and not at 0.1
    side = sound(2_000, rise=50.0)
    deep = replace(DEEP, fail=15.0 + 1.8 * 50.0)
    found = fitted(side, loudness, {"one": (chain, (deep, LAST, ON_DISC))})["one"]
    assert found.highest.reached.level == 0.0
    assert found.highest.reached.by is deep
    assert (found.fit, found.level_on_disc) == (fit, pytest.approx(loudness + 18.0))


def test_without_loudness_there_is_no_level_on_the_disc():
    found = fitted(sound(2_000, rise=10.0), None)
    assert {one.level_on_disc for one in found.values()} == {None}
    assert {one.fit for one in found.values()} == {"fits"}


def test_a_limit_that_never_holds_is_not_one_of_length():
    chain, _ = shipped()
    never = row("groove.top_width_min", ">=", 60.0, "um")
    assert fitted(sound(2_000), -18.0, {"one": (chain, (LAST, never))})["one"].fit == "too_quiet"


def test_a_disc_that_is_heard_through_another_signal_is_not_compared():
    discs = dict(every_disc())
    chain, rows = discs["10in", "33"]
    discs["10in", "33"] = (replace(chain, signal=Signal(bass_mono=150.0)), rows)
    found = fitted(sound(3_000, swing=10.0), -18.0, discs)
    assert found["10in", "33"].fit == "other_signal"
    assert found["10in", "33"].highest is None
    assert all(one.highest is not None for disc, one in found.items() if disc != ("10in", "33"))
