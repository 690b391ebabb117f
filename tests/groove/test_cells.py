"""Cells of 1 ms: what is kept of them, and the shares of time that are counted in them."""

from dataclasses import replace

import numpy as np
import pytest

from qc.groove.geometry.at_radius import at_radius
from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import trace
from qc.groove.signal.cells import MOST, NONE, UNITS, edges, still
from qc.plan.running_order import joined, silence
from qc.testing.deliveries import Sent
from support import by_hand
from support.by_hand import CHAIN, heard, side
from support.signals import both, opposed

SPEED = 2.0 * np.pi * (100.0 / 3.0) / 60.0
UNITY = CHAIN.cut.unity_velocity


def bursts(hz, peak, rate, seconds, starts, long):
    """A sine that is there for `long` s from each start on, at zero crossings, with 5 ms of fading in and out."""
    x = np.zeros(round(seconds * rate))
    t = np.arange(round(long * rate)) / rate
    shape = np.minimum(1.0, np.minimum(t, t[::-1]) / 0.005)
    for start in starts:
        x[round(start * rate) :][: len(t)] = peak * shape * np.sin(2.0 * np.pi * hz * t)
    return x


@pytest.mark.parametrize("rate", [88_200, 96_000])
def test_edges_part_a_sector_where_milliseconds_of_the_file_begin(rate):
    size = rate // 75
    for third, row in enumerate(edges(rate)):
        frames = np.arange(third * size, (third + 1) * size)
        new = np.flatnonzero(np.diff(frames * 1000 // rate)) + 1
        assert sorted(set(row.tolist()) - {0, size}) == new.tolist()


@pytest.mark.parametrize("rate", [44_100, 48_000, 88_200, 96_000])
def test_each_cell_has_the_greatest_moment_of_its_millisecond(rate):
    """A tone that is as loud as its number in one millisecond after the other, at its crests."""
    frames = rate // 2 + 77
    t = np.arange(frames) / rate
    cell = (1000 * np.arange(frames)) // rate
    loud = 0.1 + 0.9 * np.random.default_rng(3).uniform(size=cell[-1] // 25 + 1)[cell // 25]
    kept = heard(both(loud * np.sin(2.0 * np.pi * 4_000.0 * t)), rate)
    there = kept.lateral_v_cells.T
    found = there[there >= 0.0].astype(np.float64)
    assert len(found) == cell[-1] + 1
    expected = loud[np.searchsorted(cell, np.arange(len(found)))]
    inside = np.arange(len(found)) % 25
    calm = (inside > 5) & (inside < 20) & (np.arange(len(found)) > 10)
    ratio = found[calm] / expected[calm]
    assert ratio.max() / ratio.min() < 1.006
    assert kept.lateral_v_cells.shape == (MOST, kept.sectors)
    moved = there.max(axis=1).astype(np.float64) * UNITS["lateral_v_cells"]
    np.testing.assert_allclose(moved, kept.lateral_v, rtol=0.01)
    bent = kept.a_cells.max(axis=0).astype(np.float64) * UNITS["a_cells"]
    np.testing.assert_allclose(bent, kept.a_abs.max(axis=0), rtol=0.05)


@pytest.mark.parametrize(("name", "way"), [("lateral", both), ("vertical", opposed)])
def test_a_tone_burst_of_known_length_is_a_known_share(judged, name, way):
    """5 bursts of 0.2 s in the worst 10 s, of slope 1.5 and later 3: a tenth of the time, and a tenth beyond 2."""
    rate, hz = 48_000, 3_000.0
    radius = 0.1463 - 0.001
    gain = 10.0 ** (-18.0 / 20.0) / 0.05  # of a lateral velocity in m/s, before the recording curve
    curve = 1.725  # 3 kHz lies 4.740 dB up (table 1a)
    loud = SPEED * radius * gain / curve
    slow = bursts(hz, 1.5 * loud, rate, 26.0, [1.0, 3.0, 5.0, 7.0, 9.0], 0.2)
    fast = bursts(hz, 3.0 * loud, rate, 26.0, [14.0, 16.0], 0.2)
    report = judged({"A": Sent(way(slow + fast), rate, coding="FLOAT", more={"cut_level": "0 dB"})})
    assert report.value(f"groove.{name}_slope_time") == pytest.approx(0.1, abs=0.004)
    assert report.value(f"groove.{name}_slope_time_twice") == pytest.approx(0.04, abs=0.002)
    place = report.side()["measurements"][f"groove.{name}_slope_time_twice"]["at"]
    assert 14.0 <= place["start_s"] <= 16.2


def counted(kept, chain, share, cutting):
    """Most cells beyond in a window and their number, by sliding over all of them one by one."""
    cells = getattr(kept, share.cells).T.astype(np.float64) * UNITS[share.cells]
    speed = cutting.speed[:, None]
    allowed = speed if share.slope else speed**2 / chain.playback.tip_radius
    ratio = (cutting.scale * cells / allowed)[cells >= 0.0]
    window = min(share.seconds * 1000, len(ratio))
    run = np.concatenate([[0], np.cumsum(ratio > share.times)])
    return (run[window:] - run[:-window]).max() / window


def noisy(sectors, seed):
    """Envelopes whose cells are noise that swells, near the limits at 0 dB."""
    rng = np.random.default_rng(seed)
    kept = by_hand.envelopes(sectors)
    swell = np.repeat(rng.uniform(0.1, 1.4, sectors // 30 + 1), 30)[:sectors]
    made = {}
    for name, most in (("lateral_v_cells", 1.3), ("vertical_v_cells", 1.5), ("a_cells", 9e4), ("sibilance_cells", 1e5)):
        noise = swell * rng.uniform(0.0, most / UNITY, (MOST, sectors)) / UNITS[name]
        made[name] = np.where(still(sectors) < 0.0, NONE, noise).astype(np.float16)
    return replace(kept, **made)


@pytest.mark.parametrize("sectors", [40, 749, 750, 751, 2_000])
@pytest.mark.parametrize("name", TIMES)
def test_the_worst_window_is_the_one_found_cell_by_cell(sectors, name):
    kept = noisy(sectors, sectors)
    cutting = Cutting(side(kept), 0.0, "normal")
    expected = counted(kept, CHAIN, TIMES[name], cutting)
    assert cutting.measure(name).value == expected
    found = trace(cutting, name)
    assert found.values.max() == expected
    assert found.worst().value == expected
    assert expected == 0.0 or found.worst().start == cutting.measure(name).start


def test_windows_run_over_the_joints_of_another_running_order():
    """Where tracks are put in another order a sector may have a cell more or less than its place has."""
    first, second = noisy(1_001, 1), noisy(902, 2)
    kept = joined([first, silence(first, 149), second])
    cutting = Cutting(side(kept), 0.0, "normal")
    for name, share in TIMES.items():
        assert cutting.measure(name).value == counted(kept, CHAIN, share, cutting)


def test_sectors_left_out_of_a_trace_count_for_nothing():
    kept = noisy(1_500, 4)
    cutting = Cutting(side(kept), 0.0, "normal")
    without = np.zeros(1_500, np.bool_)
    without[300:900] = True
    found = trace(cutting, "groove.lateral_slope_time", without)
    muted = replace(kept, lateral_v_cells=np.where(without & (kept.lateral_v_cells > 0.0), 0.0, kept.lateral_v_cells))
    alone = Cutting(side(replace(muted, lateral_v_cells=muted.lateral_v_cells.astype(np.float16))), 0.0, "normal")
    assert found.worst().value == counted(alone.side.envelopes, CHAIN, TIMES["groove.lateral_slope_time"], alone)


def test_nothing_beyond_is_no_share_and_lies_about_the_greatest_moment():
    kept = noisy(2_000, 5)
    cutting = Cutting(side(kept), -30.0, "normal")
    worst = cutting.measure("groove.sibilance_time")
    assert worst.value == 0.0
    assert worst.start <= worst.sector < worst.end
    assert worst.end - worst.start == 75


def test_at_one_radius_slopes_go_by_it_and_curvature_by_its_square():
    """Twice as far out allows twice the slope and four times the curvature: so many dB more give the same shares."""
    kept = side(noisy(1_600, 6))
    near = at_radius(kept, -6.0206, 0.07)
    far = at_radius(kept, 0.0, 0.14)
    further = at_radius(kept, 6.0206, 0.14)
    for name, value in near.items():
        same = further if "tracing" in name or "sibilance" in name else far
        assert same[name] == pytest.approx(value, abs=2e-3)


def test_half_precision_keeps_a_share_right():
    """Numbers from a limit at the quietest cut and the slimmest tip to one at the loudest keep 0.05 %."""
    for unit, least, most in ((1.0, 0.04, 2_000.0), (4096.0, 400.0, 2e8)):
        values = np.geomspace(least, most, 2_000)
        kept = (values / unit).astype(np.float32).astype(np.float16).astype(np.float64) * unit
        assert np.abs(kept / values - 1.0).max() < 5e-4
