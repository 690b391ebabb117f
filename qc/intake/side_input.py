"""How a side came in: its file, or one file a track, examined and ready to be heard as one source."""

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
from qc.audio.pipeline.process import Source
from qc.audio.received import AudioFault, ReceivedAudio
from qc.audio.source import FileSource
from qc.cache.keys import Sound
from qc.cache.store import Store
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.groove.signal.programme import WINDOWS_A_SECOND, ProgrammeBounds
from qc.intake.inspection import AGAIN, NO_PROGRAMME, Declared, Examined, changed, inspect, silent, with_fault
from qc.intake.joining import join
from qc.plugin_api import At

Digests = Mapping[str, str]


@dataclass(frozen=True)
class SideInput:
    """A side as it came in; `source` is None when something about its audio is too wrong to hear it."""

    received: ReceivedAudio
    side: Side
    """with the times of its tracks worked out where it came as one file a track"""
    source: Source | None
    parts: tuple[FileSegment, ...] = ()
    files: tuple[Examined, ...] = ()
    hashed: tuple[FileHash, ...] = ()
    """one a file, taken along while the source is heard; `received` has no digests before"""
    known: tuple[Digests, ...] = ()
    """the digests of each file where all are known without hearing it"""

    def digested(self, fault: AudioFault | None = None) -> ReceivedAudio:
        """Give what was received with the digests, after hearing, in which `fault` may have shown.

        A file whose bytes are not what was sent is not judged by what was heard of it. One that changed while it was
        heard has no digest, and no other fault that hearing it showed counts.
        """
        changes = self.changes()
        if changes:
            return replace(self.received, faults=(*self.received.faults, *changes))
        received = _together(self.side, self.files, [one.digested(its.digests) for one, its in self._hashed()])
        return received if fault is None or received.fatal else with_fault(received, fault)

    def changes(self) -> list[AudioFault]:
        """Say which files are other ones by now than when they were examined."""
        faults = [changed(file) for file in self.files]
        parts = self.parts or [None] * len(faults)
        return [
            fault if part is None else on_side(fault, part)
            for part, fault in zip(parts, faults, strict=True)
            if fault is not None
        ]

    def recalled(self) -> ReceivedAudio:
        """Give what was received with the digests that were known before, where nothing needs to be heard.

        Results of a FLAC file are stored only once the MD5 that it states of its samples was found to be theirs, so
        where its bytes are the same nobody needs to decode them again to know it.
        """
        found = [file.digested(_with_own_md5(file, known)) for file, known in zip(self.files, self.known, strict=True)]
        return _together(self.side, self.files, found)

    @property
    def known_sound(self) -> Sound | None:
        """What would be heard, as far as it is known before; None where it is not."""
        return self._sound(self.known) if self.known else None

    def heard_sound(self, store: Store) -> Sound | None:
        """Give what was heard to its end, and have its digests remembered; None where a file changed meanwhile."""
        digests = [its.digests for its in self.hashed]
        if not all(file.untouched for file in self.files) or None in digests:
            return None
        whole = [one for one in digests if one is not None]
        for file, one in zip(self.files, whole, strict=True):
            _remember(file, one, store, self.side.id)
        return self._sound(whole)

    def faulty_sound(self) -> Sound | None:
        """Return what would have been measured if no fault had shown; None where a file cannot be read, or changed."""
        with contextlib.suppress(OSError):
            if not all(file.untouched for file in self.files):
                return None
            return self._sound([its.digests or file.read_digests() for file, its in self._hashed()])
        return None

    def _sound(self, digests: Sequence[Digests]) -> Sound:
        assert self.source is not None  # whoever asks has heard it, or would
        stream = self.source.stream
        places = [(part.start, part.frames) for part in self.parts] or [(0, stream.frames)]
        files = ((one["sha256"], *place) for one, place in zip(digests, places, strict=True))
        return Sound(stream, tuple(files))

    def excerpts(self) -> Excerpts | None:
        """Give what may be read again of the side; None where it could not be heard."""
        if self.source is None:
            return None
        stream, file = self.source.stream, self.files[0].declared
        whole = (FileSegment(file.path, file.shown, 0, 0, stream.frames, stream.rate),)
        return Excerpts(stream, self.parts or whole, self.changes)

    def _hashed(self) -> Iterator[tuple[Examined, FileHash]]:
        return zip(self.files, self.hashed, strict=True)

    def silent(self, heard: ProgrammeBounds) -> Iterator[AudioFault]:
        """Say what holds no programme: the whole side, or single files of it."""
        if heard.first is None:
            yield silent(self.received)
            return
        for part in self.parts:
            # Windows that reach beyond the file do not count.
            first = -(-part.start * WINDOWS_A_SECOND // part.rate)
            last = part.end * WINDOWS_A_SECOND // part.rate
            if first < last and not heard.programme[first:last].any():
                yield AudioFault(
                    kind="silent",
                    message=f"{part.named} {NO_PROGRAMME}",
                    remedy=AGAIN,
                    at=At(track=part.track, start_s=part.start / part.rate),
                )


def read_input(read: ReadDelivery, side: Side, store: Store | None = None) -> SideInput:
    """Examine the audio of a side; what is wrong with it is in `received`, never raised.

    Digests that the store remembers need not be worked out again.
    """
    name, channels = f"side:{side.id}", None if side.channels is None else len(side.channels)
    if side.audio is None:
        declared = [
            Declared(path, str(track.audio), channels=channels, folder=read.folder, track=track.number)
            for track, path in zip(side.tracks, read.track_audio[side.id], strict=True)
        ]
    else:
        declared = [_declared(read, side, channels)]
    files = tuple(inspect(one) for one in declared)
    found = [file.received for file in files]
    received = _together(side, files, found)
    facts = received.facts
    if received.fatal or facts.sample_rate is None or facts.frames is None:
        told = [file.digested(_digests(file, store, side.id, whole=True)) for file in files]
        return SideInput(_together(side, files, told), side, None)
    mono = facts.channels == 1
    hashed = tuple(_hash(file) for file in files)
    found_digests = [_digests(file, store, side.id) for file in files]
    known = () if None in found_digests else tuple(one for one in found_digests if one is not None)
    if side.audio is None:
        joined = join(side, declared, found)
        source: Source = JoinedSource(joined.parts, name, mono=mono, hashed=hashed)
        return SideInput(received, joined.side, source, joined.parts, files, hashed, known)
    source = FileSource(
        declared[0].path, name, facts.sample_rate, facts.frames, received.file, mono=mono, hashed=hashed[0]
    )
    return SideInput(received, side, source, (), files, hashed, known)


def _hash(file: Examined) -> FileHash:
    """Get ready to work out the digests of a file that is heard."""
    samples = None if file.sample_bits is None else SampleMd5(file.sample_bits)
    return FileHash(file.declared.path, md5=file.md5, samples=samples)


def _digests(file: Examined, store: Store | None, side: str, *, whole: bool = False) -> Digests | None:
    """Give a file's digests as the store remembers them; None where hearing the file gives them as soon.

    They are worked out at once when a file of this size was heard before, so that this one need not be, and where
    `whole` says that nobody will hear it.
    """
    if store is None or file.there is None:
        return None
    known = store.digests(file.declared.path, file.there, file.names)
    if known is None and (whole or store.resembles(file.there)):
        with contextlib.suppress(OSError):  # told by whoever needs them
            known = file.read_digests()
            _remember(file, known, store, side)
    return known


def _with_own_md5(file: Examined, known: Digests) -> Digests:
    """Add the MD5 of the samples, which is the stated one, to digests of a file whose results were stored."""
    if file.sample_bits is None or file.flac is None or file.flac.md5 is None:
        return known
    return {SAMPLES_MD5: file.flac.md5, **known}


def _remember(file: Examined, digests: Digests, store: Store, side: str) -> None:
    """Have the digests remembered of a file that nobody touched while they were worked out."""
    if file.there is not None and file.untouched:
        store.remember(file.declared.path, file.there, digests, side)


def _together(side: Side, files: Sequence[Examined], found: Sequence[ReceivedAudio]) -> ReceivedAudio:
    """Give what was received of a side: its one file, or all that are joined."""
    declared = [file.declared for file in files]
    received = found[0] if side.audio is not None else join(side, declared, found).received
    return replace(received, changed=_changed(one.path for one in declared))


def _changed(paths: Iterable[Path]) -> str:
    """Give the day on which the last of some files was changed; empty when one is not there."""
    try:
        return max(date.fromtimestamp(path.stat().st_mtime) for path in paths).isoformat()  # noqa: DTZ012 - papers are local
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
