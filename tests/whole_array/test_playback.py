"""The playback model against one that tries every point: noise and a song, with and without re-cutting."""

import math

import numpy as np
import pytest

from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip
from qc.groove.playback.residual import BANDS, MasterBands
from qc.model.cutting_chain import Chain, Signal
from qc.testing.music import Song, song
from whole_array import playback as slow

RATE = 96_000
FRAMES = RATE // 5
SUBSONIC = 80.0


def programme(kind):
    """A fifth of a second below 20 kHz with soft ends in silence, (2, frames)."""
    x = np.random.default_rng(3).normal(0.0, 0.05 if kind == "noise" else 0.005, (2, FRAMES))
    if kind == "song":
        x += 0.5 * song(Song(1.0, RATE, seed=3, tempo=120.0, cymbals=2.0))[:, RATE // 2 : RATE // 2 + FRAMES]
    place = np.arange(FRAMES) / RATE
    x = x * np.clip(np.minimum(place - 0.01, 0.15 - place) / 0.02, 0.0, 1.0)
    spectrum = np.fft.rfft(x)
    spectrum[:, round(19_500 * FRAMES / RATE) :] = 0.0
    return np.fft.irfft(spectrum)


@pytest.mark.parametrize(
    ("kind", "level", "speed", "tip_um"),
    [("noise", -6.0, 0.3, 8.0), ("noise", 0.0, 0.25, 8.0), ("song", 0.0, 0.3, 18.0), ("song", 6.0, 0.22, 5.0)],
)
def test_playback_is_that_of_the_slow_model(kind, level, speed, tip_um):
    """What tip and cutter add differs 40 dB below itself; each band's residual agrees within 0.05 dB.

    The rest is what lies between the points of the slow model.
    A subsonic filter at 80 Hz has come to rest before the end, where the slow model goes round to its beginning.
    """
    x = programme(kind)
    passage = CutPassage.of_samples(x, RATE, Chain(signal=Signal(subsonic=SUBSONIC)))
    setup = PlaybackSetup(level, speed, Tip.spherical(tip_um * 1e-6))
    found = passage.played(setup)
    velocity = 0.05 / math.sqrt(2.0) * 10.0 ** (18.0 / 20.0) * 10.0 ** (level / 20.0)
    master, expected = slow.played(x, RATE, velocity, speed, tip_um * 1e-6, math.pi / 4.0, SUBSONIC)
    hz = np.fft.rfftfreq(FRAMES, 1.0 / RATE)
    inside = (hz > 100.0) & (hz < 20_000.0)
    added = expected - master
    wrong, distortion = (
        np.square(np.abs(np.fft.rfft(y)[:, inside])).sum() for y in (found - passage.master - added, added)
    )
    compared = MasterBands.whole(passage.master, RATE).compared(found)
    assert 10.0 * math.log10(wrong / distortion) < -40.0
    for name, band in BANDS.items():
        assert compared.by_band[name] == pytest.approx([slow.residual(master, expected, RATE, band)], abs=0.05)
