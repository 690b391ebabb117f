"""The spiral against the same thing written plainly: every demand ahead looked at in every sector."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.groove.geometry.side import greatest_near
from qc.groove.geometry.spiral import TOUCH, compute_path, compute_spiral, lookahead, travel_least
from qc.model.cutting_chain import Cut, DiscGeometry

DISCS = {speed: DiscGeometry(size="12in", speed=speed) for speed in ("33", "45")}


def taken(right, left, near, gain, cut, turn):
    """Pitch without land: two half widths and the excursions that face each other."""
    if cut.depth == "fixed":
        depth = np.full(len(right), cut.top_width / 2.0)
    else:
        depth = np.clip(cut.keep_width / 2.0 + gain * near, cut.top_width / 2.0, cut.nominal_depth)
    before = np.concatenate([np.full(turn, cut.top_width / 2.0), depth])[: len(depth)]
    inward = np.concatenate([np.zeros(turn), gain * left])[: len(depth)]
    return depth + before + np.sqrt(2.0) * (gain * right - inward)


def plainly(pitch, marks, cut, disc):
    """Advance, pitch given, land left and least possible travel, sector by sector."""
    n, turn, ahead = len(pitch), disc.sectors_a_turn, lookahead(cut, disc)
    demand = pitch + cut.land
    demand[:-1] = np.maximum(demand[:-1], demand[1:])
    base, cap, off = (cut.top_width + cut.land) / turn, cut.max_pitch / turn, turn + ahead
    shares = 1.0 / np.arange(1.0, ahead + 2.0)
    before = np.zeros(n + off + 1)
    before[: turn + 1] = base * np.arange(turn + 1)
    for i in range(-ahead, n):
        j = np.arange(max(i, 0), min(i + ahead + 1, n))
        asked = ((demand[j] + before[j - turn + 1 + off] - before[i + off]) * shares[j - i]).max(initial=0.0)
        mark = marks[i] if i >= 0 else 0.0
        before[i + 1 + off] = before[i + off] + min(max(base, asked, mark), max(cap, mark))
    given = before[off + 1 :] - before[off + 1 - turn : n + off + 1 - turn]
    left = given - pitch
    left[1:] = np.minimum(left[1:], given[:-1] - pitch[1:])
    least = np.zeros(n + turn + 1)
    least[: turn + 1] = base * np.arange(turn + 1)
    for i in range(n):
        least[i + turn + 1] = least[i + turn] + max(0.0, demand[i] + least[i + 1] - least[i + turn])
    return np.diff(before[off:]), given, left, least[-1] - least[turn]


def music(n, rng, loud):
    """Walls in m that swell and fall, with beats, rests and stretches that stay as they are."""
    swell = np.interp(np.arange(n), 40.0 * np.arange(n // 40 + 2), rng.exponential(1.0, n // 40 + 2))
    beat = 1.0 + 2.0 * (rng.random(n) < 0.05)
    rest = np.repeat(rng.random(n // 50 + 1) < 0.8, 50)[:n]
    walls = loud * swell * beat * rest * rng.uniform(0.7, 1.0, (3, n))
    return walls[0], -walls[1], walls[2] - 0.3 * loud


def agree(right, left, rise, gain, marks, cut, disc):
    near = greatest_near(rise, lookahead(cut, disc))
    pitch = taken(right, left, near, gain, cut, disc.sectors_a_turn)
    advance, given, land, least = plainly(pitch, marks, cut, disc)
    spiral = compute_spiral(right, left, near, 1.0, gain, marks, cut, disc)
    np.testing.assert_allclose(spiral.advance, advance, rtol=0.0, atol=1e-15)
    np.testing.assert_allclose(spiral.pitch, given, rtol=1e-12)
    np.testing.assert_allclose(spiral.land, land, rtol=0.0, atol=1e-15)
    np.testing.assert_allclose(spiral.radius, disc.outer / 2.0 - np.cumsum(advance), rtol=1e-12)
    assert spiral.travel == pytest.approx(advance.sum(), rel=1e-12)
    assert spiral.travel_least == pytest.approx(least, rel=1e-12)
    laid = compute_path(right, left, near, 1.0, gain, marks, cut, disc)
    assert np.array_equal(laid.radius, spiral.radius)
    touching = np.concatenate([[False], spiral.land < -TOUCH])
    overlaps = np.count_nonzero(touching[1:] & ~touching[:-1])
    assert (laid.travel, laid.overlaps) == (spiral.travel, overlaps)
    assert (laid.land, laid.tightest) == (spiral.land.min(), spiral.land.argmin())
    assert travel_least(right, left, near, 1.0, gain, cut, disc) == spiral.travel_least


@pytest.mark.parametrize("speed", ["33", "45"])
@pytest.mark.parametrize("preview", [0.0, 0.004, 0.1, 0.5, 0.93, 0.999])
@pytest.mark.parametrize("depth", ["variable", "fixed"])
def test_music_is_wound_as_if_every_demand_were_looked_at(speed, preview, depth):
    rng = np.random.default_rng(7)
    cut, disc = Cut(preview=preview, depth=depth), DISCS[speed]
    marks = np.zeros(2000)
    marks[700:850], marks[1500:1503] = 1e-3 / 150, 1e-3 / 3
    for loud in (1e-7, 5e-6, 3e-5, 3e-4):
        agree(*music(2000, rng, loud), 1.0, marks, cut, disc)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 500), st.floats(-7.0, -3.0), st.floats(0.1, 10.0),
    st.sampled_from(["33", "45"]), st.floats(0.0, 0.999), st.floats(70e-6, 800e-6), st.booleans(),
)  # fmt: skip
def test_anything_is_wound_as_if_every_demand_were_looked_at(seed, n, loud, gain, speed, preview, most, marked):
    rng = np.random.default_rng(seed)
    kinds = [
        lambda: music(n, rng, 10.0**loud),
        lambda: tuple(10.0**loud * rng.standard_normal((3, n))),
        lambda: tuple(10.0**loud * np.round(rng.standard_normal((3, n)))),  # many demands on one line
        lambda: tuple(10.0**loud * (rng.random((3, n)) < 0.01)),
    ]
    marks = np.where(rng.random(n) < 0.05, rng.exponential(2e-6, n), 0.0) if marked else np.zeros(n)
    cut = replace(Cut(), preview=preview, max_pitch=most)
    right, left, rise = kinds[seed % len(kinds)]()
    agree(right, left, rise, gain, marks, cut, DISCS[speed])


def test_turned_round_motion_is_a_negative_unity():
    rng = np.random.default_rng(3)
    right, left, rise = music(600, rng, 2e-5)
    cut, disc = Cut(), DISCS["33"]
    near = greatest_near(rise, lookahead(cut, disc))
    one = compute_spiral(right, left, near, 0.5, 1.0, np.zeros(600), cut, disc)
    other = compute_spiral(-right, -left, near, -0.5, 1.0, np.zeros(600), cut, disc)
    assert np.array_equal(one.advance, other.advance)


@pytest.mark.parametrize("reach", [0, 1, 2, 3, 7, 64, 67, 100])
def test_the_greatest_near_is_what_a_window_over_every_value_says(reach):
    x = np.random.default_rng(reach).standard_normal(300)
    padded = np.concatenate([np.full(reach, -np.inf), x, np.full(reach, -np.inf)])
    expected = [padded[i : i + 2 * reach + 1].max() for i in range(300)]
    assert greatest_near(x, reach).tolist() == expected
    assert greatest_near(x[:1], reach).tolist() == [x[0]]
