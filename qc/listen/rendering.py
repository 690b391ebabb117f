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
from qc.groove.playback.imperfections import Imperfections
from qc.groove.playback.passage import PlaybackSetup
from qc.groove.playback.residual import MasterBands, Residuals
from qc.groove.playback.side_passage import SidePassage
from qc.listen.imperfections import playback_imperfections
from qc.listen.request import ListenRequest
from qc.listen.sound_file import PEAK, faded, loudness, resampled, write_sound
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.errors import SecondLookError, UsageError
from qc.model.listen import ListenReport, PlayedPassage

Array = NDArray[np.float64]

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
    """A passage of a side that was read again, ready to be played at any level."""

    request: ListenRequest
    worked: WorkedSide
    passage: SidePassage

    @classmethod
    def read(cls, request: ListenRequest, worked: WorkedSide, excerpts: Excerpts) -> PassagePlayer:
        """Read a passage again; raises UsageError where the audio cannot be read any more."""
        try:
            passage = SidePassage.read(excerpts, excerpts.stream, worked.search.side, request.start, request.end)
        except SecondLookError as why:
            raise UsageError(f"listen: side {request.side} cannot be played: {why}") from None
        return cls(request, worked, passage)

    def setups(self, levels: tuple[float, ...]) -> list[tuple[float, PlaybackSetup]]:
        """Return what to play, each with the radius in m where the passage begins."""
        tips = tuple(dict.fromkeys((self.passage.tip, *self.request.tips)))
        sector = int((self.request.start - self.passage.begin) * SECTORS_A_SECOND)
        found = []
        for level in levels:
            search = self.worked.search
            cutting = search.cutting(level, search.worst("groove.travel", level)[1])
            own = self.passage.radii(cutting)
            for radius in (own, *(np.full_like(own, asked) for asked in self.request.radii)):
                setup = replace(self.passage.setup(cutting, radius), imperfections=self._imperfections)
                found += [(float(radius[sector]), replace(setup, tip=tip)) for tip in tips]
        return found

    @property
    def _imperfections(self) -> Imperfections:
        return playback_imperfections(self.request.imperfections, self.worked.search.side.chain.disc.rpm)

    def files(self, levels: tuple[float, ...], tool: str, ruleset: str, workers: int) -> ListenFiles:
        """Play everything and return the files."""
        rate, master = self.passage.cut.rate, self.passage.master
        bands, swings = MasterBands.whole(master, rate), self._imperfections.eccentricity > 0.0
        sounds = {MASTER: faded(resampled(master, rate))}
        rows: list[PlayedPassage] = []
        target = loudness(sounds[MASTER])
        for radius, setup in self.setups(levels):
            if any(self._name(radius, setup) == row.file for row in rows):
                continue  # a requested radius that is the passage's own
            played = self.passage.played(setup, workers)
            reference, timed_master = bands, sounds[MASTER]
            if swings:
                moved = self.passage.compared_with(setup)
                reference, timed_master = MasterBands.whole(moved, rate), faded(resampled(moved, rate))
            compared = reference.compared(played)
            row = self._row(radius, setup, compared)
            sound = faded(resampled(played, rate))
            fitted = float(compared.gain[0]) if math.isfinite(compared.gain[0]) else 1.0
            energy = loudness(sound)
            matched = math.sqrt(target / energy) if target > 0.0 and energy > 0.0 else 1.0
            sounds[row.file] = matched * sound
            sounds[row.difference] = matched * (sound - fitted * timed_master)
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
            tip=tip, imperfections=self.request.imperfections,
            residual_db={name: _finite(values[0]) for name, values in compared.by_band.items()},
            top_loss_db=_finite(compared.top_loss[0]),
        )  # fmt: skip


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
