"""The players: each reads a piece bar by bar and plays its part on the stage."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.demo.stage import Stage, mastered, room
from qc.demo.voices import Voices

MINOR = (0, 2, 3, 5, 7, 8, 10)
DORIAN = (0, 2, 3, 5, 7, 9, 10)
MAJOR = (0, 2, 4, 5, 7, 9, 11)
RING = 2.6
"""s that the last chord is left to ring."""
SIBILANT = 0.055
"""Gain of an s as an engineer leaves it."""


@dataclass(frozen=True, slots=True)
class Section:
    """Bars of a piece: a chord (degree of the scale) a bar, the parts that play, and the tune that is sung.

    Parts: b bass, w bass out of phase, k keys, g guitar, s strings, x shaker, d drums, D drums with ride and crash,
    h a second voice a third below.
    """

    chords: tuple[int, ...]
    parts: str
    tune: str = ""


@dataclass(frozen=True, slots=True)
class SongPlan:
    """Parameters of a piece: beats a minute, tonic as a MIDI note, scale, sections and mix."""

    title: str
    seed: int
    tempo: float
    tonic: int
    scale: tuple[int, ...]
    form: tuple[Section, ...]
    swing: float = 0.0
    """part of an eighth by which the second of two comes late"""
    cymbals: float = 1.0
    room: float = 0.22
    drive: float = 1.0
    """gain before the peaks are rounded off: how loud the piece is"""
    peak: float = 0.89

    @property
    def bars(self) -> int:
        """Number of bars."""
        return sum(len(section.chords) for section in self.form)

    @property
    def length(self) -> float:
        """Length in s, the last chord's ring with it."""
        return self.bar * self.bars + RING

    @property
    def bar(self) -> float:
        """Length of a bar of four beats, in s."""
        return 240.0 / self.tempo

    def starts(self) -> Iterator[tuple[float, Section]]:
        """Yield each section with its start in s."""
        bar = 0
        for section in self.form:
            yield bar * self.bar, section
            bar += len(section.chords)

    def note(self, degree: int, octave: int = 0) -> int:
        """MIDI note of a degree of the scale, 1 the tonic."""
        octaves, step = divmod(degree - 1, 7)
        return self.tonic + 12 * (octaves + octave) + self.scale[step]


@dataclass(frozen=True, slots=True)
class Sung:
    """A note of a tune: where it begins and how long it is, in beats; its degree, vowels, and the consonant before."""

    at: float
    length: float
    degree: int
    vowels: str
    consonant: str


def sung(tune: str) -> list[Sung]:
    """Read a tune: `s5ai:1.5` is an s, then degree 5 on a gliding to i for a beat and a half; `r:1` is a rest."""
    found, at = [], 0.0
    for consonant, degree, vowels, length in re.findall(r"([stz]?)(r|\d+)([aeiou]*):([\d.]+)", tune):
        if degree != "r":
            found.append(Sung(at, float(length), int(degree), vowels, consonant))
        at += float(length)
    return found


def played(piece: SongPlan) -> NDArray[np.float32]:
    """Play and mix a piece, (2, frames)."""
    stage, band = Stage(piece.length), _Band(piece)
    for start, section in piece.starts():
        band.section(stage, start, section)
    band.ending(stage, piece.bars * piece.bar)
    mix = stage.mixed(room(np.random.default_rng(piece.seed + 1000), piece.room), 0.5)
    return mastered(mix, piece.drive, piece.peak)


class _Band:
    def __init__(self, piece: SongPlan) -> None:
        self.piece = piece
        self.rng = np.random.default_rng(piece.seed)
        self.voices = Voices(piece.seed + 500)
        self.beat = 60.0 / piece.tempo

    def human(self, gain: float) -> float:
        """Return a gain with random variation, as of a human player."""
        return gain * float(1.0 + 0.12 * np.clip(self.rng.standard_normal(), -2.0, 2.0))

    def late(self, spread: float = 0.004) -> float:
        """Seconds by which a hand is off the beat."""
        return float(spread * np.clip(self.rng.standard_normal(), -2.0, 2.0))

    def eighth(self, start: float, index: float) -> float:
        """Second of an eighth of a bar, swung."""
        off = self.piece.swing * 0.5 * self.beat if index % 2 == 1 else 0.0
        return start + index * self.beat / 2.0 + off

    def section(self, stage: Stage, start: float, section: Section) -> None:
        """Play a section."""
        parts = section.parts
        for i, chord in enumerate(section.chords):
            at = start + i * self.piece.bar
            last = i == len(section.chords) - 1
            if "b" in parts or "w" in parts:
                self.bass(stage, at, chord, wide="w" in parts)
            if "k" in parts:
                self.keys(stage, at, chord)
            if "g" in parts:
                self.guitar(stage, at, chord)
            if "s" in parts:
                self.strings(stage, at, chord)
            if "x" in parts:
                self.shaker(stage, at)
            if "d" in parts or "D" in parts:
                self.drums(stage, at, full="D" in parts, first=i == 0, fill=last)
        if section.tune:
            self.sing(stage, start, section)

    def bass(self, stage: Stage, start: float, chord: int, *, wide: bool) -> None:
        """Root, fifth and octave on a pattern of eighths."""
        root = self.piece.note(chord, -1)
        low = root if root >= 31 else root + 12
        for at, interval, length in ((0, 0, 1.4), (3, 0, 0.9), (4, 7, 0.9), (6, 12, 0.5), (7, 7, 0.5)):
            sound = self.voices.bass(low + interval, length * self.beat)
            gain = self.human(0.33 if at else 0.37)
            when = self.eighth(start, at)
            if wide:
                stage.place(when, sound, 0.7 * gain, -0.7 * gain)
            else:
                stage.put(when, sound, 1.15 * gain, 0.0, 0.02)

    def keys(self, stage: Stage, start: float, chord: int) -> None:
        """Broken chords that climb and fall from left to right and back."""
        steps = (1, 3, 5, 8, 5, 3, 9 if chord % 2 else 7, 5)
        for i, step in enumerate(steps):
            sound = self.voices.keys(self.piece.note(chord + step - 1, 1), 2.0 * self.beat, i in {0, 3, 6})
            pan = 0.45 * float(np.sin(2.0 * np.pi * i / 8.0)) - 0.1
            stage.put(self.eighth(start, i) + self.late(0.003), sound, self.human(0.14), pan, 0.35)

    def guitar(self, stage: Stage, start: float, chord: int) -> None:
        """Strum down and up, the strings a hundredth of a second apart."""
        notes = [self.piece.note(chord + step, 1) for step in (0, 2, 4, 7)]
        notes = [note - 12 if note > self.piece.tonic + 24 else note for note in notes]
        for at, up in ((0, False), (2, False), (3, True), (5, True), (6, False), (7, True)):
            strum = self.human(0.17 if at in {2, 6} else 0.13)
            for i, note in enumerate(reversed(notes) if up else notes):
                sound = self.voices.guitar(note, 1.6 * self.beat, up)
                when = self.eighth(start, at) + 0.011 * i + self.late(0.002)
                stage.put(when, sound, strum, 0.5 if i % 2 else 0.4, 0.18)
                stage.put(when + 0.017, sound, 0.6 * strum, -0.5, 0.18)

    def strings(self, stage: Stage, start: float, chord: int) -> None:
        """Hold the chord, one desk on either side."""
        notes = tuple(self.piece.note(chord + step, 1) for step in (0, 2, 4, 7))
        length = self.piece.bar + 0.25
        for high, pan in ((False, -0.5), (True, 0.5)):
            stage.put(start, self.voices.strings(notes, length, high), 0.2, pan, 0.5)

    def shaker(self, stage: Stage, start: float) -> None:
        """Sixteenths, leaning on the off-beat."""
        for i in range(16):
            gain = self.human((0.03, 0.016, 0.045, 0.02)[i % 4])
            sound = self.voices.shakes[int(self.rng.integers(4))]
            stage.put(start + i * self.beat / 4.0 + self.late(0.003), sound, gain, 0.45, 0.15)

    def drums(self, stage: Stage, start: float, *, full: bool, first: bool, fill: bool) -> None:
        """Play kick, snare, hats or ride; a crash where a full section begins, a fill where one ends."""
        voices, pick = self.voices, self.rng.integers
        for at in (0, 3.5, 5) if full else (0, 5):
            stage.put(self.eighth(start, at), voices.kicks[int(pick(2))], self.human(0.46), 0.0, 0.03)
        for at in (2, 6):
            stage.put(self.eighth(start, at) + 0.003, voices.snares[int(pick(4))], self.human(0.46), 0.08, 0.3)
        if self.rng.random() < 0.5:
            stage.put(self.eighth(start, 4.5), voices.snares[int(pick(4))], self.human(0.07), 0.08, 0.3)
        shine = self.piece.cymbals
        for i in range(8):
            when = self.eighth(start, i) + self.late(0.002)
            if full:
                stage.put(when, voices.rides[int(pick(3))], self.human(0.045 if i % 2 else 0.065) * shine, -0.5, 0.2)
            elif i == 7:
                stage.put(when, voices.open_hats[int(pick(2))], self.human(0.05) * shine, -0.35, 0.12)
            else:
                stage.put(when, voices.hats[int(pick(5))], self.human(0.04 if i % 2 else 0.07) * shine, -0.35, 0.1)
        if full and first:
            stage.put(start, voices.crash, 0.10 * shine, 0.5, 0.3)
        if fill:
            for i, at in enumerate((6.5, 7, 7.5)):
                stage.put(self.eighth(start, at), voices.toms[i], self.human(0.36), 0.5 - 0.45 * i, 0.25)

    def sing(self, stage: Stage, start: float, section: Section) -> None:
        """Sing the tune over the section, again where the section is longer."""
        notes, length = sung(section.tune), 16.0 * self.beat
        for again in range(-(-len(section.chords) // 4)):
            for note in notes:
                when = start + again * length + note.at * self.beat + self.late(0.008)
                self.note(stage, when, note, "h" in section.parts)

    def note(self, stage: Stage, when: float, note: Sung, harmony: bool) -> None:
        """Sing one note with the consonant before it."""
        length = round(0.94 * note.length * self.beat, 4)
        sound = self.voices.voice(self.piece.note(note.degree, 1), length, note.vowels)
        stage.put(when, sound, self.human(0.32), -0.02, 0.4)
        if harmony:
            second = self.voices.voice(self.piece.note(note.degree - 2, 1), length, note.vowels)
            stage.put(when + 0.013, second, 0.13, 0.4, 0.5)
            stage.put(when + 0.021, second, 0.09, -0.45, 0.5)
        if note.consonant == "s":
            stage.put(when - 0.07, self.voices.hisses[int(self.rng.integers(5))], self.human(SIBILANT), -0.02, 0.3)
        elif note.consonant == "t":
            stage.put(when - 0.02, self.voices.ticks[int(self.rng.integers(3))], self.human(0.11), -0.02, 0.3)

    def ending(self, stage: Stage, start: float) -> None:
        """Play the last chord and let it ring."""
        root = self.piece.note(1, -1)
        stage.put(start, self.voices.bass(root if root >= 31 else root + 12, RING - 0.1), 0.5, 0.0, 0.05)
        for i, step in enumerate((1, 5, 8, 10)):
            stage.put(
                start + 0.02 * i,
                self.voices.keys(self.piece.note(step, 1), RING - 0.2, False),
                0.14,
                0.4 - 0.25 * i,
                0.4,
            )
