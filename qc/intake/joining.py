"""Join a side delivered as one file a track: its files are placed to the frame, its track times computed.

Between two files lie the seconds of silence that the delivery asks for, rounded to whole frames. All files must have
one sample rate and one number of channels; bit depth and container may differ, for that does no harm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor

from qc.audio.multi_file_source import FileSegment, on_side
from qc.audio.received import AudioFault, ReceivedAudio
from qc.delivery.model import Side
from qc.intake.inspection import Declared
from qc.model.report import AudioFacts, TrackFile
from qc.plugin_base import At


@dataclass(frozen=True, slots=True)
class Joined:
    """A joined side before it is decoded; without faults `side` has the times of its tracks."""

    received: ReceivedAudio
    side: Side
    parts: tuple[FileSegment, ...]
    """the files up to the first of unknown length"""


def join(side: Side, declared: Sequence[Declared], found: Sequence[ReceivedAudio]) -> Joined:
    """Join the examined files of a side, which are in the order of its tracks."""
    parts = tuple(_parts(side, declared, found))
    placed = (_placed(file, declared[i], parts[i : i + 1]) for i, file in enumerate(found))
    faults = [fault for of_file in placed for fault in of_file]
    faults += _mixed(declared, found)
    names, tags = " + ".join(file.file for file in found), tuple(its for file in found for its in file.tags)
    received = ReceivedAudio(names, _facts(declared, found, parts), tuple(faults), tags=tags)
    return Joined(received, side if received.fatal else _timed(side, parts), parts)


def _parts(side: Side, declared: Sequence[Declared], found: Sequence[ReceivedAudio]) -> Iterator[FileSegment]:
    """Yield the files one after the other with their place, up to one of unknown length or another rate."""
    rate, at = found[0].facts.sample_rate, 0
    for track, entry, received in zip(side.tracks, declared, found, strict=True):
        frames = received.facts.frames
        if rate is None or frames is None or received.facts.sample_rate != rate:
            return
        yield FileSegment(entry.path, entry.named, track.number, at, frames, rate)
        at += frames + floor(track.gap_s * rate + Fraction(1, 2))


def _placed(received: ReceivedAudio, declared: Declared, part: Sequence[FileSegment]) -> Iterator[AudioFault]:
    """Yield the faults of one file with their place on the side: the second where possible, else the track."""
    for fault in received.faults:
        if part:
            yield on_side(fault, part[0])
        else:
            yield replace(fault, at=At(track=declared.track))


def _mixed(declared: Sequence[Declared], found: Sequence[ReceivedAudio]) -> Iterator[AudioFault]:
    """Yield faults of files that cannot be joined, since their rate or channels differ."""
    pairs = zip(declared, found, strict=True)
    readable = [(entry, received.facts) for entry, received in pairs if received.facts.sample_rate]
    for entry, facts in readable[1:]:
        first, of = readable[0]
        differs = []
        if facts.sample_rate != of.sample_rate:
            differs.append(f"a sample rate of {facts.sample_rate} Hz, {first.named} of {of.sample_rate} Hz")
        if facts.channels != of.channels:
            differs.append(f"{_channels(facts)}, {first.named} {_channels(of)}")
        if differs:
            yield AudioFault(
                kind="mixed formats",
                message=f"{entry.named} has {' and '.join(differs)}; they cannot be joined as they are",
                remedy="Ask for all files of this side in one sample rate and number of channels.",
                at=At(track=entry.track),
            )


def _channels(facts: AudioFacts) -> str:
    return f"{facts.channels} channel{'' if facts.channels == 1 else 's'}"


def _facts(declared: Sequence[Declared], found: Sequence[ReceivedAudio], parts: Sequence[FileSegment]) -> AudioFacts:
    """Return the facts of the joined side; texts that differ between files are joined, numbers left out."""
    facts = [received.facts for received in found]
    rate, whole = _same(facts, "sample_rate"), len(parts) == len(facts)
    frames = parts[-1].end if whole else None
    starts = [part.start / part.rate for part in parts]
    return AudioFacts(
        file=" + ".join(its.file for its in facts),
        format=_all(facts, "format"),
        coding=_all(facts, "coding"),
        sample_rate=rate,
        channels=_same(facts, "channels"),
        frames=frames,
        duration_s=None if frames is None or rate is None else frames / rate,
        files=tuple(
            TrackFile(
                track=int(entry.track or 0), file=its.file, sha256=its.sha256, coding=its.coding,
                duration_s=its.duration_s, checked=its.checked, own_md5=its.own_md5,
                start_s=starts[i] if i < len(starts) else None,
            )
            for i, (entry, its) in enumerate(zip(declared, facts, strict=True))
        ),
    )  # fmt: skip


def _same(facts: Sequence[AudioFacts], name: str) -> int | None:
    """Return a number that all files share, or None."""
    values = {getattr(its, name) for its in facts}
    shared: int | None = values.pop() if len(values) == 1 else None
    return shared


def _all(facts: Sequence[AudioFacts], name: str) -> str | None:
    """Return the distinct values of all files as one text, or None without any."""
    return " and ".join(dict.fromkeys(str(getattr(its, name)) for its in facts if getattr(its, name))) or None


def _timed(side: Side, parts: Sequence[FileSegment]) -> Side:
    """Return the side with the exact start and end of each track."""
    tracks = (
        track.model_copy(update={"start": Fraction(part.start, part.rate), "end": Fraction(part.end, part.rate)})
        for track, part in zip(side.tracks, parts, strict=True)
    )
    return side.model_copy(update={"tracks": tuple(tracks)})
