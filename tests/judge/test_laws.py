"""Laws that hold for any programme, by hypothesis, through the pass and the command."""

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.audio import source as source_module
from qc.testing.deliveries import Sent
from qc.testing.music import Song, song
from support.signals import both

SLOW = settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def music():
    return 0.6 * song(Song(4.0, 48_000, seed=5, tempo=110.0, cymbals=1.5, bass_width=0.2))


def numbers(report, side="A"):
    """Every measured number of a side, and every level."""
    one = report.side(side)
    found = {name: quantity["value"] for name, quantity in one["measurements"].items()}
    found |= {name: reached["level"]["value"] for name, reached in one["levels"]["by_limit"].items()}
    return found


def assert_same(one, other, tolerance, *, without=()):
    assert one.keys() == other.keys()
    for name, value in one.items():
        if not name.startswith(tuple(without) or ("\0",)):
            assert other[name] == pytest.approx(value, rel=tolerance, abs=tolerance), name


@SLOW
@given(block=st.integers(700, 90_000), size=st.integers(500, 50_000), workers=st.integers(1, 3))
def test_block_size_and_workers_change_no_number(judged, music, block, size, workers):
    side = {"A": Sent(music, more={"cut_level": "-2 dB"})}
    usual = numbers(judged(side))
    before = source_module.BLOCK, source_module.SLICE
    source_module.BLOCK, source_module.SLICE = max(block, size), size
    try:
        other = numbers(judged(side, "--workers", str(workers)))
    finally:
        source_module.BLOCK, source_module.SLICE = before
    assert_same(usual, other, 1e-9)


FLOAT32 = 2e-6
"""What 24 bits leave of a ratio: the top's sums and the derivatives are float32, and round 1.1 times a wave elsewhere
than the wave itself. A gain by a power of two rounds nothing; that law holds to the last digits."""


@SLOW
@given(doubled=st.integers(-2, 1))
def test_gain_by_a_power_of_two_is_cut_level_to_the_last_digits(judged, music, doubled):
    level = 20.0 * doubled * math.log10(2.0)
    exact = {"coding": "DOUBLE"}
    one = judged({"A": Sent(music, more={"cut_level": f"{level!r} dB"}, **exact)})
    two = judged({"A": Sent(2.0**doubled * music, more={"cut_level": "0 dB"}, **exact)})
    grooves = [
        {k: v for k, v in numbers(report).items() if k.startswith("groove.") and "/" not in k and "level" not in k}
        for report in (one, two)
    ]
    assert_same(*grooves, 1e-9)


@pytest.mark.long
@SLOW
@given(tenths=st.integers(-80, 30))
def test_gain_in_the_file_is_cut_level(judged, music, tenths):
    """x dB in the file and x dB less to cut give the same groove, and move the recommendation by -x."""
    gain = tenths / 10.0
    louder = 10.0 ** (gain / 20.0) * music
    exact = {"coding": "DOUBLE"}  # a float file would round the louder samples differently
    one = judged({"A": Sent(music, more={"cut_level": f"{gain:.1f} dB"}, **exact), "F": Sent(music, **exact)})
    two = judged({"A": Sent(louder, more={"cut_level": "0 dB"}, **exact), "F": Sent(louder, **exact)})
    grooves = [
        {k: v for k, v in numbers(report).items() if k.startswith("groove.") and "/" not in k and "level" not in k}
        for report in (one, two)
    ]
    for name in ("groove.playback_residual", "groove.top_loss"):  # estimated from cells, which are in half precision
        there = [{k: groove.pop(k) for k in list(groove) if k.startswith(name)} for groove in grooves]
        assert there[0] == pytest.approx(there[1], abs=0.005)
    # a second difference of displacements that are rounded to 24 bits each: of its four roundings two do not cancel
    peaks = [groove.pop("groove.acceleration_peak") for groove in grooves]
    assert peaks[0] == pytest.approx(peaks[1], rel=2.0 * FLOAT32)
    assert_same(*grooves, FLOAT32)
    moved = one.value("groove.recommended_level", "F") - two.value("groove.recommended_level", "F")
    assert moved == pytest.approx(gain, abs=1e-6)
    outcomes = [
        {r["check"]: r["outcome"] for r in report.report["results"] if r["side"] == "F" and "groove" in r["check"]}
        for report in (one, two)
    ]
    assert outcomes[0] == outcomes[1]


@SLOW
@given(seed=st.integers(0, 1000), level=st.integers(-10, 6))
def test_both_channels_inverted_change_nothing(judged, seed, level):
    x = np.random.default_rng(seed).standard_normal((2, 30_000)) * 0.05
    x[0] += 0.02  # lopsided, so that the polarities differ
    more = {"cut_level": f"{level} dB"}
    report = judged({"A": Sent(x, more=more), "B": Sent(-x, more=more)})
    assert_same(numbers(report), numbers(report, "B"), 1e-9)


@pytest.mark.long
@SLOW
@given(levels=st.lists(st.integers(-30, 15), min_size=2, max_size=3, unique=True))
def test_travel_never_falls_as_the_level_rises(judged, music, levels):
    """Travel never falls as the level rises; the recommended level does not depend on the judged one."""
    report = judged({f"S{i}": Sent(music, more={"cut_level": f"{level} dB"}) for i, level in enumerate(levels)})
    travels = sorted((level, report.value("groove.travel", f"S{i}")) for i, level in enumerate(levels))
    assert all(later[1] >= earlier[1] for earlier, later in pairwise(travels))
    recommended = {report.value("groove.recommended_level", f"S{i}") for i in range(len(levels))}
    clean = {report.value("groove.clean_level", f"S{i}") for i in range(len(levels))}
    assert len(recommended) == len(clean) == 1


def test_container_and_coding_change_nothing(judged, music):
    """WAV = RF64 = AIFF = FLAC for the same 24-bit samples."""
    whole = np.round(music * 2.0**23) / 2.0**23
    report = judged({kind: Sent(whole, container=kind, coding="PCM_24") for kind in ("WAV", "RF64", "AIFF", "FLAC")})
    for kind in ("RF64", "AIFF", "FLAC"):
        assert_same(numbers(report, "WAV"), numbers(report, kind), 1e-12)


def test_codings_agree_within_their_steps(judged, music):
    codings = {"PCM_16": 2e-3, "PCM_24": 1e-5, "PCM_32": 1e-6, "DOUBLE": 1e-6}
    sides = {c.replace("_", ""): Sent(music, coding=c, more={"cut_level": "-2 dB"}) for c in codings}
    report = judged(sides | {"FLOAT": Sent(music, more={"cut_level": "-2 dB"})})
    for coding, tolerance in codings.items():
        for name in ("groove.travel", "groove.wall_velocity_peak", "loudness.integrated", "level.true_peak"):
            expected = report.value(name, "FLOAT")
            assert report.value(name, coding.replace("_", "")) == pytest.approx(expected, rel=tolerance, abs=tolerance)


def test_mono_is_judged_as_the_dual_mono_it_is_cut_as(judged, music):
    mono = music.mean(axis=0)
    report = judged({"A": Sent(mono), "B": Sent(both(mono))})
    one, other = numbers(report), numbers(report, "B")
    assert one.pop("audio.channels") == 1.0
    assert other.pop("audio.channels") == 2.0
    for name in ("stereo.difference", "programme.dead_longest", "programme.dead_share"):  # of two channels alone
        assert name not in one
        del other[name]
    for name in [name for name in other if name.startswith("stereo.balance_") and name.endswith("hz")]:
        assert name not in one
        assert other.pop(name) == 0.0
    for name in [name for name in other if name.startswith("stereo.correlation_") and name.endswith("hz")]:
        assert name not in one
        assert other.pop(name) == pytest.approx(1.0, abs=1e-6)  # from power spectra in single precision
    assert_same(one, other, 1e-12)


SHARES = (
    "groove.lateral_slope_share", "groove.vertical_slope_share", "groove.tracing_ratio_share", "groove.sibilance_share",
)  # fmt: skip
STEP = 0.1 + 1e-9  # dB; levels lie on a grid of 0.1 dB


@pytest.mark.long
def test_48_khz_and_192_khz_agree(judged):
    """The same programme, band-limited to 20 kHz in closed form, at 48 and 192 kHz: the same groove within 1 %."""
    rng = np.random.default_rng(8)
    hz = rng.uniform(40.0, 18_000.0, 60)
    weight, phase, pan = 0.04 / np.sqrt(hz / 200.0), rng.uniform(0.0, 6.28, 60), rng.uniform(0.0, 1.57, 60)

    def programme(rate):
        t = np.arange(8 * rate) / rate
        swell = 0.5 - 0.5 * np.cos(2.0 * np.pi * t / 8.0)
        waves = weight[:, None] * np.sin(2.0 * np.pi * np.outer(hz, t) + phase[:, None])
        return np.vstack([np.cos(pan) @ waves, np.sin(pan) @ waves]) * swell

    more = {"cut_level": "16 dB"}  # so high that shares move: three of the four
    report = judged(
        {"A": Sent(programme(48_000), 48_000, more=more), "B": Sent(programme(192_000), 192_000, more=more)}
    )
    one, other = (numbers(report, side) for side in "AB")
    assert one.keys() == other.keys()
    units = {name: quantity["unit"] for name, quantity in report.side()["measurements"].items()}
    for name, value in one.items():
        unit = units.get(name, "dB")  # the levels by limit
        if name in SHARES:
            assert other[name] == pytest.approx(value, abs=0.01), name
        elif unit in {"dB", "LU"}:
            assert other[name] == pytest.approx(value, abs=STEP), name
        elif name.startswith("groove."):
            assert other[name] == pytest.approx(value, rel=0.01), name
    assert sum(one[name] > 0.0 for name in SHARES) >= 3


def test_track_times_are_exact():
    """Sectors of a span come from exact times: 0.1 s is 7.5 sectors, never 7.499."""
    from qc.groove.geometry.span import span_of
    from qc.groove.signal.programme import ProgrammeBounds
    from qc.model.track import Track

    heard = ProgrammeBounds(first=20, last=30, power=np.zeros((2, 60), np.float32), duration_s=0.6)
    tracks = (Track(1, "", Fraction(1, 10), Fraction("0.4")),)
    span = span_of(tracks, heard, 45)
    assert (span.start, span.end) == (7, 30)
