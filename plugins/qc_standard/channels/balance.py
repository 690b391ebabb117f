"""Balance of the channels over time: its drift along a side, and its departures from the side's own balance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import At, Chain, Curve, Derived, Measurements, Need, Quantity
from qc_standard.relation import Relation, RelationResult

Array = NDArray[np.float64]

SECOND = 100
"""Parts of 10 ms over which a balance is computed."""
SILENT = 1e-9
"""Mean square of the quieter channel up to which a second has no balance: -90 dBFS."""
WINDOW = 41
"""Seconds whose median is taken: what departs for more than 20 s is seen, what is shorter is not."""
FEWEST = 21
"""Seconds of a window that have a balance, at the least."""
LEAST_DRIFT_S = 120.0
"""Seconds between the first and the last median, at the least, for a drift."""


@dataclass(frozen=True, eq=False)
class BalanceAlong:
    """Balance of the channels, right over left in dB."""

    values: Array
    """(seconds,) median of 41 s, of each second at its middle; NaN where fewer than half of them have a balance"""
    drift: float | None
    """dB by which the median slope between all medians changes along the side; None for less than 2 minutes"""
    departure: Quantity | None
    """dB by which the balance departs most from the side's own median for more than 20 s, with its place"""


def by_second(relation: RelationResult) -> Array:
    """Return the balance of every second in dB, (seconds,), NaN where fewer than half of its parts have programme."""
    whole = len(relation.counts) // SECOND
    alive = relation.alive[: whole * SECOND]
    sums = (relation.sums[: whole * SECOND] * alive[:, None]).reshape(whole, SECOND, 5).sum(axis=1)
    frames = (relation.counts[: whole * SECOND] * alive).reshape(whole, SECOND).sum(axis=1)
    mean = sums / np.maximum(1, frames)[:, None]
    power = mean[:, :2] - mean[:, 3:5] ** 2
    counts = (2 * alive.reshape(whole, SECOND).sum(axis=1) >= SECOND) & (power.min(axis=1, initial=1.0) > SILENT)
    left, right = np.where(counts[:, None], power, 1.0).T
    balance: Array = np.where(counts, 10.0 * np.log10(right / left), np.nan)
    return balance


def balance_along(balance: Array, second_s: float = 1.0) -> BalanceAlong:
    """Return median, drift and departure of a balance by seconds of `second_s` s."""
    padded = np.pad(balance, WINDOW // 2, constant_values=np.nan)
    values = np.full(len(balance), np.nan)
    if len(balance):
        windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)
        enough = np.isfinite(windows).sum(axis=1) >= FEWEST
        if enough.any():
            values[enough] = np.nanmedian(windows[enough], axis=1)
    (there,) = np.nonzero(np.isfinite(values))
    if not len(there):
        return BalanceAlong(values, None, None)
    found: Array = values[there]
    away = found - np.median(found)
    at = int(np.abs(away).argmax())
    middle = (float(there[at]) + 0.5) * second_s
    half = 0.25 * WINDOW * second_s
    place = At(start_s=max(0.0, middle - half), end_s=min(middle + half, len(balance) * second_s))
    departure = Quantity(value=float(away[at]), unit="dB", at=place)
    return BalanceAlong(values, _drift(there * second_s, found, len(balance) * second_s), departure)


def _drift(at_s: NDArray[np.floating], values: Array, side_s: float) -> float | None:
    """Return the change along a side by the median of the slopes between all pairs, which no single track bends."""
    at_s, values = at_s[:: WINDOW // 4], values[:: WINDOW // 4]
    if at_s[-1] - at_s[0] < LEAST_DRIFT_S:
        return None
    first, second = np.triu_indices(len(at_s), 1)
    return float(np.median((values[second] - values[first]) / (at_s[second] - at_s[first]))) * side_s


@dataclass(frozen=True)
class Balance(Derived[BalanceAlong | None]):
    """The balance of the channels along a side."""

    subsonic: float
    """Hz, corner of the chain's subsonic high-pass"""
    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "stereo.balance-along"
    publishes: ClassVar[Mapping[str, str]] = {"stereo.balance_drift": "dB", "stereo.balance_departure": "dB"}
    meanings: ClassVar[Mapping[str, str]] = {
        "stereo.balance_drift": (
            "How much the balance, right over left, changes from the start to the end of the side: the median slope "
            "between its medians of 41 s, which no single track bends; none for less than 2 minutes or a file of one "
            "channel."
        ),
        "stereo.balance_departure": (
            "How far the balance departs most from the side's own median for more than 20 s; positive to the right."
        ),
    }

    curve_units: ClassVar[Mapping[str, str]] = {"stereo.balance_along": "dB"}

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's subsonic corner and top."""
        return cls(chain.signal.subsonic, chain.signal.top)

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the relation of the channels by 10 ms."""
        return (Relation(self.subsonic, self.top),)

    def work(self, measured: Measurements) -> BalanceAlong | None:
        """Compute the balance along the side; None for a file of one channel."""
        relation = measured[Relation(self.subsonic, self.top)]
        return None if relation.mono else balance_along(by_second(relation), SECOND * relation.part_s)

    def publish(self, result: BalanceAlong | None) -> Mapping[str, Quantity]:
        """Return drift and departure where there are any."""
        numbers: dict[str, Quantity] = {}
        if result is not None and result.drift is not None:
            numbers["stereo.balance_drift"] = Quantity(value=result.drift, unit="dB")
        if result is not None and result.departure is not None:
            numbers["stereo.balance_departure"] = result.departure
        return numbers

    def curves(self, result: BalanceAlong | None) -> Mapping[str, Curve]:
        """Return the balance along the side."""
        if result is None or not np.isfinite(result.values).any():
            return {}
        title = "Balance, right over left, median of 41 s"
        return {"stereo.balance_along": Curve(result.values, "dB", 0.5, 1.0, title, "balance")}
