"""Bits in use in every 10 ms of a side, and how often its faint samples change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, Block, Chain, Quantity, Stream
from qc.plugin_api.kernels import kernel, read_only
from qc.plugin_api.meters import part_frames

MOST_BITS = 24
"""Most bits that are distinguished; a sample with finer steps counts as one of 24."""
LOOKED_AT = 64
"""Frames of each 10 ms whose bits are looked at: noise of 24 bits has its last bit set in nearly every other sample."""
FAINT = 4.0 / 2**15
"""Greatest magnitude of a faint sample: 4 steps of 16 bits, -78 dBFS."""
MOSTLY = 0.9
"""Part of the 10 ms with sound that keep to the bits in use (practice): a fade is often made with more bits."""


@kernel
def bits_of(sample: float) -> int:
    """Return the bits that a sample needs, 0 for zero; a sample that 24 bits do not hold counts as one of 24."""
    scaled = sample * 2.0**23
    whole = np.int64(scaled)
    if whole != scaled:
        return 24
    if whole == 0:
        return 0
    bits = 24
    while whole & 1 == 0:
        whole >>= 1
        bits -= 1
    return bits


@kernel
def look(left: Any, right: Any, first: int, stop: int, place: int, state: Any, last: Any) -> None:
    """Look at the frames of one part, of which `place` came before: `state` is (bits in use, changes, loud)."""
    for i in range(first, min(stop, first + LOOKED_AT - place)):
        if state[0] < 24:
            state[0] = max(state[0], bits_of(left[i]), bits_of(right[i]))
    if state[2] == 0:
        for i in range(first, stop):
            if abs(left[i]) > FAINT or abs(right[i]) > FAINT:
                state[2] = 1
                break
            state[1] += int(left[i] != last[0]) + int(right[i] != last[1])
            last[0], last[1] = left[i], right[i]
    last[0], last[1] = left[stop - 1], right[stop - 1]


@kernel
def look_all(x: Any, frames: int, place: int, state: Any, last: Any, used: Any, changes: Any) -> int:
    """Look at all of x (2, n), write what each part of `frames` that ends in it has, and return how many there are."""
    at, parts = 0, 0
    while at < x.shape[1]:
        stop = min(x.shape[1], at + frames - place)
        look(x[0], x[1], at, stop, place, state, last)
        place += stop - at
        at = stop
        if place == frames:
            used[parts], changes[parts] = state[0], -1 if state[2] else state[1]
            state[:] = 0
            parts, place = parts + 1, 0
    return parts


@dataclass(frozen=True, eq=False)
class BitsByPart:
    """Bits and changes of consecutive parts of 10 ms from frame 0 on; the last part may be shorter."""

    used: NDArray[np.uint8]
    """(parts,) bits in use, 0 in digital silence, 24 where there are 24 or more"""
    changes: NDArray[np.int32]
    """(parts,) samples of both channels that differ from the one before; -1 where one is above -78 dBFS"""
    frames: int
    """frames in a part"""
    rate: int

    @property
    def seconds(self) -> float:
        """Length of a part in s."""
        return self.frames / self.rate

    def in_use(self, start_s: float, end_s: float) -> int:
        """Return the bits that nine tenths of the sound between two file seconds keep to; 0 without sound."""
        used = self.used[max(0, round(start_s / self.seconds)) : max(0, round(end_s / self.seconds))]
        used = used[used > 0]
        return int(np.quantile(used, MOSTLY, method="higher")) if len(used) else 0


@dataclass(frozen=True)
class LowBits(Analysis[BitsByPart]):
    """Bits in use and changes of faint samples by 10 ms."""

    id: ClassVar[str] = "bits.low-bits"
    cost: ClassVar[float] = 0.3
    publishes: ClassVar[Mapping[str, str]] = {"file.bits_in_use": "bit"}
    meanings: ClassVar[Mapping[str, str]] = {
        "file.bits_in_use": (
            "Bits that nine tenths of the sound keep to: 16 where the last eight of 24 are always zero; at most 24."
        )
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _LookingAtBits:
        """Return the initial state for a stream of two channels."""
        return _LookingAtBits(stream)

    def publish(self, result: BitsByPart) -> Mapping[str, Quantity]:
        """Return the bits in use; none in digital silence."""
        used = result.in_use(0.0, len(result.used) * result.seconds)
        return {"file.bits_in_use": Quantity(value=used, unit="bit")} if used else {}


class _LookingAtBits:
    def __init__(self, stream: Stream) -> None:
        self._rate, self._frames = stream.rate, part_frames(stream.rate)
        self._place, self._last = 0, np.zeros(2)
        self._state = np.zeros(3, dtype=np.int64)
        self._used: list[NDArray[np.uint8]] = []
        self._changes: list[NDArray[np.int32]] = []

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._look(read_only(np.ascontiguousarray(block.samples)))

    def _look(self, x: NDArray[np.float64]) -> None:
        room = (self._place + x.shape[1]) // self._frames
        used, changes = np.zeros(room, dtype=np.uint8), np.zeros(room, dtype=np.int32)
        look_all(x, self._frames, self._place, self._state, self._last, used, changes)
        self._place = (self._place + x.shape[1]) % self._frames
        self._used.append(used)
        self._changes.append(changes)

    def finish(self) -> BitsByPart:
        """Return the bits and changes of all parts."""
        if self._place:
            used, changes, loud = self._state.tolist()
            self._used.append(np.array([used], dtype=np.uint8))
            self._changes.append(np.array([-1 if loud else changes], dtype=np.int32))
        used_by_part = np.concatenate([np.zeros(0, dtype=np.uint8), *self._used])
        changes_by_part = np.concatenate([np.zeros(0, dtype=np.int32), *self._changes])
        return BitsByPart(used_by_part, changes_by_part, self._frames, self._rate)
