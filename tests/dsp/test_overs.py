"""Overs between samples against closed forms, scipy's resampling, and the peak meter."""

import numpy as np
import pytest
from scipy import signal

from qc.dsp.meters.overs import NEAR, OVER, ROWS, OverSweep
from qc.dsp.meters.peaks import PeakSweep


def swept(x, gap=100.0, blocks=(10**9,)):
    sweep, at = OverSweep(gap), 0
    while at < x.shape[1]:
        for block in blocks:
            sweep.push(np.ascontiguousarray(x[:, at : at + block]))
            at += block
    return sweep.finish()


def quarter(db, frames=400, ramp=100):
    """A sine at a quarter of the rate, an eighth of a turn late: its crests lie 3.01 dB above its samples."""
    n = np.arange(frames)
    window = np.clip(np.minimum(n, frames - 1 - n) / ramp, 0.0, 1.0)
    return 10.0 ** (db / 20.0) * window * np.sin(0.5 * np.pi * n + 0.25 * np.pi)


def test_a_sine_at_a_quarter_of_the_rate_peaks_3_01_db_above_its_samples():
    x = np.zeros((2, 2000))
    x[1, 1000:1400] = quarter(20.0 * np.log10(np.sqrt(2.0)))
    assert np.abs(x).max() == pytest.approx(1.0)
    left, (right,) = swept(x)
    assert left == ()
    assert 20.0 * np.log10(right.peak) == pytest.approx(3.0103, abs=0.02)
    assert 1000 < right.first < right.peak_frame < right.last < 1400
    assert right.peak_frame % 1.0 == 0.5  # crests lie half-way between samples


@pytest.mark.parametrize(("db", "there"), [(-0.1, False), (0.0, False), (0.04, True), (1.0, True)])
def test_only_waves_above_full_scale_are_overs(db, there):
    x = np.vstack([quarter(db), np.zeros(400)])
    assert bool(swept(x)[0]) == there


@pytest.mark.parametrize("frequency", [0.02, 0.1, 0.2, 0.25, 0.3, 1.0 / 3.0])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.7, 1.1])  # at 1 dB the wave is over a quarter of a frame from a crest
def test_a_sine_of_up_to_a_third_of_the_rate_is_never_missed(frequency, phase):
    n = np.arange(4000)
    window = np.clip(np.minimum(n, 3999 - n) / 1000.0, 0.0, 1.0)
    x = np.tile(10.0 ** (1.0 / 20.0) * window * np.sin(2.0 * np.pi * (frequency * n) + phase), (2, 1))
    assert len(swept(x)[0]) == 1


def test_overs_lie_where_the_resampling_of_scipy_has_them():
    rng = np.random.default_rng(5)
    x = signal.lfilter(*signal.butter(8, 0.6), rng.standard_normal((2, 6000)))
    x[:, :200] *= np.linspace(0.0, 1.0, 200)
    x[:, -200:] *= np.linspace(1.0, 0.0, 200)
    x /= 0.8 * np.abs(x).max()
    found = swept(x, gap=0.0)
    for row, overs in zip(x, found, strict=True):
        wave = np.abs(signal.resample(row, 4 * row.size))
        between = np.arange(wave.size) % 4 != 0
        clear = np.flatnonzero(between & (wave > OVER + 0.01)) / 4.0
        assert clear.size
        for place in clear:
            assert any(over.first <= place <= over.last for over in overs)
        for over in overs:
            assert wave[round(4.0 * over.peak_frame)] == pytest.approx(over.peak, abs=0.01)


def test_the_highest_over_is_the_true_peak_of_the_side():
    rng = np.random.default_rng(6)
    x = 0.4 * rng.standard_normal((2, 5000))
    x = np.clip(x, -1.0, 1.0)
    overs, meter = swept(x), PeakSweep()
    meter.push(x)
    for its, peak in zip(overs, meter.finish()[0], strict=True):
        highest = max(its, key=lambda over: over.peak)
        assert (highest.peak, highest.peak_frame) == pytest.approx((peak.true, peak.true_frame), rel=1e-12)


@pytest.mark.parametrize("blocks", [(1,), (7, 16, 33), (15,), (128, 1, 500)])
def test_blocks_of_any_size_have_the_same_overs(blocks):
    rng = np.random.default_rng(7)
    x = np.clip(0.4 * rng.standard_normal((2, 1500)), -1.0, 1.0)
    assert swept(x, 20.0, blocks) == swept(x, 20.0)


def test_overs_are_one_up_to_the_gap_and_two_beyond_it():
    x = np.zeros((2, 3000))
    x[0, 500:900] = x[0, 1200:1600] = quarter(1.0)
    first, second = swept(x, gap=100.0)[0]
    apart = second.first - first.last
    assert len(swept(x, gap=apart)[0]) == 1
    assert len(swept(x, gap=apart - 0.25)[0]) == 2


def test_overs_that_are_too_many_to_keep_apart_are_part_of_the_last():
    beat = np.zeros((2, 64))
    beat[0, 31:33] = 0.9
    x = np.tile(beat, (1, ROWS + 100))
    left = swept(x, gap=1.0)[0]
    assert len(left) == ROWS
    assert left[-1].last == x.shape[1] - 64 + 31.75


def test_a_stream_shorter_than_the_reach_of_the_wave_is_looked_at_whole():
    x = np.zeros((2, 2))
    x[0] = 0.9
    (over,), _ = swept(x)
    assert 0.0 <= over.first <= over.last <= 1.0
    assert NEAR < 0.9 < over.peak
    assert swept(np.zeros((2, 0))) == ((), ())
