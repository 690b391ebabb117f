"""CUE sheets as general tools write them: files, tracks, titles, and times in frames of 1/75 s.

Commands about a compact disc and not about audio in files (flags, CD-Text, remarks) are ignored.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import NoReturn

from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.model.errors import DeliveryError
from qc.text.sanitize import shown

FRAMES = 75
"""CUE frames in a second."""
LARGEST = 1 << 18
"""bytes; 99 tracks are a few pages of text."""
LONGEST_LINE = 5_000
"""Characters of a line: a path has at most 4,096 (practice)."""

_AUDIO = ("WAVE", "AIFF", "FLAC")
_PASSED_OVER = frozenset({
    "REM", "FLAGS", "SONGWRITER", "CDTEXTFILE", "ARRANGER", "COMPOSER", "MESSAGE", "GENRE", "DISC_ID", "UPC_EAN",
    "TOC_INFO", "TOC_INFO1", "TOC_INFO2", "SIZE_INFO",
})  # fmt: skip
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff]")
_TIME = re.compile(r"([0-9]{1,6}):([0-9]{1,2}):([0-9]{1,2})\Z")


@dataclass(frozen=True, slots=True)
class CueFile:
    """A file that the sheet names, with the kind and the line it gives."""

    name: str
    kind: str
    line: int


@dataclass(frozen=True, slots=True)
class Index:
    """A place in a file, by the file's number in the sheet (from 0) and exact seconds."""

    file: int
    second: Fraction
    line: int


@dataclass(slots=True)
class CueTrack:
    """A track; `indexes` by their number: 1 is its beginning, 0 the beginning of the gap before it."""

    number: int
    line: int
    title: str | None = None
    performer: str | None = None
    isrc: str | None = None
    pregap: Fraction = Fraction(0)
    """s of silence that a compact disc has before the track and the file has not"""
    postgap: Fraction = Fraction(0)
    """s, the same after it"""
    indexes: dict[int, Index] = field(default_factory=dict)

    @property
    def begins(self) -> Index:
        """Start of the track."""
        return self.indexes[1]


@dataclass(slots=True)
class CueSheet:
    """A sheet as read; `name` is how messages name it."""

    name: str
    title: str | None = None
    performer: str | None = None
    catalog: str | None = None
    files: list[CueFile] = field(default_factory=list)
    tracks: list[CueTrack] = field(default_factory=list)

    def fail(self, line: int, sentence: str) -> NoReturn:
        """Raise DeliveryError about a line of the sheet."""
        raise DeliveryError(f"{self.name}:{line}: {sentence}")

    def times(self, file: int, end: Fraction) -> Sequence[tuple[CueTrack, Fraction, Fraction]]:
        """Return the tracks that begin in a file, each with exact start and end in s; `end` is the end of the file.

        A track ends where the gap of the next one begins, or the next one itself. Raises DeliveryError for a track
        that begins behind the end of the file.
        """
        inside = [(i, track) for i, track in enumerate(self.tracks) if track.begins.file == file]
        found = []
        for i, track in inside:
            start, stop = track.begins.second, end
            if i + 1 < len(self.tracks):
                following = self.tracks[i + 1].indexes
                for index in (following.get(0), following[1]):
                    if index is not None and index.file == file:
                        stop = index.second
                        break
            if start >= end:
                what = f"track {track.number} begins at {written(start)}, the file ends at {written(end)}"
                self.fail(track.begins.line, f"{what}; this sheet belongs to another file")
            found.append((track, start, min(stop, end)))
        return found


def written(second: Fraction) -> str:
    """Write seconds as mm:ss:ff, down to the frame."""
    minutes, rest = divmod(int(second * FRAMES), 60 * FRAMES)
    return f"{minutes:02d}:{rest // FRAMES:02d}:{rest % FRAMES:02d}"


def read_cue(path: Path) -> CueSheet:
    """Read a CUE sheet; raises DeliveryError with one sentence, "FILE:LINE: ...", for what cannot be used."""
    name = shown(str(path), longest=500)
    try:
        content = read_bytes(path, LARGEST)
    except UnreadableFileError as fault:
        raise DeliveryError(f"{name}: {fault.sentence('CUE sheet', 'CUE sheet')}") from None
    return parse_cue(content, name)


def parse_cue(content: bytes, name: str) -> CueSheet:
    """Read a CUE sheet from its bytes: UTF-8 with or without a mark, else Windows-1252, which holds Latin-1."""
    if len(content) > LARGEST:
        raise DeliveryError(f"{name}: the file is larger than 256 KiB, so it cannot be a CUE sheet")
    sheet = CueSheet(name)
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", _decoded(content)), start=1):
        if len(raw) > LONGEST_LINE:
            sheet.fail(number, f"the line is {len(raw)} characters long; at most {LONGEST_LINE} are accepted")
        if unseen := _UNSEEN.search(raw):
            sheet.fail(number, f"the line holds the unseen character U+{ord(unseen[0]):04X}; delete it")
        command, _, rest = raw.strip().partition(" ")
        if command:
            _line(sheet, number, command.upper(), rest.strip())
    if not sheet.tracks:
        raise DeliveryError(f"{name}: the CUE sheet names no track; it needs FILE, TRACK and INDEX 01")
    _whole(sheet, sheet.tracks[-1])
    return sheet


def _decoded(content: bytes) -> str:
    for coding in ("utf-8-sig", "cp1252"):
        try:
            return content.decode(coding)
        except UnicodeDecodeError:
            continue
    return content.decode("latin-1")


def _line(sheet: CueSheet, number: int, command: str, rest: str) -> None:
    """Parse one line."""
    if command in _READERS:
        _READERS[command](sheet, number, rest)
    elif command in _TEXTS:
        text = _text(sheet, number, command, rest) or None
        setattr(sheet.tracks[-1] if sheet.tracks else sheet, command.lower(), text)
    elif command == "CATALOG":
        sheet.catalog = _text(sheet, number, command, rest)
    elif command in _OF_TRACKS:
        track = _inside(sheet, number, command)
        value = _text(sheet, number, command, rest) if command == "ISRC" else _time(sheet, number, rest)
        setattr(track, command.lower(), value)
    elif command not in _PASSED_OVER:
        sheet.fail(number, f'"{shown(command)}" is no command of a CUE sheet; correct or delete the line')


def _inside(sheet: CueSheet, number: int, command: str) -> CueTrack:
    """Return the track that a line belongs to."""
    if not sheet.tracks:
        sheet.fail(number, f"{command} stands before the first TRACK; move it below the track it belongs to")
    return sheet.tracks[-1]


def _text(sheet: CueSheet, number: int, command: str, rest: str) -> str:
    """Read a text, with or without quotation marks around it."""
    if not rest.startswith('"'):
        return rest
    if len(rest) < 2 or not rest.endswith('"'):
        sheet.fail(number, f"the quotation mark behind {command} is never closed; close it")
    return rest[1:-1].strip()


def _file(sheet: CueSheet, number: int, rest: str) -> None:
    name, kind = _name_and_kind(rest)
    if not name or not kind:
        sheet.fail(number, 'FILE needs a name and a kind; write it as FILE "side-a.wav" WAVE')
    if kind not in _AUDIO:
        why = "is not a master" if kind == "MP3" else "cannot be read"
        sheet.fail(number, f"a file of the kind {shown(kind)} {why}; ask for {', '.join(_AUDIO[:-1])} or {_AUDIO[-1]}")
    sheet.files.append(CueFile(name, kind, number))


def _name_and_kind(rest: str) -> tuple[str, str]:
    """Split the arguments of FILE, a name with or without quotation marks and a word; empty where one is missing.

    Split and not matched: a pattern that looks for the last blank takes quadratic time over a line of blanks.
    """
    if rest.startswith('"'):
        name, closed, kind = rest[1:].partition('"')
        words = kind.split() if closed else []
    else:
        name, *words = rest.rsplit(maxsplit=1) or [""]
    return (name, words[0].upper()) if len(words) == 1 else ("", "")


def _track(sheet: CueSheet, number: int, rest: str) -> None:
    match = re.match(r"([0-9]{1,2})\s+(\S+)\Z", rest)
    if match is None:
        sheet.fail(number, "TRACK needs a number and a kind; write it as TRACK 01 AUDIO")
    if not sheet.files:
        sheet.fail(number, "TRACK stands before the first FILE; name the audio file first")
    if match[2].upper() != "AUDIO":
        sheet.fail(number, f"track {int(match[1])} is of the kind {shown(match[2])}, not AUDIO; leave it out")
    if sheet.tracks:
        last = sheet.tracks[-1]
        _whole(sheet, last)
        if int(match[1]) <= last.number:
            sheet.fail(number, f"track {int(match[1])} follows track {last.number}; number the tracks upwards")
    if int(match[1]) < 1:
        sheet.fail(number, "tracks are numbered from 1")
    sheet.tracks.append(CueTrack(int(match[1]), number))


def _whole(sheet: CueSheet, track: CueTrack) -> None:
    if 1 not in track.indexes:
        sheet.fail(track.line, f"track {track.number} has no INDEX 01; say where it begins")


def _index(sheet: CueSheet, number: int, rest: str) -> None:
    match = re.match(r"([0-9]{1,2})\s+(\S+)\Z", rest)
    if match is None:
        sheet.fail(number, "INDEX needs a number and a time; write it as INDEX 01 mm:ss:ff")
    track, which = _inside(sheet, number, "INDEX"), int(match[1])
    here = Index(len(sheet.files) - 1, _time(sheet, number, match[2]), number)
    if which in track.indexes:
        sheet.fail(number, f"track {track.number} has INDEX {which:02d} twice (see line {track.indexes[which].line})")
    if track.indexes and which < max(track.indexes):
        sheet.fail(number, f"INDEX {which:02d} stands behind INDEX {max(track.indexes):02d}; list them upwards")
    for last in [index for entry in sheet.tracks[-2:] for index in entry.indexes.values()][-1:]:
        if last.file == here.file and here.second < last.second:
            then = f"{written(last.second)} of line {last.line}"
            sheet.fail(number, f"{written(here.second)} lies before {then}; the times of a file go upwards")
    for begins in [entry.begins for entry in sheet.tracks[-2:-1]]:
        if begins.file == here.file and here.second == begins.second:
            sheet.fail(number, f"the track before has no length (see line {begins.line}); correct one of the two times")
    track.indexes[which] = here


def _time(sheet: CueSheet, number: int, text: str) -> Fraction:
    match = _TIME.match(text)
    if match is None:
        sheet.fail(number, f'"{shown(text)}" is not a time; write mm:ss:ff, with 75 frames to the second')
    minutes, seconds, frames = (int(part) for part in match.groups())
    if seconds > 59 or frames >= FRAMES:
        sheet.fail(number, f'"{shown(text)}" is not a time; seconds go to 59 and frames to {FRAMES - 1}')
    return Fraction((60 * minutes + seconds) * FRAMES + frames, FRAMES)


_READERS = {"FILE": _file, "TRACK": _track, "INDEX": _index}
_TEXTS = frozenset({"TITLE", "PERFORMER"})
_OF_TRACKS = frozenset({"ISRC", "PREGAP", "POSTGAP"})


def matched(sheet: CueSheet, names: Sequence[str]) -> Mapping[int, int]:
    """Match the FILEs of a sheet with audio files: index of the FILE -> index of the name, both from 0.

    By name, else by the name without its suffix, for files are converted; one FILE and one name always match.
    Raises DeliveryError for a FILE that is none of them.
    """
    if len(sheet.files) == len(names) == 1:
        return {0: 0}
    plain = [re.split(r"[/\\]", name)[-1].casefold() for name in names]
    found = {}
    for i, file in enumerate(sheet.files):
        wanted = re.split(r"[/\\]", file.name)[-1].casefold()
        for ways in (plain, [name.rsplit(".", 1)[0] for name in plain]):
            key = wanted if ways is plain else wanted.rsplit(".", 1)[0]
            if ways.count(key) == 1:
                found[i] = ways.index(key)
                break
        else:
            sheet.fail(
                file.line, f'"{shown(file.name)}" is none of the audio files given; name it, or correct the line'
            )
    return found
