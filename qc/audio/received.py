"""What came in: the facts of a side's audio file, and everything that is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from qc.model.cutting_chain import Chain
from qc.model.quantity import At
from qc.model.report import AudioFacts
from qc.plugin_api import Need


@dataclass(frozen=True, slots=True)
class AudioFault:
    """One thing wrong with an audio file; after a fatal one the side is not measured."""

    kind: str
    """in two or three words: "cut off", "not audio" """
    message: str
    remedy: str
    at: At | None
    fatal: bool = True
    field: tuple[str | int, ...] = ()
    """what of the side in the delivery file it is about, when that is not the audio: ("sha256",)"""


@dataclass(frozen=True, slots=True)
class ReceivedAudio:
    """A side's audio file as it was found."""

    file: str
    """as the delivery writes it"""
    facts: AudioFacts
    faults: tuple[AudioFault, ...]
    changed: str = ""
    """day on which the file was last changed, 2026-03-02; of several files the latest; empty when there is none"""

    @property
    def fatal(self) -> AudioFault | None:
        """The first fault that keeps the side from being measured."""
        return next((fault for fault in self.faults if fault.fatal), None)


@dataclass(frozen=True)
class AsReceived(Need[ReceivedAudio]):
    """The file as it was received; there for every side, also for one whose audio cannot be heard."""

    id: ClassVar[str] = "audio.received"

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build it; it depends on nothing."""
        return cls()
