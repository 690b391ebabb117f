"""Spectra of both channels along a side: one windowed frame of about 0.17 s every second, by stream position.

The frames are summed by segments. Where there would be more than 128 segments, each two neighbours become one, so that
memory does not grow with the length of a side; a segment of a 20-minute side is 16 s long.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, Block, Chain, Stream
from qc.plugin_api.meters import TwoSpectra
from qc_standard.spectrum.hann import window

Array = NDArray[np.float64]

BINS = 4096
"""Bins of a spectrum without the one at 0 Hz: up to half the rate at 44.1 and 48 kHz, 22.05 or 24 kHz above."""
FRAMES_A_HOP = 6
"""Lengths of a frame from the start of one frame to the next."""
BAND = 16
"""Bins of a band of `Spectra.upper`."""
MOST_SEGMENTS = 128
OCTAVES_HZ = tuple(1000.0 * 2.0**k for k in range(-5, 5))
"""Middles of the octaves of `Spectra.octaves`, 31.25 Hz to 16 kHz; each reaches half an octave to either side."""
QUIET = 16
"""Spectra of quiet frames that are kept."""
DIGITAL_SILENCE = 1e-10
"""Mean square of the louder channel up to which a frame is digital silence: -100 dBFS rms."""


def frame_size(rate: int) -> int:
    """Return the frames of a spectrum: 8192 at 44.1 and 48 kHz, 16,384 at 88.2 and 96, 32,768 at 176.4 and 192."""
    return 2 * BINS * (1 if rate <= 50_000 else 2 if rate <= 100_000 else 4)


def octave_edges(rate: int) -> list[int]:
    """Return the first bin of each octave of `OCTAVES_HZ` that begins below half the rate, and the end of the last."""
    width = rate / frame_size(rate)
    edges = [int(np.ceil(middle / np.sqrt(2.0) / width)) for middle in (*OCTAVES_HZ, 2.0 * OCTAVES_HZ[-1])]
    return [*(edge for edge in edges[:-1] if edge < BINS), min(edges[-1], BINS)]


@dataclass(frozen=True, slots=True)
class SpectraSums:
    """What a pass over a side adds up; `Spectra` reads it."""

    rate: int
    counts: NDArray[np.int64]
    power: NDArray[np.float32]
    cross: NDArray[np.complex64]
    upper: NDArray[np.float32]
    levels: NDArray[np.float32]
    octaves: NDArray[np.float32]
    quiet_at: NDArray[np.int64]
    quiet: NDArray[np.float32]


class Spectra:
    """Mean spectra by segment, in power a bin: the sum over some bins is the mean square of that band.

    A sine of amplitude a has a^2 / 2 in all, over the four bins about its frequency. Arrays are empty, with the same
    shapes behind the first, where a side is shorter than a frame.
    """

    def __init__(self, sums: SpectraSums) -> None:
        self.rate: int = sums.rate
        """frames a second"""
        self.size = frame_size(sums.rate)
        """frames of a spectrum"""
        self.hop = FRAMES_A_HOP * self.size
        """frames from the start of one spectrum to the next; spectrum k begins at frame k * hop"""
        self.bin_hz: float = sums.rate / self.size
        """Hz from bin to bin: 5.4 at 44.1, 88.2 and 176.4 kHz, 5.9 at 48, 96 and 192 kHz"""
        self.counts = sums.counts
        """(segments,) spectra in each segment; the last segment may have fewer"""
        self.power = sums.power
        """(segments, 2, 4097) mean of |L|^2 and |R|^2 in each bin from 0 Hz on"""
        self.cross = sums.cross
        """(segments, 4097) mean of L R* in each bin, complex; its phase is negative where the left channel is late"""
        self.upper = sums.upper
        """(segments, 2, bands) the same power above 22.05 or 24 kHz, by 16 bins; no bands at 44.1 and 48 kHz"""
        self.levels = sums.levels
        """(spectra, 2) mean square of every spectrum, without 0 Hz"""
        self.octaves = sums.octaves
        """(spectra, 3, 10) sums of |L|^2, |R|^2 and the real part of L R* of every spectrum over each of `OCTAVES_HZ`,
        0 where an octave begins above half the rate"""
        self.quiet_at = sums.quiet_at
        """(quiet,) numbers of the 16 quietest spectra above -100 dBFS, the quietest first; fewer on a short side"""
        self.quiet = sums.quiet
        """(quiet, 2, 4097) power of those spectra"""

    @cached_property
    def frequencies(self) -> NDArray[Any]:
        """Frequency of each bin in Hz, (4097,)."""
        return self.bin_hz * np.arange(BINS + 1)

    @cached_property
    def starts_s(self) -> NDArray[Any]:
        """Start of each segment in file seconds, (segments,)."""
        return (np.cumsum(self.counts) - self.counts) * (self.hop / self.rate)

    @cached_property
    def ends_s(self) -> NDArray[Any]:
        """End of each segment's last spectrum in file seconds, (segments,)."""
        return (np.cumsum(self.counts) * self.hop - self.hop + self.size) / self.rate

    @cached_property
    def mean(self) -> Array:
        """Mean power of the side in each bin, (2, 4097); zeros where there is no spectrum."""
        return self.over(slice(0, len(self.counts)))

    def over(self, segments: slice) -> Array:
        """Return the mean power of some segments in each bin, (2, 4097)."""
        counts = self.counts[segments].astype(np.float64)
        total: Array = np.einsum("s,scb->cb", counts, self.power[segments].astype(np.float64))
        total /= max(1.0, float(counts.sum()))
        return total

    @property
    def mean_upper(self) -> Array:
        """Mean power of the side in each band of `upper`, (2, bands)."""
        counts = self.counts.astype(np.float64)
        total: Array = np.einsum("s,scb->cb", counts, self.upper.astype(np.float64))
        total /= max(1.0, float(counts.sum()))
        return total

    def bins(self, low_hz: float, high_hz: float) -> slice:
        """Return the bins from `low_hz` to below `high_hz`."""
        first, end = np.searchsorted(self.frequencies, [low_hz, high_hz]).tolist()
        return slice(first, end)


@dataclass(frozen=True)
class SideSpectra(Analysis[SpectraSums]):
    """The spectra of a side; `Spectra(result)` reads them."""

    id: ClassVar[str] = "spectrum.spectra"
    version: ClassVar[int] = 2
    cost: ClassVar[float] = 3.0

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _Summing:
        """Return the initial state for a stream of two channels."""
        return _Summing(stream.rate)


class _Summing:
    """Frames one after the other: a frame is transformed when its last sample is there."""

    def __init__(self, rate: int) -> None:
        self._rate, self._size = rate, frame_size(rate)
        self._hop = FRAMES_A_HOP * self._size
        self._window, self._spectra = window(self._size), TwoSpectra(self._size)
        self._frame = np.zeros((2, self._size), dtype=np.float32)
        self._segments = _Segments()
        self._levels: list[tuple[float, float]] = []
        self._octaves: list[NDArray[np.float32]] = []
        self._edges = octave_edges(rate)
        self._quiet: list[tuple[float, int, NDArray[np.float32]]] = []

    def push(self, block: Block) -> None:
        """Process the next block."""
        start, end = block.start, block.start + block.samples.shape[1]
        for number in range(start // self._hop, -(-end // self._hop)):
            begin = number * self._hop
            first, last = max(start, begin), min(end, begin + self._size)
            if first >= last:
                continue
            self._frame[:, first - begin : last - begin] = block.samples[:, first - start : last - start]
            if last == begin + self._size:
                self._transform(number)

    def _transform(self, number: int) -> None:
        """Add the spectrum of a whole frame."""
        self._frame *= self._window
        left, right = self._spectra.of(self._frame)
        power = np.stack([_squares(left), _squares(right)])
        power[:, [0, -1]] *= 0.5  # no second bin of a negative frequency is added to these two
        cross = left[: BINS + 1] * np.conj(right[: BINS + 1])
        upper = power[:, BINS + 1 :].reshape(2, -1, BAND).sum(axis=2)
        fine = power[:, : BINS + 1]
        mean_left, mean_right = power[:, 1:].sum(axis=1).tolist()
        self._segments.add(fine, cross, upper)
        self._levels.append((mean_left, mean_right))
        self._octaves.append(self._by_octave(fine, cross))
        self._keep_quiet(max(mean_left, mean_right), number, fine)

    def _by_octave(self, power: NDArray[np.float32], cross: NDArray[Any]) -> NDArray[np.float32]:
        """Return the sums of both powers and of the real part of the cross spectrum over each octave, (3, 10)."""
        first, *_, end = self._edges
        sums = np.zeros((3, len(OCTAVES_HZ)), dtype=np.float32)
        starts = [edge - first for edge in self._edges[:-1]]
        sums[:2, : len(starts)] = np.add.reduceat(power[:, first:end], starts, axis=1)
        sums[2, : len(starts)] = np.add.reduceat(cross.real[first:end], starts)
        return sums

    def _keep_quiet(self, level: float, number: int, power: NDArray[np.float32]) -> None:
        if level <= DIGITAL_SILENCE or (len(self._quiet) == QUIET and level >= self._quiet[-1][0]):
            return
        self._quiet = sorted([*self._quiet, (level, number, power.copy())], key=lambda frame: frame[:2])[:QUIET]

    def finish(self) -> SpectraSums:
        """Return the sums."""
        counts, power, cross, upper = self._segments.means()
        bands = (self._size // 2 - BINS) // BAND
        none = np.zeros((0, 2, BINS + 1), dtype=np.float32)
        return SpectraSums(
            self._rate,
            counts,
            power if len(counts) else none,
            cross if len(counts) else np.zeros((0, BINS + 1), dtype=np.complex64),
            upper if len(counts) else np.zeros((0, 2, bands), dtype=np.float32),
            np.array(self._levels, dtype=np.float32).reshape(-1, 2),
            np.stack(self._octaves) if self._octaves else np.zeros((0, 3, len(OCTAVES_HZ)), dtype=np.float32),
            np.array([number for _, number, _ in self._quiet], dtype=np.int64),
            np.stack([power for _, _, power in self._quiet]) if self._quiet else none,
        )


def _squares(spectrum: NDArray[Any]) -> NDArray[np.float32]:
    squares = spectrum.real**2
    squares += spectrum.imag**2
    return squares


Sums = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]
"""Sums of the power, of the cross spectrum and of the power above, as in `Spectra`."""


class _Segments:
    """Sums of spectra over segments of equally many, two of which become one when there are too many."""

    def __init__(self) -> None:
        self._length = 1
        self._full: list[Sums] = []
        self._open: Sums | None = None
        self._count = 0

    def add(self, power: NDArray[Any], cross: NDArray[Any], upper: NDArray[Any]) -> None:
        """Add a spectrum to the segment that is open."""
        if self._open is None:
            self._open = (power.copy(), cross, upper)
        else:
            _add(self._open, (power, cross, upper))
        self._count += 1
        if self._count < self._length:
            return
        self._full.append(self._open)
        self._open, self._count = None, 0
        if len(self._full) == MOST_SEGMENTS:
            for first, second in zip(self._full[::2], self._full[1::2], strict=True):
                _add(first, second)
            self._full, self._length = self._full[::2], 2 * self._length

    def means(self) -> tuple[NDArray[np.int64], Any, Any, Any]:
        """Return the counts of all segments and the means of their spectra."""
        segments = [*self._full] if self._open is None else [*self._full, self._open]
        counts = np.full(len(segments), self._length, dtype=np.int64)
        if self._open is not None:
            counts[-1] = self._count
        if not segments:
            return counts, np.zeros((0,), np.float32), np.zeros((0,), np.complex64), np.zeros((0,), np.float32)
        power, cross, upper = (np.stack([sums[part] for sums in segments]) for part in range(3))
        each = counts.astype(np.float32)
        return counts, power / each[:, None, None], cross / each[:, None], upper / each[:, None, None]


def _add(total: Sums, more: Sums) -> None:
    for into, added in zip(total, more, strict=True):
        np.add(into, added, out=into)
