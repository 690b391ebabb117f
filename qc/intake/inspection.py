"""Examine an audio file before it is decoded: it must exist, be complete, and have a form that can be cut.

Everything wrong with it is an `AudioFault`, never an exception: it fails `delivery.audio-disagrees`, and the other
sides go on.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from qc.audio.container.contradictions import contradictions
from qc.audio.container.digests import SAMPLES_MD5, digests_of
from qc.audio.container.headers import Header, read_header
from qc.audio.container.streaminfo import StreamInfo, read_streaminfo
from qc.audio.received import AudioFault, ReceivedAudio
from qc.audio.tags.read import read_tags
from qc.delivery import checksum_files as sums
from qc.intake.own_md5 import compared, sample_bits
from qc.model.quantity import clock
from qc.model.report import AudioFacts
from qc.plugin_base import At

RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
CONTAINERS = {"WAV": "WAV", "WAVEX": "WAV", "RF64": "RF64", "AIFF": "AIFF", "FLAC": "FLAC"}
CODINGS = {
    "PCM_16": "16 bit", "PCM_24": "24 bit", "PCM_32": "32 bit", "FLOAT": "32 bit float", "DOUBLE": "64 bit float",
}  # fmt: skip
BY_DELIVERY = "the delivery"
SLACK = Fraction(1, 75)
"""s by which a track may end after the audio, one sector."""
AGAIN = "Ask for the file again."


@dataclass(frozen=True, slots=True)
class Declared:
    """The audio file of a side or track as declared in the delivery."""

    path: Path
    shown: str
    """the path as the delivery writes it"""
    sha256: str | None = None
    channels: int | None = None
    last_end: Fraction | None = None
    last_track: int | None = None
    last_index: int = 0
    """of the track that ends last among the side's tracks"""
    folder: Path | None = None
    """the delivery's folder, in which lists of digests may lie"""
    track: int | None = None
    """the track that the file holds, where there is one file a track"""

    @property
    def named(self) -> str:
        """The file as messages name it."""
        return self.shown if self.track is None else f"{self.shown} (track {self.track})"


@dataclass(frozen=True, slots=True)
class Examined:
    """A file compared with its declaration in all but its digests, which need a read of the whole file."""

    declared: Declared
    received: ReceivedAudio
    """facts and faults without those of the digests"""
    lists: tuple[sums.Stated, ...] = ()
    """digests stated by lists in the folder of the file"""
    odd: tuple[sums.Unusable, ...] = ()
    there: tuple[int, ...] | None = None
    """the state of the file: size in bytes, time of change in ns, inode, device, and the time in ns at which any of
    these was last set; None when there is none to read"""
    flac: StreamInfo | None = None
    """STREAMINFO of a FLAC file"""

    @property
    def md5(self) -> bool:
        """Whether an MD5 is stated, so that it must be computed too."""
        return any(stated.algorithm == "md5" for stated in self.lists)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the digests of bytes that are needed."""
        return ("sha256", "md5") if self.md5 else ("sha256",)

    @property
    def sample_bits(self) -> int | None:
        """Bits of the samples whose MD5 the file states itself; None where it states none."""
        return sample_bits(self.flac)

    @property
    def changed(self) -> bool:
        """Whether the file has another size, time of change or place on the disk by now, or went away."""
        try:
            return (self.there or ())[:4] != _state(self.declared.path)[:4]
        except FileNotFoundError:
            return True
        except OSError:
            return False

    @property
    def untouched(self) -> bool:
        """Whether the file has not changed in any way that its state shows."""
        try:
            return self.there == _state(self.declared.path)
        except OSError:
            return False

    def read_digests(self) -> dict[str, str]:
        """Compute the needed digests in one read of the file; raises OSError."""
        return digests_of(self.declared.path, md5=self.md5)

    def digested(self, found: Mapping[str, str] | None = None) -> ReceivedAudio:
        """Compare the digests with the stated ones; `found` are digests computed before, else the file is read."""
        if self.there is None:
            return self.received
        try:
            digests = found or self.read_digests()
        except OSError as error:  # a bad disk, or a file that goes away while it is read
            return _unreadable(self.declared, error)
        checked, faults = _compared(self, digests)
        own, more = compared(self.flac, self.declared.named, digests.get(SAMPLES_MD5))
        faults += more
        facts = replace_facts(self.received.facts, sha256=digests["sha256"], checked=checked, own_md5=own)
        return replace(self.received, facts=facts, faults=(*faults, *self.received.faults))


def examine(declared: Declared) -> ReceivedAudio:
    """Compare a file with its declaration, including its digests; the faults are in order of importance."""
    return inspect(declared).digested()


def inspect(declared: Declared) -> Examined:
    """Compare a file with its declaration without reading all of it."""
    fault = _not_a_file(declared)
    if fault is not None:
        return Examined(declared, ReceivedAudio(declared.shown, AudioFacts(file=declared.shown), (fault,)))
    lists, odd = ((), ()) if declared.folder is None else sums.stated(declared.folder, declared.shown)
    try:
        there = _state(declared.path)
    except OSError as error:
        return Examined(declared, _unreadable(declared, error))
    return Examined(declared, _readable(declared, there[0]), tuple(lists), tuple(odd), there, _flac(declared.path))


def _flac(path: Path) -> StreamInfo | None:
    """Return the STREAMINFO of a FLAC file, or None for other files."""
    try:
        return read_streaminfo(path)
    except OSError:  # shows when it is decoded
        return None


def _state(path: Path) -> tuple[int, ...]:
    """Return the values that identify the state of a file; raises OSError."""
    found = path.stat()
    return found.st_size, found.st_mtime_ns, found.st_ino, found.st_dev, found.st_ctime_ns


def _unreadable(declared: Declared, error: OSError) -> ReceivedAudio:
    why = f"{declared.named} cannot be read to its end: {error.strerror or error}"
    return ReceivedAudio(
        declared.shown, AudioFacts(file=declared.shown), (_fault("missing", why, "Copy it again, then check."),)
    )


def _readable(declared: Declared, size: int) -> ReceivedAudio:
    """Compare an existing file with its declaration."""
    facts = AudioFacts(file=declared.shown)
    if size == 0:
        return ReceivedAudio(declared.shown, facts, (_fault("empty", f"{declared.named} holds no bytes", AGAIN),))
    return _opened(declared, facts)


def _not_a_file(declared: Declared) -> AudioFault | None:
    shown = declared.named
    try:
        mode = os.stat(declared.path).st_mode  # noqa: PTH116 - before anything could block on a FIFO
    except FileNotFoundError:
        return _fault("missing", f"{shown} is not there", "Ask for the file, or correct its name in the delivery.")
    except OSError as error:
        return _fault("missing", f"{shown} cannot be reached: {error.strerror}", "Make it readable and check again.")
    if not stat.S_ISREG(mode):
        kind = "a folder" if stat.S_ISDIR(mode) else "a FIFO" if stat.S_ISFIFO(mode) else "not a plain file"
        return _fault("not a plain file", f"{shown} is {kind}", "Name the audio file itself in the delivery.")
    if not os.access(declared.path, os.R_OK):
        return _fault("missing", f"{shown} may not be read", "Make it readable and check again.")
    return None


def _opened(declared: Declared, facts: AudioFacts) -> ReceivedAudio:
    """Examine the header with libsndfile, and with our own parser for what libsndfile does not report."""
    import soundfile

    header = read_header(declared.path)
    try:
        info = soundfile.info(str(declared.path))
    except (soundfile.LibsndfileError, OSError, ValueError) as error:
        return ReceivedAudio(declared.shown, facts, (_not_audio(declared, header, str(error)),))
    if info.format not in CONTAINERS:
        fault = _fault("not audio", f"{declared.named} is {info.format_info}, not WAV, RF64, AIFF or FLAC", _FORMATS)
        return ReceivedAudio(declared.shown, replace_facts(facts, format=info.format), (fault,))
    frames = None if _left_open(header) else info.frames
    facts = replace_facts(
        facts,
        format=header.container or CONTAINERS[info.format],
        coding=CODINGS.get(info.subtype, info.subtype_info),
        sample_rate=info.samplerate,
        channels=info.channels,
        frames=frames,
        duration_s=None if frames is None else frames / info.samplerate,
    )
    length = _length(declared, header, info)
    odd = [] if header.left_open or header.cut_off else _contradicting(declared, header, info)
    tags = read_tags(declared.path, declared.shown, declared.track)
    return ReceivedAudio(declared.shown, facts, (*_form(declared, info), *length, *odd), tags=(tags,))


def _contradicting(declared: Declared, header: Header, info: Any) -> list[AudioFault]:
    """Return faults for contradictions between the header and the contents."""
    return [
        AudioFault(found.kind, f"{declared.named} {found.sentence}", _WRITTEN_ANEW, None, fatal=found.lost)
        for found in contradictions(declared.path, header, info)
    ]


_WRITTEN_ANEW = "Ask for the file again, exported anew: its header was written wrongly, or changed afterwards."


_FORMATS = "Ask for a WAV, RF64, AIFF or FLAC file of the master."


def _form(declared: Declared, info: Any) -> list[AudioFault]:
    """Return faults of sample rate, channels and coding."""
    faults, shown = [], declared.named
    if info.samplerate not in RATES:
        rates = ", ".join(f"{rate / 1000:g}" for rate in RATES)
        faults.append(
            _fault("rate", f"{shown} has a sample rate of {info.samplerate} Hz", f"Ask for one of {rates} kHz.")
        )
    if info.channels not in (1, 2):
        faults.append(
            _fault("channels", f"{shown} has {info.channels} channels; a side is cut from one or two",
                   "Ask for the stereo or mono master of this side.")
        )  # fmt: skip
    elif declared.channels is not None and info.channels != declared.channels:
        faults.append(
            _fault("channels", f"{shown} has {info.channels} channel{'s'[: info.channels - 1]}, "
                   f"the delivery says {declared.channels}",
                   "Ask for the file that was meant, or correct the delivery.")
        )  # fmt: skip
    if info.subtype not in CODINGS:
        faults.append(
            _fault("bit depth", f"{shown} is coded as {info.subtype_info}; a master has 16 to 32 bit or float",
                   "Ask for the master before it was reduced.")
        )  # fmt: skip
    return faults


def _length(declared: Declared, header: Header, info: Any) -> list[AudioFault]:
    """Return faults of the length: an incomplete or empty file, or one shorter than declared."""
    shown, there = declared.named, Fraction(info.frames, info.samplerate)
    if _left_open(header):
        return [
            _fault("length left open", f"{shown} does not say how long it is, as a file written to a pipe",
                   "Ask for the file again, written to a disk.")
        ]  # fmt: skip
    if header.cut_off:
        return [_cut_off(declared, header, info)]
    if info.frames == 0:
        return [_fault("empty", f"{shown} holds no frames", AGAIN)]
    if declared.last_end is not None and declared.last_end > there + SLACK:
        return [
            AudioFault(
                kind="shorter than declared",
                message=f"{shown} ends at {clock(float(there))}, track {declared.last_track} is said to end at "
                f"{clock(float(declared.last_end))}",
                remedy="Ask for the whole side, or correct the track times.",
                at=At(start_s=float(there), track=declared.last_track),
                fatal=False,  # what is there may show the cause: another side, another speed
                field=("tracks", declared.last_index, "end"),
                fails=True,
            )
        ]
    return []


def _left_open(header: Header) -> bool:
    """Whether a file states no length, so that it may or may not be complete."""
    return header.left_open or (header.container == "FLAC" and header.frames_stated is None)


def _cut_off(declared: Declared, header: Header, info: Any) -> AudioFault:
    second = float(Fraction(info.frames, info.samplerate))
    stated = f"{header.data_bytes_stated:,} bytes of sound" if header.data_bytes_stated else "more"
    if header.frames_stated:
        stated = clock(header.frames_stated / info.samplerate)
    return AudioFault(
        kind="cut off",
        message=f"{declared.named} is cut off: it ends at {clock(second)}, its header says {stated}",
        remedy="Ask for the file again; it was cut off on the way or while it was written.",
        at=At(start_s=second),
    )


def _compared(examined: Examined, found: Mapping[str, str]) -> tuple[tuple[str, ...], list[AudioFault]]:
    """Compare digests with those of the delivery and of lists; return what was compared, and the faults."""
    declared, faults, checked = examined.declared, [], []
    if declared.sha256 is not None:
        checked.append("sha256 of the delivery")
        if declared.sha256.lower() != found["sha256"]:
            faults.append(_checksum(declared, "sha256", found["sha256"], BY_DELIVERY, declared.sha256))
    for stated in examined.lists:
        checked.append(f"{stated.algorithm} of {stated.file}")
        if stated.digest != found[stated.algorithm]:
            faults.append(_checksum(declared, stated.algorithm, found[stated.algorithm], stated.by, stated.digest))
    faults += [
        AudioFault("checksum list", unusable.message, "Correct the list or ask for it again.", None, fatal=False)
        for unusable in examined.odd
    ]
    return tuple(dict.fromkeys(checked)), faults


def _checksum(declared: Declared, algorithm: sums.Algorithm, found: str, by: str, said: str) -> AudioFault:
    fault = _fault(
        "checksum",
        f"{declared.named} has {sums.NAMES[algorithm]} {found[:12]}…, {by} says {said[:12]}…",
        "Ask for the file that was meant; this one is another version or was damaged on the way.",
    )
    return replace(fault, field=("sha256",)) if by == BY_DELIVERY else fault


def _not_audio(declared: Declared, header: Header, why: str) -> AudioFault:
    reason = header.note or why.rsplit(": ", maxsplit=1)[-1].strip().rstrip(".")
    return _fault("not audio", f"{declared.named} cannot be read as audio: {reason}", _FORMATS)


def _fault(kind: str, message: str, remedy: str) -> AudioFault:
    return AudioFault(kind=kind, message=message, remedy=remedy, at=None)


def replace_facts(facts: AudioFacts, **changes: object) -> AudioFacts:
    """Return the facts with some of them replaced."""
    return facts.model_copy(update=changes)


def changed(examined: Examined) -> AudioFault | None:
    """Return a fault where a file changed after it was examined, else None."""
    if not examined.changed:
        return None
    before = (examined.there or (0,))[0]
    try:
        now = _state(examined.declared.path)[0]
        how = f"had {before:,} bytes and has {now:,} now" if now != before else "was written over or replaced"
    except OSError:
        how = "went away"
    return _fault("changed", f"{examined.declared.named} changed while it was read: it {how}", _AT_REST)


_AT_REST = "Wait until nothing writes or copies the file any more, then check again."


def with_fault(received: ReceivedAudio, fault: AudioFault) -> ReceivedAudio:
    """Return the received audio with a further fault."""
    return replace(received, faults=(*received.faults, fault))


NO_PROGRAMME = "holds no programme from start to end, only silence, noise, or sound too low or too high to cut"


def silent(received: ReceivedAudio) -> AudioFault:
    """Return the fault of a file without programme."""
    return _fault("silent", f"{received.file} {NO_PROGRAMME}", AGAIN)
