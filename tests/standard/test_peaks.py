"""Peaks of a side as published."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.model.cutting_chain import Chain
from qc.testing.drive import run_need
from qc_standard.peaks import Peaks

NOISE = np.random.default_rng(3).standard_normal((2, 5000)) * 0.2


def published(x, rate=48_000):
    return Peaks().publish(run_need(Peaks.of(Chain()), x, rate))


def test_peaks_have_level_channel_and_place():
    x = np.zeros((2, 48_000))
    x[1] = 0.01
    x[0, 12_000] = -0.5
    x[1, 24_000] = 0.25
    found = published(x)
    assert {name: q.unit for name, q in found.items()} == dict(Peaks.publishes)
    peak = found["level.sample_peak"]
    assert peak.value == pytest.approx(20.0 * np.log10(0.5))
    assert (peak.at.channel, peak.at.start_s) == ("left", 0.25)
    assert found["level.true_peak"].value == pytest.approx(peak.value)
    offset = found["level.dc_offset"]
    assert offset.value == pytest.approx(20.0 * np.log10(x[1].mean()))
    assert offset.at.channel == "right"


def test_true_peak_lies_between_samples():
    n = np.arange(4000)
    x = 0.5 * np.clip(n / 1000.0, 0.0, 1.0) * np.sin(0.5 * np.pi * n + 0.25 * np.pi)
    found = published(np.vstack([0.9 * x, x]), 192_000)
    assert found["level.sample_peak"].value == pytest.approx(-9.03, abs=0.01)
    assert -6.4 <= found["level.true_peak"].value <= -5.8
    assert found["level.true_peak"].at.channel == "right"


def test_clipped_runs_of_both_channels_are_counted():
    x = np.clip(NOISE * 20.0, -1.0, 1.0)
    x[:, 2500:2520] = 0.0
    x[1, 2501:2519] = 1.0
    found = published(x)["level.clipped_runs"]
    assert found.value > 2
    assert (found.at.channel, found.at.start_s) == ("right", 2501 / 48_000)
    none = published(NOISE)["level.clipped_runs"]
    assert (none.value, none.at) == (0, None)


def test_flat_tops_of_both_channels_are_counted_and_placed():
    x = 0.1 * NOISE
    x[0, 1000:1005] = 0.6
    x[1, 2000:2009] = -0.4
    found = published(x)
    assert found["level.clipped_runs"].value == 0
    flat = found["level.flat_top_runs"]
    assert (flat.value, flat.at.channel, flat.at.start_s) == (2, "right", 2000 / 48_000)
    none = published(NOISE)["level.flat_top_runs"]
    assert (none.value, none.at) == (0, None)


def test_digital_silence_has_a_bound():
    found = published(np.zeros((2, 1000)))
    for name in ("level.sample_peak", "level.true_peak", "level.dc_offset"):
        assert (found[name].value, found[name].bound, found[name].at) == (-200.0, "<", None)
    assert found["level.clipped_runs"].value == 0


@settings(max_examples=40, deadline=None)
@given(frames=st.integers(1, 5000), sizes=st.lists(st.integers(0, 2000), max_size=8))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = np.clip(NOISE[:, :frames] * 4.0, -1.0, 1.0)
    assert run_need(Peaks(), x, 48_000, frames) == run_need(Peaks(), x, 48_000, sizes)


def test_a_file_of_one_frame_is_measured():
    found = published(np.array([[0.5], [0.25]]))
    assert found["level.sample_peak"].value == pytest.approx(-6.02, abs=0.01)
    assert found["level.true_peak"].value == pytest.approx(-6.02, abs=0.01)
    assert found["level.true_peak"].at.start_s == 0.0
