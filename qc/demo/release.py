"""The demo's two sides: pieces joined by silence, and faults planted on the second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.demo import score
from qc.demo.band import SongPlan, played
from qc.demo.planted import Planted
from qc.demo.voices import RATE, Voices

Stereo = NDArray[np.float32]

TITLE, CATALOGUE = "Lamps at Low Water", "QH-007"

LEAD_IN, LEAD_OUT, GAP = 1.5, 3.5, 2.0
"""s of silence before, after and between the tracks."""
FADE = 0.25
"""s in which the end of a track is faded out."""

WIDE_BARS = (12, 16)
"""Bars of side B's first track whose bass the score puts out of phase."""
CLIPPED_BAR, CLIPPED_SECONDS, CLIPPED_GAIN = 26, 4.0, 1.7
"""Bar, seconds and gain of the passage of its second track that is clipped at full scale."""
EARLY = 3.0
"""s by which the delivery declares the gap before the second track too early."""
SIBILANT_BAR, SIBILANT_GAIN = 29, 0.25
"""Bar and gain of the sibilants in the third track."""


@dataclass(frozen=True, slots=True)
class RenderedTrack:
    """A piece on its side: where it lies in the file, in s."""

    piece: SongPlan
    start: float
    end: float


@dataclass(frozen=True)
class DemoSide:
    """A side of the demo: samples (2, frames), full scale 1.0, and its declaration."""

    id: str
    samples: Stereo
    tracks: tuple[RenderedTrack, ...]
    """as declared"""
    cut_level: str = ""
    planted: tuple[Planted, ...] = ()


def good_side() -> DemoSide:
    """Side A: nothing to fix."""
    return DemoSide("A", *_joined((score.ROPES_AND_LANTERNS, score.SLACK_WATER)))


def bad_side() -> DemoSide:
    """Side B: too long for the level that is asked for, and faults at places of their own."""
    samples, tracks = _joined((score.THE_WIDE_PIER, score.SALT_ON_GLASS, score.LAMP_ROOM))
    pier, glass, lamp = tracks
    wide = (pier.start + WIDE_BARS[0] * pier.piece.bar, pier.start + WIDE_BARS[1] * pier.piece.bar)
    declared_end, declared_start = pier.end - EARLY, glass.start - EARLY
    over = glass.start + CLIPPED_BAR * glass.piece.bar
    _clip(samples, over, over + CLIPPED_SECONDS)
    hiss = lamp.start + SIBILANT_BAR * lamp.piece.bar
    declared = (replace(pier, end=declared_end), replace(glass, start=declared_start), lamp)
    return DemoSide("B", samples, declared, "0 dB", planted=(
        Planted("stereo.low-end-out-of-phase", "B", "the bass is out of phase", *wide),
        Planted("layout.gap-disagrees", "B", "the list has a gap inside the music", declared_end, declared_start),
        Planted("layout.track-times-disagree", "B", "track 2 begins 3 s later than listed", glass.start, glass.start),
        Planted("level.clipped", "B", "a passage is clipped", over, over + CLIPPED_SECONDS),
        Planted("hf.sibilance-or-cymbals-too-strong", "B", "sibilants near the label", hiss, _sibilant(samples, hiss)),
        Planted("layout.side-too-long", "B", "longer than a 7-inch side this loud"),
        Planted("groove.last-diameter-too-small", "B", "the groove runs into the label"),
        Planted("groove.level-above-recommended", "B", "the requested level is too high"),
    ))  # fmt: skip


def _joined(pieces: Sequence[SongPlan]) -> tuple[Stereo, tuple[RenderedTrack, ...]]:
    """Play pieces one after the other, with silence between."""
    parts, tracks, at = [np.zeros((2, round(LEAD_IN * RATE)), dtype=np.float32)], [], LEAD_IN
    for i, piece in enumerate(pieces):
        music = played(piece)
        frames = round(FADE * RATE)
        music[:, -frames:] *= np.linspace(1.0, 0.0, frames, dtype=np.float32) ** 2
        after = GAP if i < len(pieces) - 1 else LEAD_OUT
        parts += [music, np.zeros((2, round(after * RATE)), dtype=np.float32)]
        tracks.append(RenderedTrack(piece, at, round(at + _end_of(music), 3)))
        at = round(at + piece.length + after, 3)
    return np.concatenate(parts, axis=1), tuple(tracks)


def _end_of(music: Stereo) -> float:
    """Return the audible end of music in s: the end of its last 10 ms above -60 dBFS rms."""
    window = RATE // 100
    whole = music[:, : music.shape[1] // window * window].reshape(2, -1, window)
    return 0.01 * float(np.flatnonzero(np.mean(whole**2, axis=2).max(axis=0) > 1e-6)[-1] + 1)


def _clip(samples: Stereo, start: float, end: float) -> None:
    """Drive a passage against full scale, as a transfer with its gain set too high does."""
    here = samples[:, round(start * RATE) : round(end * RATE)]
    t = np.arange(here.shape[1], dtype=np.float32) / np.float32(RATE)
    turned = np.clip(np.minimum(t, t[::-1]) / np.float32(0.05), 0.0, 1.0)  # up, and down again
    np.clip(here * (1.0 + np.float32(CLIPPED_GAIN - 1.0) * turned), -1.0, 1.0, out=here)


def _sibilant(samples: Stereo, start: float) -> float:
    """Add a strong s three times in a second, and return the end of the last one in s."""
    voices, length, at = Voices(77), 0.16, start
    for _ in range(3):
        at_frame = round(at * RATE)
        sound = np.float32(SIBILANT_GAIN) * np.tanh(voices.hiss(length, 5_500.0, 9_500.0) / np.float32(1.5))
        samples[:, at_frame : at_frame + len(sound)] += sound
        at += 0.3
    return at - 0.3 + length
