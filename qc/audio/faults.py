"""Faults of audio files that decoding finds, in the sentences of the report."""

from __future__ import annotations

import numpy as np

from qc.audio.received import AudioFault
from qc.model.quantity import clock
from qc.plugin_base import At, Stream


class AudioFaultError(Exception):
    """Raised where audio cannot be judged; `fault` has the reason."""

    def __init__(self, fault: AudioFault) -> None:
        super().__init__(fault.message)
        self.fault = fault


def unreadable(kind: str, shown: str, frame: int, rate: int, why: str) -> AudioFault:
    """Return the fault of a file that cannot be decoded from a frame on; the last part of `why` is the reason."""
    second, reason = frame / rate, why.rsplit(": ", maxsplit=1)[-1].strip().rstrip(".")
    return AudioFault(
        kind=kind,
        message=f"{shown} cannot be decoded from {clock(second)} on: {reason}",
        remedy="Ask for the file again; it was damaged on the way or while it was written.",
        at=At(start_s=second),
    )


def short(shown: str, frame: int, stream: Stream) -> AudioFault:
    """Return the fault of a file that ends at a frame before its stated end."""
    second = frame / stream.rate
    return AudioFault(
        kind="cut off",
        message=f"{shown} ends at {clock(second)}, its header says {clock(stream.frames / stream.rate)}",
        remedy="Ask for the file again; it was cut off on the way or while it was written.",
        at=At(start_s=second),
    )


def longer(shown: str, stream: Stream) -> AudioFault:
    """Return the fault of a file with more frames than its header states."""
    second = stream.frames / stream.rate
    return AudioFault(
        kind="longer than its header",
        message=f"{shown} goes on behind {clock(second)}, where its header says that it ends",
        remedy="Ask for the file again: frames were added to it, or a second file was appended.",
        at=At(start_s=second),
    )


def unusable(shown: str, frame: int, rate: int, value: float) -> AudioFault:
    """Return the fault of a sample that is not finite or absurdly large."""
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
