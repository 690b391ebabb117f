"""A delivery file drafted from audio files: tracks from a CUE sheet or from silences, comments where a person fills in.

Nothing is guessed that is not in the audio: sides come in the order of the arguments, one file each, unless files are
named as the tracks of one side. Values that were found are marked as found.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path

import qc
from qc.audio.excerpts import Excerpts
from qc.audio.multi_file_source import FileSegment
from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import process_source
from qc.audio.source import AudioFaultError, FileSource
from qc.delivery.reader import parse_delivery
from qc.delivery.timecode import write_time
from qc.draft.cue import CueSheet, CueTrack, matched
from qc.draft.silence_split import LEAST_SILENCE, FoundTrack, found_tracks, without_ringing
from qc.groove.signal.programme import Programme, ProgrammeBounds
from qc.intake.inspection import Declared, examine, silent
from qc.model.cutting_chain import Chain
from qc.model.errors import DeliveryError
from qc.model.quantity import clock
from qc.model.report import AudioFacts
from qc.plugin_api import Stream
from qc.text.sanitize import shown

Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Given:
    """The files that the user named for one side: one file, or one a track."""

    id: str
    files: tuple[Path, ...]
    one_a_track: bool = False


@dataclass(frozen=True, slots=True)
class _File:
    """An examined audio file; `name` is its path in the delivery."""

    path: Path
    name: str
    facts: AudioFacts

    @property
    def end(self) -> Fraction:
        """Exact s of the file's end."""
        return Fraction(self.facts.frames or 0, self.facts.sample_rate or 1)


@dataclass(frozen=True, slots=True)
class Draft:
    """A delivery file to be written, and how many tracks it names."""

    text: str
    tracks: int


def draft(sides: Sequence[Given], file: Path, sheet: CueSheet | None = None, progress: Progress | None = None) -> Draft:
    """Draft the delivery that will lie at `file`; the audio must lie in its folder or below.

    Raises DeliveryError with one sentence for audio that cannot be used or lies elsewhere, and for a sheet that
    does not fit the audio.
    """
    folder = file.parent
    examined = [[_examine(path, folder) for path in side.files] for side in sides]
    flat = [audio for files in examined for audio in files]
    of_sheet = (
        {} if sheet is None else {where: i for i, where in matched(sheet, [audio.name for audio in flat]).items()}
    )
    lines = _head(sheet)
    for side, files in zip(sides, examined, strict=True):
        lines.append(f"  - id: {side.id}")
        if side.one_a_track:
            lines += _joined(files, [_by_sheet(audio, flat, sheet, of_sheet) for audio in files])
        else:
            tracks = _by_sheet(files[0], flat, sheet, of_sheet)
            lines += _one_file(files[0], tracks, sheet, None if progress is None else partial(progress, side.id))
    text = "\n".join(lines) + "\n"
    read = parse_delivery(text.encode(), file, folder)
    return Draft(text, sum(len(side.tracks) for side in read.delivery.sides))


def _examine(path: Path, folder: Path) -> _File:
    """Examine an audio file; raises DeliveryError where it is outside the folder or cannot be used."""
    home, there = Path(os.path.realpath(folder)), Path(os.path.realpath(path.parent)) / path.name
    named = shown(str(path))
    if not there.is_relative_to(home):
        raise DeliveryError(
            f"{named} lies outside {shown(str(folder))}; write the delivery to a folder above the audio"
        )
    if not Path(os.path.realpath(there)).is_relative_to(home):
        raise DeliveryError(f"{named} leads through a link out of {shown(str(folder))}; put the file itself there")
    name = there.relative_to(home).as_posix()
    if not name.isprintable() or "\\" in name or name[1:2] == ":":
        raise DeliveryError(f"{named} cannot be named in a delivery; give the file a name of plain letters")
    if not os.path.lexists(path):
        raise DeliveryError(f"{named} is not there; check its name")
    received = examine(Declared(path, name, folder=folder))
    if received.fatal is not None:
        raise DeliveryError(f"{received.fatal.message}; {_small(received.fatal.remedy)}")
    return _File(path, name, received.facts)


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:].rstrip(".")


_Times = Sequence[tuple[CueTrack, Fraction, Fraction]]


def _by_sheet(audio: _File, flat: Sequence[_File], sheet: CueSheet | None, of_sheet: dict[int, int]) -> _Times:
    """Return the tracks of the sheet for a file, or none."""
    number = of_sheet.get(flat.index(audio))
    return () if sheet is None or number is None else sheet.times(number, audio.end)


def _head(sheet: CueSheet | None) -> list[str]:
    title = "Untitled" if sheet is None or sheet.title is None else sheet.title
    origin = "from the CUE sheet" if title != "Untitled" else "fill in: the title of the record"
    lines = [
        f"# Drafted by sidegate {qc.__version__} from the audio. Look through every line, and fill in what only",
        "# the documents that came with it can tell.",
        "schema: 1",
        f"title: {_quoted(title)}    # {origin}",
        '# catalogue: QH-001    # fill in: the catalogue number, and take the "#" away',
        "disc: {size: 12in, speed: 33}    # fill in: 12in, 10in or 7in; 33 or 45",
        "sides:",
    ]
    if sheet is not None:
        extras = (("performer", sheet.performer), ("catalog number", sheet.catalog))
        lines[2:2] = [f"# The CUE sheet gives the {what} {shown(text)}." for what, text in extras if text]
    return lines


def _one_file(
    audio: _File, tracks: _Times, sheet: CueSheet | None, progress: Callable[[float], None] | None
) -> list[str]:
    """Draft a side in one file."""
    lines = [
        f"    audio: {_quoted(audio.name)}    # {_described(audio.facts)}",
        f"    sha256: {audio.facts.sha256}    # of the file as it was found",
        "    # cut_level: -3 dB    # only when a level was requested; without it the level is free",
    ]
    if audio.facts.channels == 2:
        lines.append("    channels: [left, right]")
    lines.append("    tracks:")
    if tracks:
        return lines + [_track(track.number, track, start, end, _of_sheet(track)) for track, start, end in tracks]
    if sheet is not None:
        lines.append("      # The CUE sheet names no track of this file.")
    least = f"{float(LEAST_SILENCE):g} s without programme (practice)"
    lines.append(f"      # Found from silences of at least {least}, to 10 ms.")
    for number, found in enumerate(_found(audio, _programme(audio, progress)), start=1):
        before = f"found: silence of {float(found.silence_before):.1f} s before"
        lines.append(_track(number, None, found.start, min(found.end, audio.end), before))
    return lines


def _joined(files: Sequence[_File], tracks: Sequence[_Times]) -> list[str]:
    """Draft a side with one file a track."""
    lines = [
        "    # One file a track, joined with the silence of gap_after between: a time, mark (2 s) or segue (none).",
        "    # Digests of the files belong into a file SHA256SUMS beside this one.",
        "    tracks:",
    ]
    for i, (audio, times) in enumerate(zip(files, tracks, strict=True)):
        listed = times[0][0] if len(times) == 1 else None
        title = _quoted(f"Track {i + 1}" if listed is None or listed.title is None else listed.title)
        isrc = f", isrc: {_quoted(listed.isrc)}" if listed is not None and listed.isrc else ""
        gap = ", gap_after: mark" if i + 1 < len(files) else ""
        origin = "title: fill in" if listed is None or listed.title is None else "from the CUE sheet"
        lines.append(
            f"      - {{number: {i + 1}, title: {title}, audio: {_quoted(audio.name)}{isrc}{gap}}}"
            f"    # {origin}; {_described(audio.facts)}"
        )
    return lines


def _track(number: int, listed: CueTrack | None, start: Fraction, end: Fraction, origin: str) -> str:
    title = _quoted(f"Track {number}" if listed is None or listed.title is None else listed.title)
    isrc = f", isrc: {_quoted(listed.isrc)}" if listed is not None and listed.isrc else ""
    times = f'start: "{_time(start, math.ceil)}", end: "{_time(end, math.floor)}"'
    return f"      - {{number: {number}, title: {title}, {times}{isrc}}}    # {origin}"


def _of_sheet(track: CueTrack) -> str:
    """Return a comment with the source of a track, and the silence of the sheet that no file has."""
    gaps = (("before", track.pregap), ("after", track.postgap))
    more = "".join(
        f"; it asks for {float(gap):.1f} s of silence {where} that the file has not" for where, gap in gaps if gap
    )
    return f"from the CUE sheet{more}"


def _time(second: Fraction, to: Callable[[Fraction], int]) -> str:
    """Write a time to the microsecond, rounded into the track so that it stays in the same 1/75 s."""
    return write_time(Fraction(to(second * 1_000_000), 1_000_000))


def _programme(audio: _File, progress: Callable[[float], None] | None) -> ProgrammeBounds:
    """Measure the programme of a file."""
    assert audio.facts.sample_rate is not None  # examined without a fault
    assert audio.facts.frames is not None
    need = Programme.of(Chain())
    source = FileSource(audio.path, f"file:{audio.name}", audio.facts.sample_rate, audio.facts.frames, audio.name)
    try:
        bounds = process_source(source, plan([need]), progress=progress)[need]
    except AudioFaultError as error:
        raise DeliveryError(f"{error.fault.message}; {_small(error.fault.remedy)}") from None
    if bounds.first is None:
        fault = silent(examine(Declared(audio.path, audio.name)))
        raise DeliveryError(f"{fault.message}; {_small(fault.remedy)}")
    return bounds


def _found(audio: _File, bounds: ProgrammeBounds) -> Sequence[FoundTrack]:
    """Find the tracks of a file, each with the end of its sound."""
    facts = audio.facts
    assert facts.sample_rate is not None  # examined without a fault
    assert facts.frames is not None
    stream = Stream(f"file:{audio.name}", facts.sample_rate, facts.channels or 2, facts.frames)
    look = Excerpts(stream, [FileSegment(audio.path, audio.name, 0, 0, facts.frames, facts.sample_rate)])
    return without_ringing(found_tracks(bounds), bounds.threshold, look, facts.sample_rate)


def _described(facts: AudioFacts) -> str:
    channels = "mono" if facts.channels == 1 else "stereo"
    rate = f"{(facts.sample_rate or 0) / 1000:g} kHz"
    return f"{rate}, {facts.coding}, {channels}, {clock(facts.duration_s or 0.0)}"


def _quoted(text: str) -> str:
    """Write a text as YAML reads it, whatever it holds."""
    return json.dumps(text, ensure_ascii=False)
