"""A side's audio file as a stream of channel-first slices, checked for numbers that no groove can follow."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from qc.audio.received import AudioFault
from qc.contract import At, Samples, Stream
from qc.dsp.usable import first_unusable
from qc.quantity import clock

BLOCK = 262_144
"""Frames a read: FLAC pays for every call."""
STEP = 1024
"""Frames a read where the place of a fault is looked for."""
SLICE = 32_768
"""Frames a slice of the pass: what taps and analyses hand on stays in the cache."""
ABSURD = 100.0
"""+40 dBFS: no gain structure leaves that behind, a wrong number format does (practice)."""


class AudioFaultError(Exception):
    """The audio cannot be judged, for the reason in `fault`."""

    def __init__(self, fault: AudioFault) -> None:
        super().__init__(fault.message)
        self.fault = fault


class FileSource:
    """Reads a WAV, RF64, AIFF or FLAC file in order; a mono file is given as the dual mono it will be cut as."""

    def __init__(self, path: Path, name: str, rate: int, frames: int, shown: str = "", *, mono: bool = False) -> None:
        self.stream = Stream(source=name, rate=rate, channels=2, frames=frames, mono=mono)
        self._path = path
        self._shown = shown or path.name
        self._at = 0
        self._sound: Any = None
        self._held: Any = None

    @property
    def blocks(self) -> int:
        """Number of blocks `read` gives."""
        return -(-self.stream.frames // BLOCK)

    def open(self) -> None:
        """Open the file; raises AudioFaultError when it went away or cannot be decoded."""
        try:
            self._sound = soundfile.SoundFile(self._path)
        except (OSError, soundfile.LibsndfileError) as error:
            raise AudioFaultError(_unreadable("not audio", self._shown, 0, self.stream.rate, str(error))) from None
        self._held = np.empty((min(BLOCK, self.stream.frames), self._sound.channels))

    def close(self) -> None:
        """Close the file."""
        if self._sound is not None:
            self._sound.close()
            self._sound = None

    def read(self) -> Sequence[Samples]:
        """Read the next block as slices (2, up to SLICE); raises AudioFaultError naming the second at fault."""
        before = self._at
        got = self.take(min(BLOCK, self.stream.frames - before))
        slices = []
        for start in range(0, len(got), SLICE):
            part = got[start : start + SLICE]
            samples = np.empty((2, len(part)))
            samples[:] = part.T  # a mono file fills both rows
            self.check(samples, before + start)
            samples.flags.writeable = False
            slices.append(samples)
        return slices

    def take(self, want: int) -> NDArray[np.float64]:
        """Decode the next frames, at most BLOCK, as (want, channels of the file), good until the next call.

        Raises AudioFaultError where the file cannot be decoded or ends before its time.
        """
        try:
            got = self._sound.read(out=self._held[:want])
        except (OSError, soundfile.LibsndfileError) as error:
            kind, frame = self._undecodable()
            raise AudioFaultError(_unreadable(kind, self._shown, frame, self.stream.rate, str(error))) from None
        if len(got) < want:
            raise AudioFaultError(_short(self._shown, self._at + len(got), self.stream))
        self._at += want
        return np.asarray(got)

    def check(self, samples: Samples, frame: int) -> None:
        """Raise AudioFaultError when one of the samples (2, n), whose first is `frame`, can be no programme."""
        bad = first_unusable(samples, ABSURD)
        if bad >= 0:
            value = float(samples[np.argmax(~(np.abs(samples[:, bad]) <= ABSURD)), bad])
            raise AudioFaultError(_unusable(self._shown, frame + bad, self.stream.rate, value))

    def _undecodable(self) -> tuple[str, int]:
        """Find the frame of this block at which decoding fails, and whether the file can be decoded behind it."""
        kind, frame = "cut off", self._at
        with contextlib.suppress(OSError, soundfile.LibsndfileError), soundfile.SoundFile(self._path) as sound:
            sound.seek(frame)
            while len(sound.read(STEP)) == STEP:
                frame += STEP
        with contextlib.suppress(OSError, soundfile.LibsndfileError), soundfile.SoundFile(self._path) as sound:
            sound.seek(self.stream.frames - 1)
            kind = "damaged" if len(sound.read(1)) else kind
        return kind, frame


def _unreadable(kind: str, shown: str, frame: int, rate: int, why: str) -> AudioFault:
    second, reason = frame / rate, why.rsplit(": ", maxsplit=1)[-1].strip().rstrip(".")
    return AudioFault(
        kind=kind,
        message=f"{shown} cannot be decoded from {clock(second)} on: {reason}",
        remedy="Ask for the file again; it was damaged on the way or while it was written.",
        at=At(start_s=second),
    )


def _short(shown: str, frame: int, stream: Stream) -> AudioFault:
    second = frame / stream.rate
    return AudioFault(
        kind="cut off",
        message=f"{shown} ends at {clock(second)}, its header says {clock(stream.frames / stream.rate)}",
        remedy="Ask for the file again; it was cut off on the way or while it was written.",
        at=At(start_s=second),
    )


def _unusable(shown: str, frame: int, rate: int, value: float) -> AudioFault:
    second = frame / rate
    if np.isfinite(value):
        level = 20.0 * np.log10(abs(value))
        return AudioFault(
            kind="absurd level",
            message=f"{shown} holds a sample of {level:+.0f} dBFS at {clock(second)}, above +40 dBFS",
            remedy="Ask for the file again: a number format was mistaken when it was written.",
            at=At(start_s=second),
        )
    return AudioFault(
        kind="not finite",
        message=f"{shown} holds a sample that is {'not a number' if np.isnan(value) else 'infinite'} "
        f"at {clock(second)}",
        remedy="Ask for the file again: the programme that wrote it failed at that place.",
        at=At(start_s=second),
    )
