"""Programme told from the side's own noise floor, by the rule of programme.noise_floor; line-up tones at the head."""

from fractions import Fraction
from functools import cache

import numpy as np
import pytest
import scipy.signal
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc import api
from qc.groove.signal.band_power import CORNER, BandParts
from qc.groove.signal.programme import ASSUMED, CLEAR, HIGHEST, LOWEST, Programme, ProgrammeBounds, noise_floor
from qc.model.cutting_chain import Chain
from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.drive import run_need as drive
from qc.testing.music import Song, song

TOP = Chain().signal.top


def heard(x, rate, blocks=1 << 17):
    """The programme of samples (2, n), through the real pass."""
    return drive(Programme(TOP), x, rate, blocks)


def db(level):
    return 10.0 ** (level / 20.0)


def noise(seconds, rate, level, seed=1):
    """White noise of an rms level in dBFS, two independent channels."""
    return db(level) * np.random.default_rng(seed).standard_normal((2, round(seconds * rate)))


def sine(hz, seconds, rate, peak, phase=0.0):
    """A steady sine in both channels; peak in dBFS."""
    t = np.arange(round(seconds * rate)) / rate
    return np.tile(db(peak) * np.sin(2.0 * np.pi * hz * t + phase), (2, 1))


@cache
def music(seconds, rate, seed):
    return song(Song(seconds, rate, seed))


# -- the band ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "rate",
    [44_100, 96_000, 192_000, *(pytest.param(rate, marks=pytest.mark.long) for rate in (48_000, 88_200, 176_400))],
)
@pytest.mark.parametrize("hz", [30.0, 100.0, 997.0, 10_000.0])
def test_the_power_of_a_sine_is_that_of_the_high_pass(rate, hz):
    """Half the square of its peak, times the gain of a 4th-order Butterworth high-pass: 1 / (1 + (20 / f)^8)."""
    x = sine(hz, 2.0, rate, -20.0)
    power = drive(BandParts(TOP), x, rate).power
    expected = 0.5 * db(-20.0) ** 2 / (1.0 + (CORNER / hz) ** 8)
    assert power[:, 100:190].mean() == pytest.approx(expected, rel=2e-3)
    assert power.shape == (2, 200)


def test_the_band_is_what_scipy_makes_of_the_same_filters():
    """scipy.signal: a 4th-order Butterworth high-pass over noise that lies far below the top."""
    rate = 96_000
    low = scipy.signal.butter(8, 4_000.0, fs=rate, output="sos")
    x = scipy.signal.sosfilt(low, noise(3.0, rate, -20.0) + 0.01)
    high = scipy.signal.butter(4, CORNER, btype="high", fs=rate, output="sos")

    def squares(signal):
        return (signal.reshape(2, -1, rate // 100) ** 2).mean(axis=2)

    expected = squares(scipy.signal.sosfilt(high, x - x[:, :1]))
    turned = x[:, : rate // 2][:, ::-1]
    backward = squares(scipy.signal.sosfilt(high, turned - turned[:, :1])[:, ::-1])
    expected[:, :20] = np.minimum(expected[:, :20], backward[:, :20])
    power = drive(BandParts(TOP), x, rate).power
    assert np.allclose(power[:, 1:-1], expected[:, 1:-1], rtol=2e-3)


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(1, 40_000), max_size=6), rate=st.sampled_from([44_100, 96_000, 192_000]))
def test_no_block_size_changes_a_digit(cuts, rate):
    x = np.concatenate([sine(1_000.0, 2.5, rate, -18.0), noise(0.7, rate, -30.0)], axis=1)
    whole, parts = (drive(BandParts(TOP), x, rate, blocks) for blocks in (x.shape[1], cuts))
    assert np.array_equal(whole.power, parts.power)
    assert whole.tones == parts.tones


# -- the floor -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [-65.0, -59.0, -50.0])
def test_the_floor_of_white_noise_is_its_own_level_in_the_band(level):
    """The quietest second of noise in the gaps: its level less what lies above the top, 10 log10(22050 / 48000)."""
    rate = 96_000
    x = np.concatenate([noise(3.0, rate, -12.0, 2), noise(4.0, rate, level), noise(3.0, rate, -12.0, 3)], axis=1)
    inside = 10.0 * np.log10((TOP + 2_050.0) / (rate / 2.0))  # half-way down the top's transition of 4.1 kHz
    assert heard(x, rate).floor == pytest.approx(level + inside, abs=0.2)


def test_bounds_of_the_floor():
    def powers(*levels):
        return np.tile(np.repeat(10.0 ** (np.array(levels) / 10.0), 100), (2, 1)).astype(np.float32)

    assert noise_floor(powers(-15.0, -44.0)) == ASSUMED  # no noise floor lies above -45 dBFS
    assert noise_floor(powers(-15.0, -45.1)) == pytest.approx(-45.1, abs=1e-3)
    assert noise_floor(powers(-30.0, -50.0)) == ASSUMED  # within 25 dB of the loudest second it may be music
    assert noise_floor(powers(-15.0, -90.0)) == LOWEST
    assert noise_floor(powers(-15.0, -200.0)) == LOWEST  # digital silence
    silent = powers(-15.0, -200.0, -65.0, -15.0)
    assert noise_floor(silent) == pytest.approx(-65.0, abs=1e-3)  # hiss is asked before it
    beside = powers(-15.0, -200.0, -48.0, -15.0)
    assert noise_floor(beside) == ASSUMED  # beside digital silence it may be soft music
    assert noise_floor(beside, [(0.0, 1.0), (3.0, 4.0)]) == pytest.approx(-48.0, abs=1e-3)  # but not between tracks
    assert noise_floor(beside, [(0.0, 1.0), (2.5, 4.0)]) == ASSUMED
    assert noise_floor(powers(-15.0)) == ASSUMED
    assert noise_floor(np.zeros((2, 50), np.float32)) == ASSUMED  # shorter than a second
    swing = powers(-15.0, -60.0)
    swing[:, 150] = 10.0 ** (-50.0 / 10.0)  # a breath: no noise does that
    assert noise_floor(swing) == ASSUMED
    assert HIGHEST + CLEAR == -35.0


SPOILERS = {
    "hiss at -59 dBFS": lambda n, rate: noise(n / rate, rate, -59.0),
    "an offset of 1 %": lambda n, _: np.full((2, n), 0.01),
    "hum at -50 dBFS": lambda n, rate: sine(50.0, n / rate, rate, -47.0),
    "8 Hz rumble": lambda n, rate: sine(8.0, n / rate, rate, -30.0, np.pi / 2.0),
    "a tone of 28 kHz": lambda n, rate: sine(28_000.0, n / rate, rate, -30.0),
}


@pytest.fixture(scope="module")
def two_tracks():
    """Music, a gap of 3 s, music, with silence on both sides, at 96 kHz: samples, times of the tracks, programme."""
    rate = 96_000
    first, second = (music(6.0, rate, seed=seed) for seed in (4, 5))
    silence = np.zeros((2, 2 * rate))
    x = np.concatenate([silence, first, np.zeros((2, 3 * rate)), second, silence, silence], axis=1)
    return x, rate, [(2.0, 8.0), (11.0, 17.0)], heard(x, rate)


SLIGHT = ("an offset of 1 %", "hum at -50 dBFS", "8 Hz rumble")
"""whose tracks are found in the quick tests, and judged in the long run"""


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long if name in SLIGHT else ()) for name in SPOILERS]
)
def test_what_is_no_music_is_no_programme(two_tracks, tmp_path, name):
    x, rate, times, clean = two_tracks
    y = x + SPOILERS[name](x.shape[1], rate)
    spoiled = heard(y, rate)
    assert abs(spoiled.start_s - clean.start_s) <= 0.3
    assert abs(spoiled.end_s - clean.end_s) <= 1.5  # a fade ends where the noise begins
    gap = spoiled.programme[850:1_090]
    assert not gap.any()
    report = judge(deliver(tmp_path, {"A": Sent(y, rate, tracks=times, coding="PCM_24")}), tmp_path / "report.json")
    result = next(one for one in report.report["results"] if one["check"] == "layout.gap-disagrees")
    assert result["outcome"] == "pass"


@pytest.mark.parametrize("name", SPOILERS)
def test_init_finds_both_tracks(two_tracks, name):
    from qc.draft.silence_split import found_tracks

    x, rate, _, _ = two_tracks
    found = found_tracks(heard(x + SPOILERS[name](x.shape[1], rate), rate))
    assert len(found) == 2
    assert float(found[0].start) == pytest.approx(2.0, abs=0.3)
    assert float(found[1].start) == pytest.approx(11.0, abs=0.3)


# -- line-up tones -------------------------------------------------------------------------------------------------

TONES = (
    (1_000.0, 8.0, -18.0),
    (10_000.0, 6.0, -18.0),
    (100.0, 6.0, -18.0),
    (1_000.0, 5.0, -28.0),
    (50.0, 5.0, -18.0),
)


def lined_up(rate, gap=0.0):
    """30 s of tones, steps in frequency and in level."""
    parts = []
    for hz, seconds, peak in TONES:
        parts += [sine(hz, seconds, rate, peak), np.zeros((2, round(gap * rate)))]
    return np.concatenate(parts, axis=1)


@pytest.mark.parametrize(
    ("rate", "gap"),
    [
        (44_100, 0.0), (96_000, 1.0),
        pytest.param(44_100, 1.0, marks=pytest.mark.long), pytest.param(96_000, 0.0, marks=pytest.mark.long),
    ],
)  # fmt: skip
def test_line_up_tones_are_named_with_their_times_and_are_no_programme(gap, rate):
    tones = lined_up(rate, gap)
    x = np.concatenate([np.zeros((2, rate)), tones, np.zeros((2, 3 * rate)), music(8.0, rate, seed=4)], axis=1)
    found = heard(x + noise(x.shape[1] / rate, rate, -75.0), rate)
    at = 1.0
    assert len(found.tones) == len(TONES)
    for tone, (hz, seconds, peak) in zip(found.tones, TONES, strict=True):
        assert tone.frequency == pytest.approx(hz, rel=2e-3)
        assert tone.level == pytest.approx(peak, abs=0.05)
        assert tone.start_s == pytest.approx(at, abs=0.15)
        at += seconds
        assert tone.end_s == pytest.approx(at, abs=0.15)
        at += gap
    assert found.start_s >= 1.0 + tones.shape[1] / rate
    assert not found.programme[: round(100 * (1.0 + tones.shape[1] / rate + 2.9))].any()


def test_tones_set_no_level_and_are_not_cut(tmp_path):
    """The same music with and without 30 s of tones: the same groove, and so the same level."""
    rate = 48_000
    x = np.concatenate([np.zeros((2, 2 * rate)), music(10.0, rate, seed=4), np.zeros((2, 4 * rate))], axis=1)
    sides = {
        "A": Sent(x, rate, tracks=[(2.0, 12.0)]),
        "B": Sent(np.concatenate([lined_up(rate), x], axis=1), rate, tracks=[(32.0, 42.0)]),
    }
    folder = deliver(tmp_path, sides)
    report = judge(folder, tmp_path / "report.json")
    alone, lined = report.side("A"), report.side("B")
    assert alone["lineup"] == []
    assert [round(tone["frequency_hz"]) for tone in lined["lineup"]] == [1_000, 10_000, 100, 1_000, 50]
    for name in ("recommended", "clean"):
        assert lined["levels"][name] == alone["levels"][name]
    assert lined["geometry"]["span_start_s"] == pytest.approx(alone["geometry"]["span_start_s"] + 30.0, abs=0.02)
    travel = [side["measurements"]["groove.travel"]["value"] for side in (alone, lined)]
    assert travel[1] == pytest.approx(travel[0], rel=1e-3)


def test_a_declared_track_is_programme_whatever_it_sounds_like():
    rate = 48_000
    x = np.concatenate([sine(440.0, 6.0, rate, -18.0), music(8.0, rate, seed=4)], axis=1)
    found = heard(x, rate)
    assert len(found.tones) == 1
    assert found.declared([(Fraction(7), Fraction(14))]).tones == found.tones
    meant = found.declared([(Fraction(1), Fraction(14))])
    assert meant.tones == ()
    assert meant.first == 0


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in (1, 2, 3))])
def test_music_is_taken_for_no_tone(seed):
    assert heard(music(15.0, 48_000, seed=seed), 48_000).tones == ()


def test_a_note_that_dies_away_or_trembles_is_no_tone():
    rate = 48_000
    t = np.arange(6 * rate) / rate
    for shape in (np.exp(-t / 3.0), 1.0 + 0.1 * np.sin(2.0 * np.pi * 5.0 * t)):
        assert heard(shape * sine(440.0, 6.0, rate, -20.0), rate).tones == ()


def test_a_silent_side_has_no_programme():
    found = ProgrammeBounds.of(np.zeros((2, 300), np.float32), 3.0)
    assert (found.first, found.last) == (None, None)


def test_tones_do_not_count_in_the_level_on_disc(tmp_path):
    """The loudness behind the tones is that of the file without them (BS.1770-5): 30 s at -3 dBFS before soft music."""
    rate = 48_000
    x = np.concatenate([np.zeros((2, rate)), 0.1 * music(20.0, rate, 3), np.zeros((2, rate))], axis=1)
    head = sine(1000.0, 30.0, rate, -3.0)
    found = {}
    for name, samples in (("plain", x), ("tones", np.concatenate([head, x], axis=1))):
        folder = tmp_path / name
        folder.mkdir()
        soundfile.write(folder / "a.wav", samples.T, rate, subtype="PCM_24")
        (folder / "delivery.yaml").write_text(
            "schema: 1\ntitle: T\ndisc: {size: 12in, speed: 33}\nsides:\n  - {id: A, audio: a.wav}\n", encoding="utf-8"
        )
        found[name] = api.check(folder, api.Options()).sides[0].measurements
    plain, tones = found["plain"], found["tones"]
    for name in ("groove.recommended_level", "groove.level_on_disc", "loudness.range", "loudness.momentary_max"):
        assert tones[name].value == pytest.approx(plain[name].value, abs=0.1), name
    assert tones["loudness.integrated"].value == pytest.approx(plain["loudness.integrated"].value, abs=0.05)
    assert tones["loudness.momentary_max"].at.start_s == pytest.approx(
        plain["loudness.momentary_max"].at.start_s + 30.0, abs=0.011
    )


@pytest.mark.parametrize("phase", [0.0, 1.0, np.pi / 2.0])
def test_rumble_from_the_first_frame_on_is_no_programme_while_the_filters_settle(phase):
    """8 Hz at -30 dBFS that is there when the file begins: its onset rings in the high-pass for some 100 ms."""
    rate = 48_000
    x = np.concatenate([np.zeros((2, 3 * rate // 2)), music(8.0, rate, 1), np.zeros((2, rate))], axis=1)
    x += db(-30.0) * np.sin(2.0 * np.pi * 8.0 * np.arange(x.shape[1]) / rate + phase)
    assert heard(x, rate).start_s == pytest.approx(1.5, abs=0.03)


def test_music_from_the_first_frame_on_is_programme_from_there():
    rate = 48_000
    t = np.arange(4 * rate) / rate
    dying = np.tile(0.5 * np.exp(-t) * np.sin(2.0 * np.pi * 330.0 * t), (2, 1))
    assert heard(dying, rate).first == 0


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_a_single_stroke_at_the_head_before_silence_is_programme(rate):
    """Twelve hundredths of a second of sound, gone before the high-pass has settled."""
    x = np.zeros((2, 4 * rate))
    x[:, : 12 * rate // 100] = sine(200.0, 0.12, rate, -12.0)
    x[:, 2 * rate : 3 * rate] = sine(200.0, 1.0, rate, -12.0)
    found = heard(x, rate)
    assert found.first == 0
    assert found.programme[:12].all()


@pytest.mark.parametrize(
    ("hz", "peak"), [(440.0, -12.0), (100.0, -3.0), (250.0, -18.0), (50.0, -10.0), (1_000.0, -6.0)]
)
def test_a_line_up_tone_that_stops_dead_does_not_ring_on_as_programme(hz, peak):
    """The 20 Hz high-pass rings for a tenth of a second, through nought and up again."""
    rate = 44_100
    x = np.concatenate([sine(hz, 10.0, rate, peak), np.zeros((2, 3 * rate)), music(8.0, rate, seed=4)], axis=1)
    assert heard(x, rate).start_s == pytest.approx(13.0, abs=0.03)


@pytest.mark.parametrize("seconds", [10.0, 10.05, 9.97])
def test_a_line_up_tone_ends_where_it_ends(seconds):
    """Tones are found by tenths of a second, their end by hundredths."""
    rate = 48_000
    x = np.concatenate([sine(1_000.0, seconds, rate, -12.0), np.zeros((2, 3 * rate)), music(8.0, rate, 4)], axis=1)
    assert heard(x, rate).tones[-1].end_s == pytest.approx(seconds, abs=0.01)


def test_notes_of_a_second_are_something_else_than_tones():
    """A melody of pure notes closes the search, so that a long note behind it is music, and all before it too."""
    rate = 48_000
    notes = [sine(220.0 * 2.0 ** (k % 12 / 12.0), 1.0, rate, -12.0) for k in range(16)]
    x = np.concatenate([*notes, sine(330.0, 3.0, rate, -12.0), music(8.0, rate, seed=4)], axis=1)
    found = heard(x, rate)
    assert found.tones == ()
    assert found.first == 0


def quiet_pad(rate):
    """Two seconds of digital silence, 10 s of a steady chord at -46 dBFS, and loud music."""
    chord = sum(sine(hz, 10.0, rate, -52.0) for hz in (220.0, 277.0, 330.0))
    return np.concatenate([np.zeros((2, 2 * rate)), chord, music(10.0, rate, seed=4)], axis=1)


@pytest.mark.parametrize("tracks", [[], [(Fraction(2), Fraction(22))]])
def test_soft_steady_music_is_not_the_noise_of_a_file_with_digital_silence(tracks):
    found = heard(quiet_pad(48_000), 48_000).declared(tracks)
    assert found.floor == ASSUMED
    assert found.start_s == pytest.approx(2.0, abs=0.02)


def test_noise_between_declared_tracks_is_the_noise_floor():
    """Digital silence at the head, hiss at -50 dBFS from there on: outside the tracks it is known for what it is."""
    rate = 48_000
    hiss = np.concatenate([np.zeros((2, 2 * rate)), noise(24.0, rate, -50.0)], axis=1)
    x = hiss.copy()
    x[:, 4 * rate : 12 * rate] += music(8.0, rate, seed=4)
    x[:, 16 * rate : 24 * rate] += music(8.0, rate, seed=5)
    found = heard(x, rate).declared([(Fraction(4), Fraction(12)), (Fraction(16), Fraction(24))])
    assert found.floor == pytest.approx(-50.0, abs=0.5)
    assert found.start_s == pytest.approx(4.0, abs=0.05)
