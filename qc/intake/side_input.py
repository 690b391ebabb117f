"""The input of a side: its file, or one file a track, examined and ready to be read as one source."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from qc.audio.container.digests import SAMPLES_MD5
from qc.audio.container.file_hash import FileHash
from qc.audio.container.sample_md5 import SampleMd5
from qc.audio.excerpts import Excerpts
from qc.audio.multi_file_source import FileSegment, JoinedSource, on_side
from qc.audio.pipeline.process import AudioSource
from qc.audio.received import AudioFault, ReceivedAudio
from qc.audio.source import FileSource
from qc.cache.keys import Sound
from qc.cache.store import Store
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds
from qc.intake.inspection import AGAIN, NO_PROGRAMME, Declared, Examined, changed, inspect, silent, with_fault
from qc.intake.joining import join
from qc.plugin_base import At

Digests = Mapping[str, str]


@dataclass(frozen=True)
class SideInput:
    """The examined audio of a side; `source` is None where a fault prevents decoding it."""

    received: ReceivedAudio
    side: Side
    """the declared side, with computed track times where it has one file a track"""
    source: AudioSource | None
    parts: tuple[FileSegment, ...] = ()
    files: tuple[Examined, ...] = ()
    hashed: tuple[FileHash, ...] = ()
    """one for each file, computed while the source is read; `received` has no digests before"""
    stored: tuple[Digests, ...] = ()
    """the stored digests of each file; empty unless all are stored"""

    @property
    def paths(self) -> list[Path]:
        """The files of the side."""
        return [file.declared.path for file in self.files]

    def digested(self, fault: AudioFault | None = None) -> ReceivedAudio:
        """Return the received audio with its digests, after the pass, which may have found `fault`.

        A file whose bytes differ from the declared ones is not judged by its audio. One that changed during the pass
        has no digest, and no other fault of the pass counts.
        """
        changes = self.changes()
        if changes:
            return replace(self.received, faults=(*self.received.faults, *changes))
        received = _together(self.side, self.files, [file.digested(its.digests) for file, its in self._hashed()])
        return received if fault is None or received.fatal else with_fault(received, fault)

    def changes(self) -> list[AudioFault]:
        """Return faults of files that changed after they were examined."""
        faults = [changed(file) for file in self.files]
        parts = self.parts or [None] * len(faults)
        return [
            fault if part is None else on_side(fault, part)
            for part, fault in zip(parts, faults, strict=True)
            if fault is not None
        ]

    def recalled(self) -> ReceivedAudio:
        """Return the received audio with the stored digests, where no audio needs to be decoded.

        Results of a FLAC file are stored only after its samples were found to have the MD5 that it states, so that
        equal bytes need not be decoded again.
        """
        found = [
            file.digested(_with_own_md5(file, stored)) for file, stored in zip(self.files, self.stored, strict=True)
        ]
        return _together(self.side, self.files, found)

    @property
    def stored_sound(self) -> Sound | None:
        """The sound of the side by its stored digests, or None without them."""
        return self._sound(self.stored) if self.stored else None

    def measured_sound(self, store: Store) -> Sound | None:
        """Return the sound that was decoded, and store its digests; None where a file changed meanwhile."""
        digests = [its.digests for its in self.hashed]
        if not all(file.untouched for file in self.files) or None in digests:
            return None
        whole = [computed for computed in digests if computed is not None]
        for file, computed in zip(self.files, whole, strict=True):
            _remember(file, computed, store, self.side.id)
        return self._sound(whole)

    def faulty_sound(self) -> Sound | None:
        """Return what would have been measured if no fault had shown; None where a file cannot be read, or changed."""
        with contextlib.suppress(OSError):
            if not all(file.untouched for file in self.files):
                return None
            return self._sound([its.digests or file.read_digests() for file, its in self._hashed()])
        return None

    def _sound(self, digests: Sequence[Digests]) -> Sound:
        assert self.source is not None  # only sides that can be decoded have a sound
        stream = self.source.stream
        places = [(part.start, part.frames) for part in self.parts] or [(0, stream.frames)]
        files = ((computed["sha256"], *place) for computed, place in zip(digests, places, strict=True))
        return Sound(stream, tuple(files))

    def excerpts(self) -> Excerpts | None:
        """Return the second look at the side, or None where it cannot be decoded."""
        if self.source is None:
            return None
        stream, file = self.source.stream, self.files[0].declared
        whole = (FileSegment(file.path, file.shown, 0, 0, stream.frames, stream.rate),)
        return Excerpts(stream, self.parts or whole, self.changes)

    def _hashed(self) -> Iterator[tuple[Examined, FileHash]]:
        return zip(self.files, self.hashed, strict=True)

    def silent(self, programme: ProgrammeBounds) -> Iterator[AudioFault]:
        """Yield faults of audio without programme: the whole side, or single files of it."""
        if programme.first is None:
            yield silent(self.received)
            return
        for part in self.parts:
            # only windows that lie inside the file count
            first = -(-part.start * WINDOWS_A_SECOND // part.rate)
            last = part.end * WINDOWS_A_SECOND // part.rate
            if first < last and not programme.programme[first:last].any():
                yield AudioFault(
                    kind="silent",
                    message=f"{part.named} {NO_PROGRAMME}",
                    remedy=AGAIN,
                    at=At(track=part.track, start_s=part.start / part.rate),
                )


def read_input(read: ReadDelivery, side: Side, store: Store | None = None) -> SideInput:
    """Examine the audio of a side; its faults are in `received`, never raised.

    Stored digests are not computed again.
    """
    name, channels = f"side:{side.id}", None if side.channels is None else len(side.channels)
    if side.audio is None:
        declared = [
            Declared(path, str(track.audio), channels=channels, folder=read.folder, track=track.number)
            for track, path in zip(side.tracks, read.track_audio[side.id], strict=True)
        ]
    else:
        declared = [_declared(read, side, channels)]
    files = tuple(inspect(entry) for entry in declared)
    found = [file.received for file in files]
    received = _together(side, files, found)
    facts = received.facts
    if received.fatal or facts.sample_rate is None or facts.frames is None:
        digested = [file.digested(_digests(file, store, side.id, whole=True)) for file in files]
        return SideInput(_together(side, files, digested), side, None)
    mono = facts.channels == 1
    hashed = tuple(_hash(file) for file in files)
    found_digests = [_digests(file, store, side.id) for file in files]
    stored = () if None in found_digests else tuple(digests for digests in found_digests if digests is not None)
    if side.audio is None:
        joined = join(side, declared, found)
        source: AudioSource = JoinedSource(joined.parts, name, mono=mono, hashed=hashed)
        return SideInput(received, joined.side, source, joined.parts, files, hashed, stored)
    source = FileSource(
        declared[0].path, name, facts.sample_rate, facts.frames, received.file, mono=mono, hashed=hashed[0]
    )
    return SideInput(received, side, source, (), files, hashed, stored)


def _hash(file: Examined) -> FileHash:
    """Return the computation of a file's digests that runs while the file is decoded."""
    samples = None if file.sample_bits is None else SampleMd5(file.sample_bits)
    return FileHash(file.declared.path, md5=file.md5, samples=samples)


def _digests(file: Examined, store: Store | None, side: str, *, whole: bool = False) -> Digests | None:
    """Return a file's stored digests, or None where they are computed while the file is decoded.

    They are computed at once where the store has a file of this size, which may save decoding it, and with `whole`,
    where the file will not be decoded.
    """
    if store is None or file.there is None:
        return None
    digests = store.digests(file.declared.path, file.there, file.names)
    if digests is None and (whole or store.resembles(file.there)):
        with contextlib.suppress(OSError):  # reported where the digests are needed
            digests = file.read_digests()
            _remember(file, digests, store, side)
    return digests


def _with_own_md5(file: Examined, digests: Digests) -> Digests:
    """Add the MD5 of the samples, which is the stated one, to digests of a file whose results were stored."""
    if file.sample_bits is None or file.flac is None or file.flac.md5 is None:
        return digests
    return {SAMPLES_MD5: file.flac.md5, **digests}


def _remember(file: Examined, digests: Digests, store: Store, side: str) -> None:
    """Store the digests of a file that did not change while they were computed."""
    if file.there is not None and file.untouched:
        store.remember(file.declared.path, file.there, digests, side)


def _together(side: Side, files: Sequence[Examined], found: Sequence[ReceivedAudio]) -> ReceivedAudio:
    """Return the received audio of a side: its one file, or its files joined."""
    declared = [file.declared for file in files]
    received = found[0] if side.audio is not None else join(side, declared, found).received
    return replace(received, changed=_changed(entry.path for entry in declared))


def _changed(paths: Iterable[Path]) -> str:
    """Return the latest modification date of some files, or "" where one is missing."""
    try:
        return max(date.fromtimestamp(path.stat().st_mtime) for path in paths).isoformat()  # noqa: DTZ012 - documents are local
    except (OSError, ValueError, OverflowError):
        return ""


def _declared(read: ReadDelivery, side: Side, channels: int | None) -> Declared:
    ends = [(track.end, track.number, i) for i, track in enumerate(side.tracks) if track.end is not None]
    last = max(ends, default=(None, None, 0))
    return Declared(
        path=read.audio[side.id],
        shown=str(side.audio),
        sha256=side.sha256,
        channels=channels,
        last_end=last[0],
        last_track=last[1],
        last_index=last[2],
        folder=read.folder,
    )
