"""A passage played at each requested level, radius and tip: sound files of one loudness, and their numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qc.audio.excerpts import Excerpts
from qc.files.atomic_write import put_folder
from qc.groove.level.side_at_level import WorkedSide
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip, speeds_along
from qc.groove.playback.residual import MasterBands, Residuals
from qc.groove.signal.wall_motion import Displacement
from qc.listen.request import ListenRequest
from qc.listen.sound_file import PEAK, faded, loudness, resampled, write_sound
from qc.model.cutting_chain import SECTORS_A_SECOND, DiscGeometry
from qc.model.errors import SecondLookError, UsageError
from qc.model.listen import ListenReport, PlayedPassage
from qc.model.quantity import Polarity

Array = NDArray[np.float64]

LEAD_S = 0.1
"""Seconds before a passage in which the replay curve settles: its slowest pole falls by 270 dB."""
MASTER = "master.wav"
REPORT = "listen.json"


@dataclass(frozen=True, eq=False)
class ListenFiles:
    """The sound files of a passage by name, (2, frames) at 48 kHz, and the report about them."""

    report: ListenReport
    sounds: Mapping[str, Array]

    def write(self, folder: Path) -> None:
        """Write a new folder with all files, whole or not at all; raises UsageError or OutputError."""

        def fill(place: Path) -> None:
            for name, sound in self.sounds.items():
                write_sound(place / name, sound)
            (place / REPORT).write_text(self.report.model_dump_json(indent=2) + "\n", encoding="utf-8")

        put_folder(folder, fill, str(folder))


@dataclass(frozen=True, eq=False)
class PassagePlayer:
    """A passage of a side that was read again, with LEAD_S before it, ready to be played at any level."""

    request: ListenRequest
    worked: WorkedSide
    passage: CutPassage
    lead: int
    """frames of motion before the passage"""

    @classmethod
    def read(cls, request: ListenRequest, worked: WorkedSide, excerpts: Excerpts) -> PassagePlayer:
        """Read a passage again; raises UsageError where the audio cannot be read any more."""
        stream = excerpts.stream
        chain = worked.search.side.chain
        tap = Displacement(chain.signal)
        begin, rate = max(0.0, request.start - LEAD_S), tap.rate(stream)
        try:
            motion = np.array(excerpts(begin, request.end, tap), dtype=np.float64)
        except SecondLookError as why:
            raise UsageError(f"listen: side {request.side} cannot be played: {why}") from None
        passage = CutPassage(motion, rate, chain.cut.unity_velocity)
        return cls(request, worked, passage, round(request.start * rate) - round(begin * rate))

    @property
    def disc(self) -> DiscGeometry:
        """The disc that the side is cut on."""
        return self.worked.search.side.chain.disc

    @property
    def begin(self) -> float:
        """File second at which the motion begins."""
        return max(0.0, self.request.start - LEAD_S)

    def radii(self, level: float, polarity: Polarity) -> Array:
        """Return the radius at the end of each sector of the motion, at a cut level in dB; (sectors,), m."""
        worked = self.worked.search
        radius = worked.cutting(level, polarity).spiral_path.radius
        sectors = np.arange(int(self.begin * SECTORS_A_SECOND), math.ceil(self.request.end * SECTORS_A_SECOND) + 1)
        inside = np.clip(sectors - worked.side.span.start, 0, len(radius) - 1)
        found: Array = np.maximum(radius[inside], self.disc.finishing / 2.0)
        return found

    def setups(self, levels: tuple[float, ...]) -> list[tuple[float, PlaybackSetup]]:
        """Return what to play, each with the radius in m where the passage begins."""
        chain, motion = self.worked.search.side.chain, self.passage.motion
        tips = tuple(dict.fromkeys((Tip.spherical(chain.playback.tip_radius), *self.request.tips)))
        sector = int((self.request.start - self.begin) * SECTORS_A_SECOND)
        found = []
        for level in levels:
            polarity = self.worked.search.worst("groove.travel", level)[1]
            own = self.radii(level, polarity)
            for radius in (own, *(np.full_like(own, asked) for asked in self.request.radii)):
                speed = speeds_along(radius, self.disc.rpm, motion.shape[1], self.passage.rate)
                setup = PlaybackSetup(level, speed, tips[0], chain.playback.back_angle, polarity)
                found += [(float(radius[sector]), replace(setup, tip=tip)) for tip in tips]
        return found

    def files(self, levels: tuple[float, ...], tool: str, ruleset: str, workers: int) -> ListenFiles:
        """Play everything and return the files."""
        rate, lead = self.passage.rate, self.lead
        master = self.passage.master[:, lead:]
        bands = MasterBands.whole(master, rate)
        sounds = {MASTER: faded(resampled(master, rate))}
        rows: list[PlayedPassage] = []
        target = loudness(sounds[MASTER])
        for radius, setup in self.setups(levels):
            if any(self._name(radius, setup) == row.file for row in rows):
                continue  # a requested radius that is the passage's own
            played = self.passage.played(setup, workers)[:, lead:]
            compared = bands.compared(played)
            row = self._row(radius, setup, compared)
            sound = faded(resampled(played, rate))
            fitted = float(compared.gain[0]) if math.isfinite(compared.gain[0]) else 1.0
            matched = math.sqrt(target / energy) if (energy := loudness(sound)) > 0.0 else 1.0
            sounds[row.file] = matched * sound
            sounds[row.difference] = matched * (sound - fitted * sounds[MASTER])
            rows.append(row)
        peak = max(float(np.abs(sound).max()) for sound in sounds.values())
        gain = min(1.0, PEAK / peak) if peak > 0.0 else 1.0
        report = ListenReport(
            tool=tool, ruleset=ruleset, master=MASTER, gain_db=20.0 * math.log10(gain), renderings=tuple(rows)
        )
        return ListenFiles(report, {name: gain * sound for name, sound in sounds.items()})

    def _name(self, radius: float, setup: PlaybackSetup) -> str:
        """Return the name of a playback's sound file."""
        level, tip = round(setup.level, 3) + 0.0, setup.tip.name.replace(" ", "")
        return f"{self.request.side}_{level:+g}dB_{1e3 * radius:.2f}mm_{tip}.wav"

    def _row(self, radius: float, setup: PlaybackSetup, compared: Residuals) -> PlayedPassage:
        name = self._name(radius, setup)
        level, tip = round(setup.level, 3) + 0.0, setup.tip.name  # never -0.0
        return PlayedPassage(
            file=name, difference=f"{name.removesuffix('.wav')}_difference.wav", side=self.request.side,
            start_s=self.request.start, end_s=self.request.end, level_db=level, radius_mm=round(1e3 * radius, 3),
            tip=tip,
            residual_db={name: _finite(values[0]) for name, values in compared.by_band.items()},
            top_loss_db=_finite(compared.top_loss[0]),
        )  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
