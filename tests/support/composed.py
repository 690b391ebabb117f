"""Music of our own: short pieces composed by code from a seed, as MIDI files for a synthesiser."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

TICKS = 480
"""Ticks a quarter note."""
DRUMS = 9
"""The MIDI channel of the drums."""
KICK, SNARE, HAT, OPEN_HAT, CRASH, RIDE = 36, 38, 42, 46, 49, 51
MINOR, MAJOR = (0, 2, 3, 5, 7, 8, 10), (0, 2, 4, 5, 7, 9, 11)
PROGRESSIONS = ((0, 5, 3, 4), (0, 3, 4, 0), (0, 5, 2, 6), (0, 2, 3, 4), (0, 6, 5, 4))
"""Degrees of the scale, a bar each."""


@dataclass(frozen=True)
class Part:
    """One player: what it plays (melody, chords, arpeggio, bass, drums), on which General MIDI programme.

    `length` is the sounding part of each note, `busy` the chance that an eighth has one, `octave` that of its middle.
    """

    role: str
    program: int = 0
    octave: int = 5
    velocity: int = 84
    length: float = 0.95
    busy: float = 0.6
    pan: int = 64


@dataclass(frozen=True)
class Style:
    """A piece: its players, quarter notes a minute, bars of four quarters, scale and key."""

    parts: Sequence[Part]
    tempo: float = 96.0
    bars: int = 16
    scale: tuple[int, ...] = MAJOR
    key: int = 0
    tail_s: float = 5.0
    """time after the last note is released, for what rings on"""


STYLES = {
    "piano": Style((Part("melody", 0, 6, 92), Part("arpeggio", 0, 4, 66)), 84, 20, MINOR, 2),
    "strings": Style(
        (
            Part("melody", 40, 6, 80, 1.0, 0.3, 40),
            Part("chords", 48, 5, 70, 1.0),
            Part("bass", 42, 3, 76, 1.0, 0.3, 84),
        ),
        66,
        14,
        MINOR,
        7,
    ),
    "band": Style(
        (
            Part("drums", busy=0.8, velocity=100),
            Part("bass", 33, 3, 96, 0.8, 0.8),
            Part("chords", 29, 4, 78, 0.9, 1.0, 34),
            Part("arpeggio", 25, 5, 74, 0.7, 1.0, 94),
            Part("melody", 27, 6, 84),
        ),
        124,
        32,
        MINOR,
        4,
    ),
    "organ": Style(
        (Part("chords", 19, 5, 80, 1.0), Part("melody", 19, 6, 80, 1.0), Part("bass", 19, 3, 80, 1.0)), 72, 14
    ),
    "harpsichord": Style(
        (Part("arpeggio", 6, 5, 88, 0.6, 1.0, 54), Part("melody", 6, 6, 92, 0.5, 0.9, 74)), 108, 24, MINOR, 9
    ),
    "staccato": Style(
        (
            Part("chords", 45, 5, 104, 0.2, 1.0),
            Part("melody", 12, 6, 100, 0.2, 0.7, 80),
            Part("bass", 32, 3, 100, 0.25, 0.8),
        ),
        132,
        28,
        MAJOR,
        5,
    ),
    "brass": Style(
        (
            Part("melody", 56, 6, 100, 0.7, 0.6, 50),
            Part("chords", 61, 5, 92, 0.8, 1.0),
            Part("bass", 58, 3, 92, 0.8, 0.7),
            Part("drums", busy=0.3, velocity=84),
        ),
        104,
        20,
        MAJOR,
        10,
    ),
    "jazz": Style(
        (
            Part("drums", busy=0.9, velocity=76),
            Part("bass", 32, 3, 92, 0.9, 0.95),
            Part("melody", 66, 5, 92, 0.8, 0.5, 50),
            Part("chords", 4, 5, 62, 0.4, 0.5, 80),
        ),
        138,
        32,
        MINOR,
        0,
    ),
    "choir": Style((Part("chords", 52, 5, 84, 1.0), Part("melody", 73, 6, 78, 0.95, 0.4, 74)), 60, 12, MAJOR, 3),
    "guitar": Style(
        (Part("arpeggio", 24, 4, 88, 1.0, 1.0, 58), Part("melody", 24, 5, 92, 1.0, 0.4, 70)), 92, 20, MINOR, 11
    ),
    "harp": Style((Part("arpeggio", 46, 5, 84, 1.0, 0.8), Part("melody", 68, 6, 80, 0.9, 0.35, 80)), 76, 16, MAJOR, 8),
    "bells": Style((Part("melody", 14, 5, 90, 1.0, 0.15), Part("arpeggio", 11, 6, 64, 1.0, 0.3, 90)), 60, 10, MINOR, 1),
    "sparse": Style((Part("melody", 0, 5, 44, 1.0, 0.3),), 58, 16, MINOR, 6),
    "quiet": Style((Part("chords", 49, 5, 34, 1.0), Part("melody", 71, 5, 40, 0.95, 0.2, 74)), 56, 12, MAJOR, 4),
}
"""Styles by name; all notes come from the seed."""


def composed(style: Style, seed: int, *, octaves: int = 0, slower: float = 1.0) -> bytes:
    """Compose a piece from a seed, as a MIDI file of one track; lower by `octaves` and `slower`, for varispeed."""
    rng = np.random.default_rng(seed)
    progression = PROGRESSIONS[int(rng.integers(len(PROGRESSIONS)))]
    events: list[tuple[int, bytes]] = []
    for number, part in enumerate(style.parts):
        channel = DRUMS if part.role == "drums" else number
        events += [(0, bytes([0xC0 | channel, part.program])), (0, bytes([0xB0 | channel, 10, part.pan]))]
        for start, length, key, velocity in _notes(part, style, progression, rng):
            pitch = key if part.role == "drums" else key - 12 * octaves
            events += [
                (start, bytes([0x90 | channel, pitch, velocity])),
                (start + length, bytes([0x80 | channel, pitch, 0])),
            ]
    quarter_us = round(6e7 * slower / style.tempo)
    tail = round(style.tail_s * 1e6 * slower / quarter_us * TICKS)
    end = max(tick for tick, _ in events) + tail
    return _file(sorted(events, key=lambda event: (event[0], event[1][0] & 0xF0 == 0x90)), quarter_us, end)


def _notes(
    part: Part, style: Style, progression: Sequence[int], rng: np.random.Generator
) -> list[tuple[int, int, int, int]]:
    """Compose what one player plays: (start, length, key, velocity), times in ticks."""
    notes = []
    walk = 0
    for bar in range(style.bars):
        degree = progression[bar % len(progression)]
        last = bar == style.bars - 1
        for eighth in range(8):
            at = (8 * bar + eighth) * TICKS // 2
            if last and eighth:
                continue
            for key, eighths in _keys(part, style, degree, eighth, last, walk, rng):
                walk = int(np.clip(walk + rng.integers(-2, 3), -5, 6))
                length = max(40, round(part.length * eighths * TICKS / 2))
                notes.append((at, length, key, int(np.clip(part.velocity + rng.integers(-9, 10), 1, 127))))
    return notes


def _keys(
    part: Part, style: Style, degree: int, eighth: int, last: bool, walk: int, rng: np.random.Generator
) -> list[tuple[int, int]]:
    """Choose the keys that one player strikes at an eighth, each with its length in eighths; none where it rests."""
    sustained = 16 if last else 0
    plays = rng.random() < part.busy * (1.0 if eighth % 2 == 0 or part.role != "melody" else 0.5)
    steps: tuple[int, ...] = ()
    eighths = sustained or 1
    match part.role:
        case "drums":
            return _struck(part, eighth, last, rng)
        case "chords":
            on_beat = eighth == 0 or (eighth == 4 and part.length < 1.0)
            short = part.length < 0.5 and not last
            steps = (0, 2, 4) if (eighth == 0 or plays if short else on_beat) and eighth % 4 == 0 else ()
            eighths = sustained or (1 if short else 8 if part.length >= 1.0 else 4)
        case "bass":
            steps = (0,) if eighth == 0 else (int(rng.choice((0, 4, 7))),) if plays else ()
            eighths = sustained or (8 if part.length >= 1.0 and eighth == 0 else 1)
        case "arpeggio":
            steps = ((0, 2, 4, 7, 4, 2, 4, 2)[eighth],) if plays or last else ()
            eighths = sustained or 2
        case _:
            steps = (walk,) if plays or last else ()
            eighths = sustained or int(rng.choice((1, 2, 2, 4)))
    return [(_pitch(style, part.octave, degree + step), eighths) for step in steps]


def _struck(part: Part, eighth: int, last: bool, rng: np.random.Generator) -> list[tuple[int, int]]:
    """Choose the drums that are struck at an eighth."""
    if last:
        return [(KICK, 1), (CRASH, 16)]
    struck = []
    if eighth in (0, 5) or (eighth in (3, 6) and rng.random() < 0.3):
        struck.append((KICK, 1))
    if eighth in (2, 6):
        struck.append((SNARE, 1))
    if rng.random() < part.busy:
        struck.append((OPEN_HAT if eighth == 7 and rng.random() < 0.4 else HAT if part.velocity > 80 else RIDE, 1))
    return struck


def _pitch(style: Style, octave: int, degree: int) -> int:
    """Return the MIDI key of a degree of the scale."""
    up, step = divmod(degree, 7)
    return 12 * (octave + up) + style.key + style.scale[step] - (12 if style.key > 6 else 0)


def _file(events: Sequence[tuple[int, bytes]], quarter_us: int, end: int) -> bytes:
    """Write events in order of time as a MIDI file of format 0."""
    track = bytearray(b"\x00\xff\x51\x03" + quarter_us.to_bytes(3, "big"))
    before = 0
    for tick, message in events:
        track += _variable(tick - before) + message
        before = tick
    track += _variable(end - before) + b"\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS) + b"MTrk" + struct.pack(">I", len(track)) + bytes(track)


def _variable(value: int) -> bytes:
    """Write a number in groups of seven bits, as MIDI files have their times."""
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(0x80 | (value & 0x7F))
    return bytes(reversed(groups))
