"""Loudness against a reference meter, closed forms, and itself at other rates and in other blocks."""

import numpy as np
import pyloudnorm as pyln
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.model.cutting_chain import Chain
from qc.testing.drive import run_need
from qc_standard.loudness import Loudness, ProgrammeLoudness, integrated_loudness, loudness_range

RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


def programme(rate, seconds=12.0):
    """Tones from 40 Hz to 8 kHz with a slow swell and a quiet stretch: the same wave at any rate."""
    t = np.arange(round(rate * seconds)) / rate
    swell = 0.25 + 0.15 * np.sin(2.0 * np.pi * 0.31 * t)
    swell = swell * np.where((t > 5.0) & (t < 7.0), 0.02, 1.0)
    left = sum(np.sin(2.0 * np.pi * f * t + f) / k for k, f in enumerate((40.0, 110.0, 997.0, 3100.0, 8000.0), 2))
    right = sum(np.sin(2.0 * np.pi * f * t) / k for k, f in enumerate((55.0, 220.0, 1500.0, 6200.0), 2))
    return np.vstack([left, right]) * swell


def same(a, b):
    for name in ("integrated", "range", "momentary_max", "short_term_max", "hop_s"):
        assert getattr(a, name) == getattr(b, name)
    np.testing.assert_array_equal(a.momentary, b.momentary)
    np.testing.assert_array_equal(a.short_term, b.short_term)


@pytest.mark.parametrize("seed", range(4))
def test_loudness_agrees_with_a_reference_meter(seed):
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((2, 48_000 * 10)) * 0.1
    x *= np.repeat(10.0 ** (rng.uniform(-50.0, 0.0, 20) / 20.0), 24_000)
    wanted = pyln.Meter(48_000, filter_class="DeMan").integrated_loudness(x.T)
    assert run_need(Loudness(), x, 48_000).integrated == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("rate", RATES)
def test_every_rate_reads_the_same(rate):
    wanted, got = run_need(Loudness(), programme(48_000), 48_000), run_need(Loudness(), programme(rate), rate)
    assert got.integrated == pytest.approx(wanted.integrated, abs=0.01)
    assert got.range == pytest.approx(wanted.range, abs=0.01)
    for kind in ("momentary_max", "short_term_max"):
        a, b = getattr(got, kind), getattr(wanted, kind)
        assert a.loudness == pytest.approx(b.loudness, abs=0.01)
        assert a.start_s == pytest.approx(b.start_s, abs=0.011)


@settings(max_examples=25, deadline=None)
@given(
    frames=st.integers(1, 8000 * 5),
    sizes=st.lists(st.one_of(st.integers(0, 50), st.integers(0, 20_000)), max_size=8),
)
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = programme(8000, 5.0)[:, :frames].copy()
    x[:, 9000:30_000] = 0.0  # long enough for the filter to ring out
    same(run_need(Loudness(), x, 8000, frames), run_need(Loudness(), x, 8000, sizes))


@pytest.mark.parametrize("level", [-23.0, -33.0])
def test_a_steady_tone_reads_the_same_all_along(level):
    """EBU Tech 3341, cases 1 and 2: every window, of which a report gives the greatest only."""
    x = 10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(20 * 48_000) / 48_000)
    result = run_need(Loudness(), np.vstack([x, x]), 48_000)
    assert (len(result.momentary), len(result.short_term)) == (197, 171)  # one each 100 ms
    np.testing.assert_allclose(result.momentary, level, atol=0.1)
    np.testing.assert_allclose(result.short_term, level, atol=0.1)


def published_of(x):
    need = ProgrammeLoudness.of(Chain())
    return need.publish(run_need(need, x, 48_000))


def test_numbers_have_names_and_places():
    x = np.zeros((2, 48_000 * 10))
    t = np.arange(48_000 * 4) / 48_000
    x[:, 48_000 * 5 : 48_000 * 9] = 0.1 * np.sin(2.0 * np.pi * 1000.0 * t)
    published = published_of(x)
    assert {name: q.unit for name, q in published.items()} == dict(ProgrammeLoudness.publishes)
    assert published["loudness.integrated"].value == pytest.approx(-20.3, abs=0.1)  # blocks half in silence count
    for name, length in (("loudness.momentary_max", 0.4), ("loudness.short_term_max", 3.0)):
        at = published[name].at
        assert at.end_s - at.start_s == pytest.approx(length)
        assert at.start_s >= 4.99
        assert at.end_s <= 9.01


@pytest.mark.parametrize("level", [0.0, 1e-5])
def test_audio_below_the_absolute_gate_has_a_bound(level):
    x = level * np.sin(2.0 * np.pi * 1000.0 * np.arange(48_000 * 4) / 48_000)
    published = published_of(x)
    assert set(published) == set(ProgrammeLoudness.publishes) - {"loudness.range"}
    assert {(q.value, q.bound, q.at) for q in published.values()} == {(-70.0, "<", None)}


@pytest.mark.parametrize(
    ("frames", "names"),
    [
        (1, set()),
        (19_199, set()),
        (19_200, {"loudness.integrated", "loudness.momentary_max"}),
        (48_000 * 3 - 1, {"loudness.integrated", "loudness.momentary_max"}),
        (48_000 * 3, set(ProgrammeLoudness.publishes)),
    ],
)
def test_audio_shorter_than_a_window_has_no_loudness(frames, names):
    x = 0.1 * np.sin(np.arange(frames))
    assert set(published_of(x)) == names


def test_mono_is_dual_mono():
    x = programme(48_000)[0]
    same(run_need(Loudness(), x, 48_000), run_need(Loudness(), np.vstack([x, x]), 48_000))


def test_997_hz_at_full_scale_in_one_channel_reads_minus_3_01():
    x = np.zeros((2, 48_000 * 5))
    x[0] = np.sin(2.0 * np.pi * 997.0 * np.arange(48_000 * 5) / 48_000)
    assert run_need(Loudness(), x, 48_000).integrated == pytest.approx(-3.01, abs=0.01)


def energy(levels):
    return 10.0 ** ((np.asarray(levels) + 0.691) / 10.0)


def test_quiet_windows_are_gated():
    assert integrated_loudness(np.zeros(0)) is None
    assert integrated_loudness(energy([-71.0, -90.0])) == -np.inf
    # -71 fails the absolute gate, -40 lies more than 10 LU below the mean of the others
    assert integrated_loudness(energy([-20.0, -20.0, -40.0, -71.0])) == pytest.approx(-20.0)
    assert loudness_range(energy([-71.0])) is None
    levels = np.linspace(-30.0, -20.0, 101)
    assert loudness_range(energy([*levels, -71.0, -60.0])) == pytest.approx(8.5)
