"""What was made by code has the traits of music; the bounds lie about what whole tracks of real music measure."""

import re

import numpy as np
import pytest

from qc.demo import band, score, voices
from qc.demo.stage import BLOCK, convolved
from qc.demo.voices import RATE

PIECES = (
    score.ROPES_AND_LANTERNS,
    score.SLACK_WATER,
    score.THE_WIDE_PIER,
    score.SALT_ON_GLASS,
    score.LAMP_ROOM,
)
OCTAVES = (63, 125, 250, 500, 1_000, 2_000, 4_000, 8_000)  # Hz


def octaves(x):
    """Power in octave bands in dB, below the strongest."""
    n = 1 << 15
    power = sum(
        np.abs(np.fft.rfft(x[:, at : at + n] * np.hanning(n), axis=1)).sum(axis=0) ** 2
        for at in range(0, x.shape[1] - n, n)
    )
    hz = np.fft.rfftfreq(n, 1.0 / RATE)
    bands = [10.0 * np.log10(power[(hz >= c / 2**0.5) & (hz < c * 2**0.5)].sum()) for c in OCTAVES]
    return np.array(bands) - max(bands)


def measured(demo, name):
    return {side.id: side.measurements[name].value for side in demo.made.report.sides}


def test_loudness_and_peaks_are_those_of_a_master(demo):
    loudness, peak = measured(demo, "loudness.integrated"), measured(demo, "level.true_peak")
    assert -18.0 < loudness["A"] < -14.0
    assert peak["A"] < -1.0
    assert loudness["A"] + 3.0 < loudness["B"] < -9.0
    ranges = measured(demo, "loudness.range")
    assert 4.0 < ranges["A"] < 15.0


@pytest.mark.parametrize("side", ["A", "B"])
def test_energy_falls_with_frequency_and_fills_the_bands(sides, side):
    bands = octaves(sides[side])
    assert (bands[:4] > -8.0).all()
    assert -16.0 < bands[5] < -6.0
    assert -24.0 < bands[6] < -10.0
    assert -32.0 < bands[7] < -15.0
    assert (np.diff(bands[3:]) < 0.0).all()


def test_peaks_stand_out_of_the_programme(sides):
    x = sides["A"]
    crest = 20.0 * np.log10(np.abs(x).max() / np.sqrt(np.mean(x**2)))
    assert 12.0 < crest < 20.0


@pytest.mark.parametrize("side", ["A", "B"])
def test_the_sides_are_stereo_and_centred(sides, side):
    left, right = sides[side]
    correlation = np.sum(left * right) / np.sqrt(np.sum(left**2) * np.sum(right**2))
    assert 0.3 < correlation < 0.95
    assert abs(10.0 * np.log10(np.sum(left**2) / np.sum(right**2))) < 1.0


def test_nothing_but_the_planted_passage_touches_full_scale(demo, sides):
    (fault,) = [fault for fault in demo.made.planted if fault.check == "level.clipped"]
    full = np.flatnonzero((np.abs(sides["B"]) > 0.97).any(axis=0)) / RATE
    assert fault.start <= full.min()
    assert full.max() <= fault.end
    assert np.abs(sides["A"]).max() < 0.9


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece.title)
def test_a_tune_is_four_bars_long_and_within_a_voice(piece):
    for section in piece.form:
        if section.tune:
            assert len(section.chords) % 4 == 0
            assert sum(map(float, re.findall(r":([\d.]+)", section.tune))) == 16.0
        for note in band.sung(section.tune):
            assert 48 <= piece.note(note.degree, 1) <= 76


def test_a_tune_is_read_as_it_is_written():
    assert band.sung("r:1 s5ai:1.5 t10o:.5") == [
        band.Sung(1.0, 1.5, 5, "ai", "s"),
        band.Sung(2.5, 0.5, 10, "o", "t"),
    ]


@pytest.mark.parametrize("note", [40, 57, 69])
def test_a_note_has_its_pitch(note):
    sound = voices.Voices(1).guitar(note, 1.0, False)
    n = 1 << 19
    spectrum = np.abs(np.fft.rfft(sound, n))
    hz = np.fft.rfftfreq(n, 1.0 / RATE)
    near = np.abs(hz / voices.hertz(note) - 1.0) < 0.03
    found = hz[near][spectrum[near].argmax()]
    assert 1200.0 * np.log2(found / voices.hertz(note)) == pytest.approx(4.0, abs=2.0)  # cents; tuned 4 cents sharp


def test_no_partial_of_a_high_note_folds_back():
    sound = voices.Voices(1).keys(96, 0.5, True)[2_000:20_000]
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    hz = np.fft.rfftfreq(len(sound), 1.0 / RATE)
    between = np.abs(hz / voices.hertz(96) - np.round(hz / voices.hertz(96))) > 0.2
    assert spectrum[between].max() < 1e-3 * spectrum.max()


def test_the_room_is_a_convolution():
    rng = np.random.default_rng(3)
    x = rng.standard_normal(BLOCK).astype(np.float32)
    heard = np.zeros((2, BLOCK // 2), dtype=np.float32)
    heard[0, 0], heard[0, 40_000], heard[1, 7] = 1.0, 0.5, -1.0
    out = convolved(x, np.fft.rfft(heard, BLOCK, axis=1))
    expected = x.copy()
    expected[40_000:] += 0.5 * x[:-40_000]
    assert out[0] == pytest.approx(expected, abs=1e-4)
    assert out[1, 7:] == pytest.approx(-x[:-7], abs=1e-4)
