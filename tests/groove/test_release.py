"""Which level each side of a disc is judged at: laws of the decision, held against its plain definition."""

from __future__ import annotations

from hypothesis import assume, given
from hypothesis import strategies as st

from qc.groove.level.levels import Reached
from qc.groove.level.release import DiscDecision, SideLevels, by_discs

LEVELS = st.integers(-400, 200).map(lambda tenths: tenths / 10.0)
OPTIONS = st.one_of(st.none(), st.sampled_from(["release", "recommended", "clean"]), LEVELS)


@st.composite
def sides(draw):
    """The sides of one disc: free or with a cut level, measured or not, fitting or not."""
    found = []
    for name in "AB"[: draw(st.integers(1, 2))]:
        recommended = draw(st.none() | LEVELS.map(Reached) | st.just(Reached(-40.0, "<")))
        clean = None if recommended is None else Reached(draw(LEVELS))
        found.append(SideLevels(name, draw(st.none() | LEVELS), recommended, clean))
    return tuple(found)


def fits(side):
    return side.recommended is not None and side.recommended.bound is None


@given(sides())
def test_the_release_level_is_the_lowest_recommended_level_of_the_free_sides(disc):
    free = [side.recommended.level for side in disc if side.requested is None and fits(side)]
    decision = DiscDecision(disc)
    assert (decision.release and decision.release.level) == (min(free) if free else None)
    for side in disc:
        level = decision.level_of(side)
        if side.requested is None and fits(side):
            assert (level.level, level.basis, level.requested) == (min(free), "release", None)
            assert level.level <= side.recommended.level


@given(sides(), LEVELS, LEVELS)
def test_a_side_with_a_level_of_its_own_keeps_it_and_changes_no_other(disc, requested, recommended):
    before = DiscDecision((disc[0],))
    other = SideLevels("B", requested, Reached(recommended), Reached(recommended))
    after = DiscDecision((disc[0], other))
    assert after.release == before.release
    assert after.level_of(disc[0]) == before.level_of(disc[0])
    assert after.level_of(other).level == after.level_of(other).requested == requested


@given(sides())
def test_each_judges_every_free_side_at_its_own_recommended_level(disc):
    decision = DiscDecision(disc, each=True)
    assert decision.release is None
    for side in disc:
        if side.requested is None and side.recommended is not None:
            assert decision.level_of(side).level == side.recommended.level
            assert decision.level_of(side).requested is None


@given(sides(), LEVELS)
def test_a_level_by_number_beats_every_other(disc, level):
    for each in (False, True):
        decision = DiscDecision(disc, level, each)
        for side in disc:
            found = decision.level_of(side)
            assert (found.level, found.basis, found.requested) == (level, "given", level)
        assert decision.release == DiscDecision(disc, each=each).release


@given(sides(), st.booleans())
def test_release_as_an_option_frees_every_side(disc, each):
    free = tuple(SideLevels(side.side, None, side.recommended, side.clean) for side in disc)
    asked, plain = DiscDecision(disc, "release", each), DiscDecision(free)
    assert asked.release == plain.release
    for one, other in zip(disc, free, strict=True):
        if one.recommended is not None:
            assert asked.level_of(one).level == plain.level_of(other).level


@given(sides(), st.sampled_from(["recommended", "clean"]))
def test_an_option_by_name_is_that_level_of_each_side(disc, option):
    for side in disc:
        assume(side.recommended is not None)
        assert DiscDecision(disc, option).level_of(side).level == getattr(side, option).level


@given(sides(), OPTIONS)
def test_what_cannot_count_is_left_out_and_named(disc, option):
    decision = DiscDecision(disc, option)
    free = [side for side in disc if side.requested is None or option == "release"]
    assert decision.unmeasured == tuple(side.side for side in free if side.recommended is None)
    assert decision.unfit == tuple(side.side for side in free if side.recommended and side.recommended.bound)
    assert {side.side for side in decision.deciding} == {side.side for side in free} - {
        *decision.unmeasured, *decision.unfit
    }  # fmt: skip


@given(st.integers(0, 9))
def test_sides_lie_on_discs_two_by_two(count):
    discs = list(by_discs(range(count)))
    assert [side for disc in discs for side in disc] == list(range(count))
    assert all(len(disc) == 2 for disc in discs[:-1])
    assert not discs or len(discs[-1]) == (2 if count % 2 == 0 else 1)
