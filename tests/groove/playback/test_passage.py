"""A passage cut and played: what must come back unchanged, the laws of radius, walls and rates, and the residual."""

import math

import numpy as np
import pytest

from qc.groove.playback import passage as module
from qc.groove.playback.passage import BLOCK, CutPassage, PlaybackSetup, Tip, speeds_along
from qc.groove.playback.residual import BANDS, MasterBands, residuals
from qc.model.cutting_chain import Chain, Signal
from qc.testing.music import Song, song

SHARP = math.radians(89.999)
FINE = Tip.spherical(8e-6)


@pytest.fixture(scope="module")
def music():
    """A second and a half of a song at 96 kHz, cut."""
    return CutPassage.of_samples(0.5 * song(Song(1.5, 96_000, seed=3, tempo=120.0, cymbals=3.0)), 96_000)


@pytest.fixture(scope="module")
def played(music):
    return music.played(PlaybackSetup(0.0, 0.3, FINE))


def db(x, y):
    """Energy of x over that of y, dB."""
    return 10.0 * math.log10(float(np.square(x).sum() / np.square(y).sum()))


def sine(hz, velocity, rate=96_000, seconds=0.1, walls=(0.0, 1.0)):
    """Motion of a sine of a peak velocity, m/s, at the given part of it on each wall."""
    t = np.arange(round(seconds * rate)) / rate
    d = velocity / (2.0 * math.pi * hz) * np.sin(2.0 * math.pi * hz * t)
    return CutPassage(np.vstack([part * d for part in walls]), rate, 1.0)


def harmonics(d, hz, rate=96_000):
    """Complex amplitudes of the fundamental, second and third harmonic of the middle of a path."""
    n = len(d) // 2
    spectrum = 2.0 / n * np.fft.rfft(d[n // 2 : n // 2 + n])
    first = round(hz * n / rate)
    return spectrum[first], spectrum[2 * first], spectrum[3 * first]


def test_the_master_is_the_programme_below_the_top_behind_the_subsonic_filter():
    """Sines through s^2 / (s^2 + sqrt2 w s + w^2) at 10 Hz, of which a phase of 0.8 degrees is left at 1 kHz."""
    rate = 96_000
    t, hz = np.arange(rate) / rate, np.array([[1_000.0], [9_000.0]])
    s, w = 2.0j * np.pi * hz, 2.0 * np.pi * 10.0
    gain = s**2 / (s**2 + math.sqrt(2.0) * w * s + w**2)
    master = CutPassage.of_samples(0.1 * np.sin(2.0 * np.pi * hz * t), rate).master
    expected = 0.1 * (gain * np.exp(2.0j * np.pi * hz * t)).imag
    middle = slice(rate // 2, -500)
    assert db((master - expected)[:, middle], expected[:, middle]) < -65.0


def test_a_point_and_a_sharp_cutter_give_the_master_back(music):
    back = music.played(PlaybackSetup(0.0, 0.3, Tip.spherical(0.0), SHARP))
    compared = MasterBands.whole(music.master, music.rate).compared(back)
    assert max(levels.max() for levels in compared.by_band.values()) < -90.0
    assert compared.top_loss == pytest.approx([0.0], abs=1e-3)


def test_twice_the_oversampling_changes_no_residual_by_more_than_a_fiftieth_of_a_db(music):
    setups = [PlaybackSetup(level, 0.25, tip) for level in (-9.0, 0.0) for tip in (FINE, Tip.spherical(18e-6))]
    usual, finer = (list(residuals(music, setups, factor=factor)) for factor in (8, 16))
    for one, other in zip(usual, finer, strict=True):
        for name in BANDS:
            assert one.by_band[name] == pytest.approx(other.by_band[name], abs=0.02)
        assert one.top_loss == pytest.approx(other.top_loss, abs=0.02)


def test_recutting_of_a_lateral_sine_begins_where_its_slope_reaches_one():
    """A back angle of 45 degrees; a hundredth below nothing at all is cut twice."""
    hz, speed = 2_000.0, 0.3
    setup = PlaybackSetup(0.0, speed, Tip.spherical(0.0))
    uncut = PlaybackSetup(0.0, speed, Tip.spherical(0.0), SHARP)
    lifts = []
    for slope in (0.99, 1.01, 1.1):
        passage = sine(hz, slope * speed, walls=(math.sqrt(0.5), math.sqrt(0.5)))  # lateral peak slope * speed
        lifts.append(np.abs(passage.traced(setup) - passage.traced(uncut))[:, 2_000:-2_000].max())
    below, above, far = lifts
    assert below < 1e-12  # m
    assert below < above < far
    k = 2.0 * math.pi * hz / speed
    # between its two tangents a sine sags below the line by (4 sqrt2 / 3) amplitude (slope - 1)^(3/2) at most
    assert above > 0.2 * math.sqrt(0.5) / k * 0.01**1.5


def test_a_silent_wall_stays_silent(music):
    alone = CutPassage(music.motion * [[0.0], [1.0]], music.rate, music.unity_velocity)
    left, right = alone.played(PlaybackSetup(0.0, 0.3, FINE))
    assert not left.any()
    assert np.array_equal(right, music.played(PlaybackSetup(0.0, 0.3, FINE))[1])


def test_turned_round_the_right_wall_plays_as_the_left_one_did(music):
    mono = CutPassage(np.vstack([music.motion[1]] * 2), music.rate, music.unity_velocity)
    normal = mono.played(PlaybackSetup(0.0, 0.3, FINE))
    inverted = mono.played(PlaybackSetup(0.0, 0.3, FINE, polarity="inverted"))
    assert np.array_equal(normal[0], inverted[1])
    assert not np.array_equal(normal[0], normal[1])


def test_polarity_of_the_cut_does_not_turn_the_sound_round(music):
    inverted = music.played(PlaybackSetup(-6.0, 0.4, FINE, polarity="inverted"))
    assert db(inverted - music.master, music.master) < -20.0


def test_level_and_speed_together_leave_the_shape_of_the_groove(music):
    """Twice the speed stretches the groove: with a fourth of the curvature it takes four times the tip to trace it."""
    wide = sine(3_000.0, 0.05).traced(PlaybackSetup(0.0, 0.42, Tip.spherical(72e-6), SHARP))[1]
    tight = sine(3_000.0, 0.05).traced(PlaybackSetup(0.0, 0.21, Tip.spherical(18e-6), SHARP))[1]
    one, other = (np.abs(harmonics(d, 3_000.0)) for d in (wide, tight))
    assert one[1] / one[0] == pytest.approx(other[1] / other[0], rel=0.02)  # the same e; slope enters beyond it


@pytest.mark.parametrize("faster", [1.5, 2.0])
def test_second_harmonic_falls_with_the_square_of_groove_speed(faster):
    """HD2 = e / 2 with e = R a / V^2 (7a), within 5 % to e = 0.3: here below 0.13."""
    ratios = []
    for speed in (0.21, 0.21 * faster):
        path = sine(1_000.0, 0.05).traced(PlaybackSetup(0.0, speed, Tip.spherical(18e-6)))[1]
        first, second, _ = np.abs(harmonics(path, 1_000.0))
        ratios.append(second / first)
    assert ratios[0] / ratios[1] == pytest.approx(faster**2, rel=0.02)


def test_speed_may_change_along_the_passage():
    """The first and the last tenth sound as at the one speed and at the other."""
    hz, fast, slow = 1_000.0, 0.5, 0.2
    passage = sine(hz, 0.05, seconds=1.0)
    blocks = -(-passage.motion.shape[1] // BLOCK)
    path = passage.traced(PlaybackSetup(0.0, np.linspace(fast, slow, blocks), FINE))[1]
    n = len(path) // 10
    for part, speed in ((path[:n], fast), (path[-n:], slow)):
        here = speed + (slow - fast) / 20.0 * (1.0 if speed == fast else -1.0)
        even = passage.traced(PlaybackSetup(0.0, here, FINE))[1][:n]
        found, expected = (np.abs(harmonics(d, hz)) for d in (part, even))
        assert found[1] / found[0] == pytest.approx(expected[1] / expected[0], rel=0.01)


def test_groove_speed_of_a_passage_follows_the_radius_at_the_end_of_each_sector():
    rate, radius = 96_000, 0.146 - 1e-5 * np.arange(150)
    speeds = speeds_along(radius, 100.0 / 3.0, 2 * rate, rate)
    turns = 2.0 * math.pi * (100.0 / 3.0) / 60.0
    assert len(speeds) == -(-2 * rate // BLOCK)
    at = 75.0 * BLOCK / rate * 750  # end of block 749, in sectors
    assert speeds[749] == pytest.approx(turns * (0.146 - 1e-5 * (at - 1.0)), rel=1e-5)
    assert speeds[-1] == pytest.approx(turns * radius[-1], rel=1e-5)


@pytest.mark.parametrize("blocks", [3, 1_000])
def test_the_piece_in_which_it_is_worked_out_does_not_matter(music, played, monkeypatch, blocks):
    monkeypatch.setattr(module, "PIECE", blocks * BLOCK)
    found = music.played(PlaybackSetup(0.0, 0.3, FINE), workers=2)
    assert found == pytest.approx(played, abs=1e-12)


def tones(rate, seconds=0.8):
    """Forty tones from 60 Hz to 12 kHz with fixed phases, other ones on the right: the same at every rate."""
    t = np.arange(round(seconds * rate)) / rate
    hz = np.geomspace(60.0, 12_000.0, 40)
    ends = 0.5 * (1.0 - np.cos(np.pi * np.clip(np.minimum(t, t[-1] - t) / 0.1, 0.0, 1.0)))
    return np.vstack([
        0.02 * ends * sum(np.sin(2.0 * np.pi * f * t + turn * i * i) for i, f in enumerate(hz)) for turn in (1.0, 1.7)
    ])  # fmt: skip


@pytest.mark.parametrize("rate", [44_100, *(pytest.param(rate, marks=pytest.mark.long) for rate in (48_000, 192_000))])
def test_every_rate_of_a_file_gives_the_same_residual(rate):
    """0.05 dB: motion stands within 0.01 dB of EQ-3 at each rate, and twice that enters a second harmonic."""
    setups = [PlaybackSetup(3.0, 0.25, FINE)]
    by_rate = []
    for each in (rate, 96_000):
        passage = CutPassage.of_samples(tones(each), each)
        master = MasterBands.whole(passage.master, passage.rate)
        by_rate.append([master.compared(passage.played(setup)) for setup in setups])
    for one, other in zip(*by_rate, strict=True):
        for name in BANDS:
            assert one.by_band[name] == pytest.approx(other.by_band[name], abs=0.05)
        assert one.top_loss == pytest.approx(other.top_loss, abs=0.01)


def test_bass_mono_and_the_cutter_s_pole_are_in_the_master_that_the_playback_is_compared_with():
    x = 0.3 * song(Song(1.0, 96_000, seed=5, tempo=100.0, bass_width=0.8))
    chain = Chain(signal=Signal(cutter_pole=3.18e-6, bass_mono=150.0))
    passage = CutPassage.of_samples(x, 96_000, chain)
    assert db(passage.master - CutPassage.of_samples(x, 96_000).master, passage.master) > -40.0
    back = passage.played(PlaybackSetup(0.0, 0.3, Tip.spherical(0.0), SHARP))
    assert db(back - passage.master, passage.master) < -60.0


# -- the residual ------------------------------------------------------------------------------------------------


def noise(seconds, rate=96_000, seed=1):
    """Noise below 20 kHz, (2, frames)."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(0.0, 0.1, (2, round(seconds * rate))))
    spectrum[:, round(20_000 * seconds) :] = 0.0
    return np.fft.irfft(spectrum)


def test_the_residual_is_what_was_added_in_its_band_over_the_master():
    """A tone at 7 kHz of a known level, on noise: closed form in its band, nothing in the others."""
    rate, master = 96_000, noise(3.0)
    tone = 0.01 * np.sin(2.0 * np.pi * 7_000.0 * np.arange(3 * rate) / rate)
    found = MasterBands(master, rate).compared(0.7 * master + tone)  # a gap of 0.5 s keeps the ends out of it
    density = 0.1**2 / 48_000.0 * 2.0 * 0.7**2  # of both channels, a Hz
    expected = 10.0 * math.log10(2.0 * 0.01**2 / 2.0 / (density * 5_000.0))
    assert found.by_band["5-10 kHz"] == pytest.approx([expected] * 3, abs=0.2)
    assert found.by_band["2-15 kHz"] == pytest.approx([expected - 10.0 * math.log10(13.0 / 5.0)] * 3, abs=0.2)
    assert found.by_band["2-5 kHz"].max() < -70.0
    assert found.by_band["10-15 kHz"].max() < -70.0
    assert found.top_loss == pytest.approx([-20.0 * math.log10(0.7)] * 3, abs=1e-3)


def test_level_is_no_residual_and_delay_none_where_it_is_fitted():
    master = noise(2.0)
    n = master.shape[1]
    late = np.fft.irfft(np.fft.rfft(master) * np.exp(-2j * np.pi * np.fft.rfftfreq(n, 1.0 / 96_000) * 2e-6))
    assert MasterBands(master, 96_000).compared(0.5 * late).by_band["10-15 kHz"].min() > -20.0
    found = MasterBands(master, 96_000, fit_delay=True).compared(0.5 * late)
    assert max(levels.max() for levels in found.by_band.values()) < -50.0
    assert found.top_loss == pytest.approx([20.0 * math.log10(2.0)] * 2, abs=0.01)


def test_a_second_without_programme_has_no_residual():
    master = noise(2.0)
    master[:, 95_000:] = 0.0
    found = MasterBands(master, 96_000).compared(1.01 * master)
    assert np.isnan(found.by_band["2-15 kHz"][1])
    assert found.by_band["2-15 kHz"][0] < -90.0


def test_distortion_grows_with_level_and_toward_the_label(music):
    speeds, levels = (0.5, 0.3, 0.21), (-6.0, 0.0, 6.0)
    table = np.array([
        [found.by_band["2-15 kHz"].max() for found in residuals(music, [PlaybackSetup(x, v, FINE) for x in levels])]
        for v in speeds
    ])  # fmt: skip
    assert (np.diff(table, axis=0) > 0.0).all()
    assert (np.diff(table, axis=1) > 0.0).all()
