"""Decoders of audio files: one for plain files, one for FLAC and one for all others.

Plain files are read and unpacked here. FLAC of 16 and 24 bits is left to dr_flac where the optional package miniaudio
is installed, since it takes two thirds of the time that libsndfile does; everything else is left to libsndfile. All
return the same digits for the same file. A decoder loads frames in order, and writes them out in pieces.
"""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import soundfile
from numpy.typing import NDArray

from qc.audio.buffers import Buffers
from qc.audio.container.layout import PcmLayout, read_layout
from qc.audio.container.sample_md5 import Integers
from qc.dsp.samples import unpack

Row = NDArray[np.float64]
UNDECODABLE = (OSError, soundfile.LibsndfileError)
"""Exceptions of a decoder."""
DR_FLAC = ("ma_dr_flac_open_file", "ma_dr_flac_read_pcm_frames_s32", "ma_dr_flac_close")
"""Functions of miniaudio's C library used here, since its Python interface keeps a whole file in memory."""
STEP = 1024
"""Frames a read where the place of a fault is looked for."""
_VALUES = {"PCM_16": np.int16, "PCM_24": np.uint16, "PCM_32": np.int32, "FLOAT": np.float32, "DOUBLE": np.float64}
_SCALES = {"PCM_16": 2.0**-15, "PCM_32": 2.0**-31, "FLOAT": 1.0, "DOUBLE": 1.0}


class Decoder(Protocol):
    """An open audio file; full scale is 1.0."""

    whole_numbers: bool
    """whether the samples are integers, so that none is above full scale"""

    def load(self, count: int) -> int:
        """Decode the next frames and return their number; raises one of UNDECODABLE."""
        ...

    def put(self, at: int, left: Row, right: Row) -> None:
        """Write decoded frames, from frame `at` of the last load on; a mono file fills both rows."""
        ...

    def seek(self, frame: int) -> None:
        """Go to a frame, for the next `load`; raises one of UNDECODABLE."""
        ...

    def came_from(self) -> tuple[int, memoryview] | None:
        """Return offset and bytes of the last load, or None where the decoder does not expose them."""
        ...

    def integers(self) -> Integers | None:
        """Return the samples of the last load as integers, or None where they are decoded to floats."""
        ...

    def goes_on(self) -> bool:
        """Whether more can be decoded after the last load; called once."""
        ...

    def place(self, frame: int) -> tuple[str, int]:
        """Find the kind of a fault, "damaged" or "cut off", and the frame, from `frame` on, at which decoding fails."""
        ...

    def close(self) -> None:
        """Close the file."""
        ...


def decoder(path: Path, rate: int, frames: int, most: int, ring: int) -> Decoder:
    """Open a file that loads at most `most` frames at a time; raises one of UNDECODABLE.

    The bytes and integers of the last `ring` loads stay unchanged while references to them exist. A file is read as a
    plain one only where its header has the `rate`, in Hz, and the number of `frames` that libsndfile reports.
    """
    layout = read_layout(path) if sys.byteorder == "little" else None
    if layout is not None and (layout.rate, layout.frames) == (rate, frames):
        return _PcmReader(path, layout, min(most, frames), ring)
    return _Flac.of(_Library(path, frames, min(most, frames), ring))


def _miniaudio() -> Any | None:
    """Import the package that has dr_flac; None where it is missing or lacks the functions called here."""
    try:
        import miniaudio
    except ImportError:
        return None
    library = getattr(miniaudio, "lib", None)
    return miniaudio if hasattr(miniaudio, "ffi") and all(hasattr(library, name) for name in DR_FLAC) else None


class _PcmReader:
    """Reads the bytes of a plain file and unpacks them."""

    def __init__(self, path: Path, layout: PcmLayout, most: int, ring: int) -> None:
        self._file = path.open("rb", buffering=0)
        self._file.seek(layout.start)
        self._layout = layout
        self._next = self._begin = layout.start
        octets = -(-most * layout.frame // 8) * 8
        self._buffers = Buffers((octets,), np.uint8, ring)
        self._raw: NDArray[np.uint8] = self._buffers.take()
        self._got = memoryview(b"")
        self.whole_numbers = layout.coding.startswith("PCM")

    def load(self, count: int) -> int:
        del self._raw, self._got  # so that the buffer can be reused where no other reference exists
        self._raw = self._buffers.take()
        into = memoryview(self._raw)[: count * self._layout.frame]  # type: ignore[arg-type]
        there = 0
        while there < len(into) and (more := self._file.readinto(into[there:])):
            there += more
        self._got = into[:there]
        self._begin, self._next = self._next, self._next + there
        return there // self._layout.frame

    def put(self, at: int, left: Row, right: Row) -> None:
        coding, pair = self._layout.coding, self._layout.channels == 2
        if coding == "PCM_24" and pair:
            unpack.stereo24(self._raw.view(np.uint16), at, left, right)
        elif coding == "PCM_24":
            unpack.mono24(self._raw, at, left, right)
        else:
            values: NDArray[Any] = self._raw.view(_VALUES[coding])
            (unpack.stereo if pair else unpack.mono)(values, at, _SCALES[coding], left, right)

    def seek(self, frame: int) -> None:
        self._next = self._file.seek(self._layout.start + frame * self._layout.frame)

    def came_from(self) -> tuple[int, memoryview] | None:
        return self._begin, self._got

    def integers(self) -> Integers | None:
        return None

    def goes_on(self) -> bool:
        return False

    def place(self, frame: int) -> tuple[str, int]:
        return "damaged", frame

    def close(self) -> None:
        self._file.close()


class _Library:
    """Decodes a file by libsndfile, which lets other threads run meanwhile."""

    def __init__(self, path: Path, frames: int, most: int, ring: int) -> None:
        self.path, self._frames = path, frames
        self._sound: Any = soundfile.SoundFile(path)
        self.whole_numbers = self._sound.subtype.startswith("PCM")
        # whole numbers come in the upper bits of int32, half as wide as float64 and not a digit less
        kind = np.int32 if self.whole_numbers else np.float64
        self._buffers = Buffers((most, self._sound.channels), kind, ring)
        self.buffer: NDArray[Any] = self._buffers.take()
        self._got = 0
        self._scale = 2.0**-31 if self.whole_numbers else 1.0
        self.usual_flac = self._sound.format == "FLAC" and self._sound.subtype in {"PCM_16", "PCM_24"}

    def load(self, count: int) -> int:
        self._got = len(self._sound.read(out=self.renewed()[:count]))
        return self._got

    def renewed(self) -> NDArray[Any]:
        """Return a buffer without other references for the next frames."""
        del self.buffer  # so that the buffer can be reused
        self.buffer = self._buffers.take()
        return self.buffer

    def put(self, at: int, left: Row, right: Row) -> None:
        unpack_frames = unpack.stereo if self.buffer.shape[1] == 2 else unpack.mono
        unpack_frames(self.buffer.reshape(-1), at, self._scale, left, right)

    def seek(self, frame: int) -> None:
        self._sound.seek(frame)

    def came_from(self) -> tuple[int, memoryview] | None:
        return None

    def integers(self) -> Integers | None:
        return self.buffer[: self._got] if self.whole_numbers else None

    def goes_on(self) -> bool:
        return False

    def place(self, frame: int) -> tuple[str, int]:
        kind = "cut off"
        for step in (len(self.buffer), STEP):
            with contextlib.suppress(*UNDECODABLE), soundfile.SoundFile(self.path) as sound:
                sound.seek(frame)
                while len(sound.read(step)) == step:
                    frame += step
        with contextlib.suppress(*UNDECODABLE), soundfile.SoundFile(self.path) as sound:
            sound.seek(self._frames - 1)
            kind = "damaged" if len(sound.read(1)) else kind
        return kind, frame

    def decode_all(self) -> None:
        """Decode the whole file; raises the error of libsndfile."""
        with soundfile.SoundFile(self.path) as sound:
            while len(sound.read(out=self.buffer)):
                pass

    def close(self) -> None:
        self._sound.close()


class _Flac:
    """Decodes FLAC from its beginning by dr_flac; after a seek, or for the place of a fault, by libsndfile.

    dr_flac passes over a damaged frame, so that it returns too few frames. The whole file is then decoded by
    libsndfile, whose error is the one reported.
    """

    whole_numbers = True

    def __init__(self, library: _Library, miniaudio: Any, flac: Any) -> None:
        self._library, self._miniaudio, self._flac = library, miniaudio, flac
        self._got = 0

    @classmethod
    def of(cls, library: _Library) -> Decoder:
        """Return the dr_flac decoder of a file that libsndfile has opened; `library` where dr_flac cannot decode it."""
        miniaudio = _miniaudio() if library.usual_flac else None
        if miniaudio is None:
            return library
        flac = miniaudio.lib.ma_dr_flac_open_file(os.fsencode(library.path), miniaudio.ffi.NULL)
        return cls(library, miniaudio, flac) if flac != miniaudio.ffi.NULL else library

    def load(self, count: int) -> int:
        if self._flac is None:
            return self._library.load(count)
        self._got = self._read(self._library.renewed()[:count])
        if self._got < count:
            self._library.decode_all()
        return self._got

    def put(self, at: int, left: Row, right: Row) -> None:
        self._library.put(at, left, right)

    def seek(self, frame: int) -> None:
        self._release()
        self._library.seek(frame)

    def came_from(self) -> tuple[int, memoryview] | None:
        return None

    def integers(self) -> Integers | None:
        return self._library.integers() if self._flac is None else self._library.buffer[: self._got]

    def goes_on(self) -> bool:
        return self._flac is not None and self._read(np.empty((1, self._library.buffer.shape[1]), np.int32)) > 0

    def _read(self, into: Integers) -> int:
        """Decode the next frames into an array and return their number."""
        there = self._miniaudio.ffi.from_buffer("int *", into, require_writable=True)
        got: int = self._miniaudio.lib.ma_dr_flac_read_pcm_frames_s32(self._flac, len(into), there)
        return got

    def place(self, frame: int) -> tuple[str, int]:
        return self._library.place(frame if self._flac is None else 0)

    def close(self) -> None:
        self._release()
        self._library.close()

    def _release(self) -> None:
        if self._flac is not None:
            self._miniaudio.lib.ma_dr_flac_close(self._flac)
            self._flac = None
