"""Relation of the two channels of a side, without direct current: balance, correlation, difference.

All numbers are computed from sums over parts of 10 ms, so that a stretch of any length - the side, a track, 10 s -
has its own: a covariance is sum(xy) - sum(x) sum(y) / n. Only parts that are programme count.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import (
    Analysis,
    At,
    Block,
    Chain,
    CheckContext,
    Derived,
    Measurements,
    Need,
    Parts,
    Programme,
    Quantity,
    Stream,
)
from qc.plugin_api.meters import ChannelSums, biquad, part_frames, sliding
from qc_standard.dead import DeadStretch, dead_stretches
from qc_standard.layout import DeclaredTrack
from qc_standard.stereo import TENTH, LowBand, by_tenths

Array = NDArray[np.float64]

SILENT = 1e-9
"""Mean square up to which a channel is silent: -90 dBFS rms."""
MOST_BALANCE, MOST_DIFFERENCE = 60.0, 120.0
"""dB at which a balance, and the difference of the channels, are given as a bound."""
WINDOW = 1000
"""Parts of 10 ms in the windows that the balance is worked out over: 10 s."""
LEAST_ABOVE = 0.05
"""Part of the energy that must lie above 300 Hz for a correlation there (practice)."""
LEAST_PARTS = 100
"""Parts of programme that a track needs to be judged by itself: 1 s."""


@dataclass(frozen=True)
class Means(Analysis[Array]):
    """Sums of L and R by 10 ms, (parts, 2)."""

    id: ClassVar[str] = "stereo.means"
    version: ClassVar[int] = 3
    cost: ClassVar[float] = 0.2

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _SummingMeans:
        """Return the initial state for a stream of two channels."""
        return _SummingMeans(stream)


class _SummingMeans:
    def __init__(self, stream: Stream) -> None:
        self._sums = ChannelSums(part_frames(stream.rate), stream.frames)

    def push(self, block: Block) -> None:
        """Process the next block."""
        self._sums.push(block.samples)

    def finish(self) -> Array:
        """Return the sums, (parts, 2)."""
        return self._sums.finish()[0]


@dataclass(frozen=True, slots=True)
class Energies:
    """Mean squares without direct current of a stretch: left, right, and their mean product."""

    left: float
    right: float
    both: float

    def balance(self) -> Quantity | None:
        """Right over left in dB, -60 and 60 with a bound where one is silent; None when both are."""
        if max(self.left, self.right) <= SILENT:
            return None
        dead = min(self.left, self.right) <= SILENT
        value = math.copysign(math.inf, self.right - self.left) if dead else decibels(self.right, self.left)
        return bounded(value, MOST_BALANCE)

    def correlation(self) -> float | None:
        """Correlation, -1 to 1; 0 where one channel is silent, None when both are."""
        if max(self.left, self.right) <= SILENT:
            return None
        if min(self.left, self.right) <= SILENT:
            return 0.0
        return min(1.0, max(-1.0, self.both / math.sqrt(self.left * self.right)))

    def difference(self) -> Quantity | None:
        """Left minus right over left plus right, in dB, with a bound where either is nothing; None in silence."""
        if max(self.left, self.right) <= SILENT:
            return None
        apart = max(0.0, self.left + self.right - 2.0 * self.both)
        together = max(0.0, self.left + self.right + 2.0 * self.both)
        return bounded(decibels(apart, together), MOST_DIFFERENCE)


def decibels(power: float, reference: float) -> float:
    """Ratio of two powers in dB; infinite where one is 0."""
    if power <= 0.0:
        return -math.inf
    return math.inf if reference <= 0.0 else 10.0 * math.log10(power / reference)


def bounded(value: float, most: float) -> Quantity:
    """Return a ratio in dB; one beyond -`most` or `most` becomes that value with a bound."""
    if value >= most:
        return Quantity(value=most, unit="dB", bound=">")
    if value <= -most:
        return Quantity(value=-most, unit="dB", bound="<")
    return Quantity(value=value, unit="dB")


@dataclass(frozen=True, eq=False)
class RelationResult:
    """Sums over parts of 10 ms from frame 0 on."""

    sums: Array
    """(parts, 5): sums of L^2, R^2, L R, L and R"""
    low: Array
    """(tenths, 3): sums of L^2, R^2 and L R up to 300 Hz, by tenths of a second"""
    counts: NDArray[np.int64]
    programme: NDArray[np.bool_]
    part_s: float
    subsonic: float
    """Hz, corner of the chain's subsonic high-pass; 0 without one"""
    mono: bool
    """whether the file has one channel, so that the relation has no meaning"""

    @cached_property
    def dead(self) -> list[DeadStretch]:
        """Every stretch of 1 s or more in which one channel is dead while the other has programme."""
        if self.mono:
            return []
        return dead_stretches(self.sums, self.counts, self.programme)

    @cached_property
    def alive(self) -> NDArray[np.bool_]:
        """Whether each part is programme with no dead channel, (parts,)."""
        alive: NDArray[np.bool_] = self.programme.copy()
        for stretch in self.dead:
            alive[stretch.first : stretch.end] = False
        return alive

    def over(self, parts: slice, where: NDArray[np.bool_] | None = None) -> Energies | None:
        """Return the energies of the parts of a stretch that are programme, or None without programme."""
        chosen = (self.programme if where is None else where)[parts]
        n = float(self.counts[parts][chosen].sum())
        if n == 0.0:
            return None
        l2, r2, lr, l1, r1 = (self.sums[parts][chosen, :5].sum(axis=0) / n).tolist()
        return Energies(max(0.0, l2 - l1 * l1), max(0.0, r2 - r1 * r1), lr - l1 * r1)

    def above_bass(self, parts: slice) -> float | None:
        """Compute the correlation above 300 Hz over a stretch's programme, -1 to 1, by whole tenths of a second.

        The energy there is what Butterworth filters leave of the whole: the low band, from the subsonic corner to
        300 Hz, and what lies below that corner. None where that is less than 5 % of what lies above the corner in
        either channel: the tenths' edges would count for too much.
        """
        tenths = slice(-(-parts.start // TENTH), max(-(-parts.start // TENTH), parts.stop // TENTH))
        there = self._by_tenths[1][tenths]
        if not there.any():
            return None
        whole = self._by_tenths[0][tenths][there].sum(axis=0)
        left, right, both = whole - self.low[tenths][there].sum(axis=0)
        if left <= LEAST_ABOVE * whole[0] or right <= LEAST_ABOVE * whole[1]:
            return None
        return min(1.0, max(-1.0, float(both) / math.sqrt(left * right)))

    @cached_property
    def _by_tenths(self) -> tuple[Array, NDArray[np.bool_]]:
        """Sums of L^2, R^2 and L R above the subsonic corner, and whether there is programme, by tenths of a second.

        What lies below the corner is what a Butterworth low-pass there leaves of the means of 10 ms.
        """
        means = np.ascontiguousarray((self.sums[:, 3:] / np.maximum(self.counts, 1)[:, None]).T)
        if self.subsonic:
            low = biquad.low_pass(self.subsonic, math.sqrt(0.5), 1.0 / self.part_s)
            sections = np.vstack([low, [biquad.UNITY]])  # filters run two sections at a time
            first = means[:, :1].copy()
            means -= first  # as if the first mean had lasted for ever before
            biquad.run(means, sections, biquad.fresh(sections, 2), means)
            means += first
        else:
            means[:] = 0.0
        left, right = means
        below = np.stack([left * left, right * right, left * right], axis=1)
        if means.shape[1] > 1:  # a straight line across a window adds 1/12 of its rise squared to its mean squared
            up, over = np.gradient(means, axis=1)
            below += np.stack([up * up, over * over, up * over], axis=1) / 12.0
        below *= self.counts[:, None]
        return by_tenths(self.sums[:, :3] - below), by_tenths(self.programme.astype(np.int64)) > 0

    def place(self, parts: slice, track: int | None = None, channel: str | None = None) -> At:
        """Return the place of a stretch of parts, in file seconds."""
        return At(start_s=parts.start * self.part_s, end_s=parts.stop * self.part_s, track=track, channel=channel)

    def worst_window(self, where: NDArray[np.bool_]) -> Quantity | None:
        """Balance of the 10 s that are least balanced, one window every 100 ms, among the parts of `where`.

        A window counts when half of its parts do. None where no window does.
        """
        chosen = where[:, None] * self.sums[:, :5]
        width = min(WINDOW, len(chosen))
        if not width:
            return None
        total, n = sliding(chosen, width)[::10], sliding((where * self.counts).astype(np.float64), width)[::10]
        enough = 2 * sliding(where.astype(np.int64), width)[::10] >= width
        mean = total / np.maximum(n, 1.0)[:, None]
        power = mean[:, :2] - mean[:, 3:] ** 2
        level = 10.0 * np.log10(np.maximum(power, SILENT))
        apart = level[:, 1] - level[:, 0]
        apart[(power.min(axis=1) <= SILENT) & (apart != 0.0)] *= math.inf  # one is silent, as in `Energies.balance`
        size = np.where(enough & (power.max(axis=1) > SILENT), np.abs(apart), -1.0)
        worst = int(np.argmax(size))
        if size[worst] < 0.0:
            return None
        window = slice(10 * worst, 10 * worst + width)
        return bounded(float(apart[worst]), MOST_BALANCE).model_copy(update={"at": self.place(window)})


@dataclass(frozen=True)
class Relation(Derived[RelationResult]):
    """The relation of the channels by 10 ms, and its numbers over the whole side."""

    subsonic: float
    """Hz, corner of the chain's subsonic high-pass"""
    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "stereo.relation"
    publishes: ClassVar[Mapping[str, str]] = {
        "stereo.balance": "dB",
        "stereo.balance_10s": "dB",
        "stereo.correlation": "1",
        "stereo.upper_correlation": "1",
        "stereo.difference": "dB",
        "programme.dead_longest": "s",
        "programme.dead_share": "%",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.balance": (
            "How much more energy the right channel has than the left over the programme; -60 or 60 dB where one is "
            "silent."
        ),
        "stereo.balance_10s": "The same over the least balanced 10 s of programme.",
        "stereo.correlation": "Correlation of the channels over the programme, -1 to 1; 0 where one is silent.",
        "stereo.upper_correlation": (
            "The same above 300 Hz; none where less than 5 % of a channel's energy lies there."
        ),
        "stereo.difference": (
            "Energy of left minus right over that of left plus right; -120 dB where both are the same."
        ),
        "programme.dead_longest": "Longest programme on one channel during which the other is dead.",
        "programme.dead_share": "Part of the programme during which the channel that is dead longer is dead.",
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's subsonic corner and top."""
        return cls(chain.signal.subsonic, chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the sums of 10 ms, the low band and the programme."""
        return Parts(), Means(), LowBand(self.subsonic), Programme(self.top)

    def work(self, measured: Measurements) -> RelationResult:
        """Combine the sums."""
        parts, stream = measured[Parts()], measured.stream
        sums = np.hstack([parts.sums, measured[Means()]])
        seconds = part_frames(stream.rate) / stream.rate
        there = measured[Programme(self.top)].by_parts(len(parts.counts), seconds)
        low = measured[LowBand(self.subsonic)]
        return RelationResult(sums, low, parts.counts, there, seconds, self.subsonic, stream.mono)

    def publish(self, result: RelationResult) -> Mapping[str, Quantity]:
        """Return the published numbers: none in silence, no difference and dead channel for a one-channel file."""
        everything = result.over(slice(0, len(result.counts)))
        if everything is None:
            return {}
        whole = slice(0, len(result.counts))
        numbers = {
            "stereo.balance": everything.balance(),
            "stereo.balance_10s": result.worst_window(result.programme),
            "stereo.correlation": _ratio(everything.correlation()),
            "stereo.upper_correlation": _ratio(result.above_bass(whole)),
        }
        if not result.mono:
            numbers["stereo.difference"] = everything.difference()
            numbers |= _dead_numbers(result)
        return {name: quantity for name, quantity in numbers.items() if quantity is not None}


def _ratio(value: float | None) -> Quantity | None:
    return None if value is None else Quantity(value=value, unit="1")


def _dead_numbers(result: RelationResult) -> dict[str, Quantity]:
    longest = max(result.dead, key=lambda stretch: stretch.programme, default=None)
    if longest is None:
        return {
            "programme.dead_longest": Quantity(value=0.0, unit="s"),
            "programme.dead_share": Quantity(value=0.0, unit="%"),
        }
    by_channel = {stretch.channel: 0 for stretch in result.dead}
    for stretch in result.dead:
        by_channel[stretch.channel] += stretch.programme
    channel = max(by_channel, key=lambda name: by_channel[name])
    share = 100.0 * by_channel[channel] / int(result.programme.sum())
    place = result.place(slice(longest.first, longest.end), channel=longest.channel)
    return {
        "programme.dead_longest": Quantity(value=longest.programme * result.part_s, unit="s", at=place),
        "programme.dead_share": Quantity(value=share, unit="%", at=At(channel=channel)),
    }


@dataclass(frozen=True, slots=True)
class Passage:
    """A whole side or one of its tracks: its name in sentences, its parts of 10 ms, and its number."""

    name: str
    parts: slice
    track: int | None


def passages(ctx: CheckContext, relation: RelationResult) -> Iterator[Passage]:
    """Yield the side, then each of its declared tracks with 1 s of programme; of a single track only the side."""
    yield Passage("the side", slice(0, len(relation.counts)), None)
    tracks = DeclaredTrack.every(ctx.declared)
    for track in tracks if len(tracks) > 1 else ():
        start, stop = (round(second / relation.part_s) for second in (track.start, track.end))
        parts = slice(max(0, start), max(0, min(stop, len(relation.counts))))
        if int(relation.programme[parts].sum()) >= LEAST_PARTS:
            yield Passage(f"track {track.number}", parts, track.number)
