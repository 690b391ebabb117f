"""Laws of the spiral and of the budget for any side: scaling, monotonicity, superposition."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qc.groove.geometry.cut import Cutting
from qc.groove.level.budget import budget
from qc.groove.level.levels import LevelSearch
from qc.groove.signal.sector_envelopes import GrooveInput
from support.by_hand import CHAIN, ROWS, TURN, UM, envelopes, on, side, swinging, with_cut

LAWS = settings(max_examples=25, deadline=None)
SECTORS = 3000
BASE = 69.0 * UM / TURN
SEEDS = st.integers(0, 10_000)


def passages(seed, *, start=0, end=SECTORS, count=4):
    """Envelopes of a few passages, lateral and vertical."""
    rng = np.random.default_rng(seed)
    places = [(int(s), int(s) + int(rng.integers(1, 150))) for s in rng.integers(start, end - 150, count)]
    loud = on(SECTORS, *places) * rng.uniform(0.2, 1.0, SECTORS)
    return swinging(30.0 * UM * loud) | {"vertical_max": 25.0 * UM * loud, "vertical_min": -20.0 * UM * loud}


def scaled(kept, factor):
    """Envelopes as loud again; a mean square goes by the square."""
    changed = {f.name: getattr(kept, f.name) for f in fields(kept) if f.name != "signal"}
    for name, values in changed.items():
        changed[name] = values * (factor**2 if name == "a_square" else factor)
    return GrooveInput(kept.signal, **changed)


def spiral(kept, level=0.0, chain=CHAIN, polarity="normal"):
    return Cutting(side(kept, chain), level, polarity).spiral


@LAWS
@given(seed=SEEDS, tenths=st.integers(-100, 100), polarity=st.sampled_from(["normal", "inverted"]))
def test_gain_in_the_envelopes_is_cut_level(seed, tenths, polarity):
    kept, level = envelopes(SECTORS, **passages(seed)), tenths / 10.0
    louder = scaled(kept, 10.0 ** (level / 20.0))
    assert spiral(kept, level, polarity=polarity).radius == pytest.approx(
        spiral(louder, 0.0, polarity=polarity).radius, abs=1e-12
    )


@LAWS
@given(seed=SEEDS, factor=st.floats(0.3, 4.0))
def test_a_groove_as_large_again_takes_as_much_more_room(seed, factor):
    """Every length of the cut and every swing times the same: so is the travel."""
    cut = CHAIN.cut
    lengths = {
        name: factor * getattr(cut, name) for name in ("top_width", "land", "keep_width", "nominal_depth", "max_pitch")
    }
    kept = envelopes(SECTORS, **passages(seed))
    small, large = spiral(kept), spiral(scaled(kept, factor), chain=with_cut(**lengths))
    assert large.travel == pytest.approx(factor * small.travel, rel=1e-9)
    assert large.travel_least == pytest.approx(factor * small.travel_least, rel=1e-9)
    assert large.land == pytest.approx(factor * small.land, abs=1e-12)


@LAWS
@given(seed=SEEDS, louder=st.floats(1.0, 3.0), depth=st.sampled_from(["variable", "fixed"]))
def test_more_anywhere_takes_no_less_room_anywhere(seed, louder, depth):
    """Monotone at every sector, and not only at the end; also where the carriage cannot follow."""
    rng = np.random.default_rng(seed)
    start = int(rng.integers(0, SECTORS - 300))
    kept = envelopes(SECTORS, **passages(seed))
    more = {f.name: getattr(kept, f.name).copy() for f in fields(kept) if f.name != "signal"}
    for values in more.values():
        values[..., start : start + 300] *= louder
    for max_pitch in (500.0 * UM, 110.0 * UM):
        chain = with_cut(depth=depth, max_pitch=max_pitch)
        before, after = spiral(kept, chain=chain), spiral(GrooveInput(kept.signal, **more), chain=chain)
        assert np.all(after.radius <= before.radius + 1e-12)
        assert after.travel_least >= before.travel_least - 1e-12


@LAWS
@given(seed=SEEDS, polarity=st.sampled_from(["normal", "inverted"]))
def test_what_passages_far_apart_take_adds_up(seed, polarity):
    """Superposition: more than two turns apart, what both take beyond plain pitch is what each takes."""
    early = passages(seed, end=SECTORS // 2 - TURN - 68, count=2)
    late = passages(seed + 1, start=SECTORS // 2 + TURN + 68, count=2)
    extra = [
        spiral(envelopes(SECTORS, **one), polarity=polarity).travel - SECTORS * BASE
        for one in (early, late, {name: early[name] + late[name] for name in early})
    ]
    assert extra[2] == pytest.approx(extra[0] + extra[1], abs=1e-12)


@settings(max_examples=8, deadline=None)
@example(seed=3136, tenths=-1)  # two starts weigh the same but for rounding
@given(seed=SEEDS, tenths=st.integers(-60, 60))
def test_gain_in_the_envelopes_moves_every_level_of_the_budget(seed, tenths):
    """x dB more and every level is x dB less: which limit rules, the passages and their gains are the same."""
    kept = envelopes(SECTORS, **passages(seed))
    chain = replace(CHAIN, disc=replace(CHAIN.disc, outer=0.12065 + 2.0 * SECTORS * BASE + 0.0008))
    found = []
    for one in (kept, scaled(kept, 10.0 ** (tenths / 200.0))):
        there = LevelSearch(side(one, chain), ROWS)
        by_limit, recommended, _ = there.allowed()
        found.append((recommended, budget(there.side, by_limit, recommended)))
    (first, ours), (second, theirs) = found
    if first.bound or second.bound or any(one.reached.bound for one in (*ours.repairs, *theirs.repairs)):
        return  # the search has ends, which do not move
    assert second.level == pytest.approx(first.level - tenths / 10.0, abs=1e-9)
    assert theirs.ruling == ours.ruling
    assert [one.passages for one in theirs.repairs] == [one.passages for one in ours.repairs]
    assert [one.wins for one in theirs.repairs] == pytest.approx([one.wins for one in ours.repairs])
