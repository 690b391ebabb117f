"""Models of what `sidegate listen` writes with its sound files."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from qc.model.quantity import Model

Band = Literal["2-5 kHz", "5-10 kHz", "10-15 kHz", "2-15 kHz"]


class PlayedImperfection(Model):
    """An imperfection that was asked for: its name, its value, and the key of the source it is modelled by."""

    name: str
    value: float
    unit: str
    source: str

    def __str__(self) -> str:
        return f"{self.name} {self.value:g} {self.unit}"


class PlayedPassage(Model):
    """A passage as one tip plays it at one radius, cut at one level."""

    file: str
    """name of the sound file in the folder"""
    difference: str
    """name of the file of what playback adds: itself minus the master at its best level from 2 to 15 kHz"""
    side: str
    start_s: float
    end_s: float
    level_db: float
    """cut level"""
    radius_mm: float
    """at the beginning of the passage"""
    tip: str
    """its radius, "8 um"; along the groove and across, "8 x 18 um" """
    imperfections: tuple[PlayedImperfection, ...] = ()
    """of disc and pickup; none unless they are asked for"""
    residual_db: dict[Band, float | None]
    """energy of playback minus the best gain times the master, over that of the gained master, both in the band; None
    where the master has nothing in the band. Every imperfection is part of it but an off-centre hole: there the master
    that is compared swings alike"""
    top_loss_db: float | None
    """loss of level from 10 to 15 kHz"""


class ListenReport(Model):
    """The sound files of a passage: the master as the groove carries it, and its playbacks."""

    schema_: Literal[1] = Field(1, alias="schema")
    tool: str
    ruleset: str
    """name and version"""
    master: str
    """name of the master's file"""
    gain_db: float
    """gain of all files, by which the loudest of them stays below full scale"""
    renderings: tuple[PlayedPassage, ...]
