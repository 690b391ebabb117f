"""The received audio of a side: the facts of its file and all its faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from qc.audio.tags.model import FileTags
from qc.model.cutting_chain import Chain
from qc.model.quantity import At
from qc.model.report import AudioFacts, Severity
from qc.plugin_base import Need


@dataclass(frozen=True, slots=True)
class AudioFault:
    """A fault of an audio file; a side with a fatal one is not measured."""

    kind: str
    """in two or three words: "cut off", "not audio" """
    message: str
    remedy: str
    at: At | None
    fatal: bool = True
    field: tuple[str | int, ...] = ()
    """key of the side in the delivery file that it is about, by default the audio: ("sha256",)"""
    fails: bool = False
    """whether it fails the side although that is measured; a fatal one always fails"""

    @property
    def severity(self) -> Severity:
        """Severity of the finding about it."""
        return "fail" if self.fatal or self.fails else "warn"


@dataclass(frozen=True, slots=True)
class ReceivedAudio:
    """The received audio file of a side."""

    file: str
    """as the delivery writes it"""
    facts: AudioFacts
    faults: tuple[AudioFault, ...]
    changed: str = ""
    """day on which the file was last changed, 2026-03-02; of several files the latest; empty when there is none"""
    tags: tuple[FileTags, ...] = ()
    """what each file says of itself, in the order of the side; a file that cannot be read is not among them"""

    @property
    def fatal(self) -> AudioFault | None:
        """The first fault that prevents measuring, or None."""
        return next((fault for fault in self.faults if fault.fatal), None)


@dataclass(frozen=True)
class AsReceived(Need[ReceivedAudio]):
    """The received file; available for every side, also where its audio cannot be decoded."""

    id: ClassVar[str] = "audio.received"

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()
