"""Clicks: a few samples that leave what the sound around them predicts, after which it goes on as before.

By parts of 1 ms, the greatest fourth difference is compared with the rms of those of the 10 ms before and after. What
is SUSPECT times as great, and has not its like within 60 ms as a buzzing tone has, is looked at with linear
prediction (`prediction`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api.kernels import kernel
from qc_standard.time_faults import prediction
from qc_standard.time_faults.parts import MARGIN, MOST, SQUARES
from qc_standard.time_faults.prediction import END, FIRST, INWARD, LEFT, OTHERS, SIZE, STEP, UNLIKE

Samples = NDArray[np.float32]
Array = NDArray[np.float64]

SUSPECT = 8.0
"""Greatest fourth difference of 1 ms over the rms of those beside it from which it is looked at (practice)."""
BESIDE = 10
"""Parts of 1 ms before and after that it is compared with ..."""
NEXT = 1
"""... without the nearest ones."""
AGAIN, LIKE, MOST_LIKE = 60, 0.4, 2
"""Parts on either side, part of the greatest difference, and number of parts so great from which it is a tone."""
PLACES = 10
"""Most places in one chunk of a channel that are looked at, those that stand out most."""
QUIET = 1e-5
"""Least rms of fourth differences: that of rounding to 16 bits."""
REACH_S = 0.00035
"""Time on either side of a place that may belong to the click."""
LONGEST_S, EDGES = 0.00021, 7
"""Longest click, and samples at its edges that are replaced with it. What is longer may be a wave that was clipped."""
LEAST_STEP = 10.0
"""Residual over that beside it from which a click is kept: 20 dB; the ruleset says from where it counts."""
APART_S = 0.25
"""Time within which clicks are one event (practice)."""
LEAST_SIZE = 0.003
"""Least height of a click: -50 dBFS (practice)."""
MOST_LEFT = 1.5
"""Residual that may be left where it was repaired, over that beside it; an onset leaves more (practice)."""
MOST_OTHERS = 0.2
"""Greatest residual elsewhere in the window of the prediction, over that of the click (practice)."""
MOST_UNLIKE = 10.0
"""Residual of the louder side over that of the other: 20 dB, or the sound only begins or ends there (practice)."""


@dataclass(frozen=True, slots=True)
class FoundClick:
    """A click, or several within APART: frames of the file, channel (empty: both), and how far it stands out."""

    first: int
    end: int
    channel: str
    step_db: float
    """its residual over that of the sound beside it"""
    size: float
    """its greatest height above the sound, full scale is 1.0"""
    count: int = 1


@kernel
def _repeats(most: Samples, k: int) -> bool:
    """Whether the parts around part k have differences as great as its own, as a buzzing tone has."""
    count = 0
    for i in range(AGAIN - 1):
        count += most[k - AGAIN + i] > LIKE * most[k]
        count += most[k + 2 + i] > LIKE * most[k]
    return count > MOST_LIKE


@kernel
def _stand_out(most: Samples, squares: Samples, first: int, over: Array) -> None:
    """Compute how far the parts from `first` on stand out from those beside them, 0 where they need no look."""
    total = np.zeros(len(squares) + 1)
    for i in range(len(squares)):
        total[i + 1] = total[i] + squares[i]
    for j in range(len(over)):
        i = first + j
        before = total[i - NEXT] - total[i - NEXT - BESIDE]
        after = total[i + 1 + NEXT + BESIDE] - total[i + 1 + NEXT]
        beside = max(max(before, after) / BESIDE, QUIET**2)
        over[j] = 0.0
        if most[i] ** 2 > SUSPECT**2 * beside and not _repeats(most, i):
            over[j] = most[i] / np.sqrt(beside)


def suspects(most: Samples, squares: Samples, first: int, end: int) -> NDArray[np.int64]:
    """Return the parts from `first` to before `end` that are to be looked at, in order, at most PLACES."""
    over = np.zeros(end - first)
    _stand_out(most, squares, first, over)
    chosen = np.flatnonzero(over)
    if len(chosen) > PLACES:
        chosen = np.sort(chosen[np.argsort(-over[chosen], kind="stable")[:PLACES]])
    return chosen + first


def clicks(
    row: Samples, parts: Samples, first: int, end: int, rate: int, taper: Array
) -> Iterator[FoundClick]:  # fmt: skip
    """Yield the clicks of a channel in its parts from `first` to before `end`, without a name of the channel.

    `row` has whole parts, `parts` their differences; places are samples of `row`.
    """
    part = len(row) // parts.shape[1]
    places = []
    for k in suspects(parts[MOST], parts[SQUARES], first, end):
        piece = row[k * part - MARGIN : (k + 1) * part + MARGIN]
        places.append(k * part + int(np.abs(np.diff(piece, 4)).argmax()))
    found = prediction.no_places(len(places))
    reach, longest = math.ceil(REACH_S * rate), math.ceil(LONGEST_S * rate) + EDGES
    prediction.look(row, np.asarray(places, np.int64), reach, longest, taper, found)
    for place in found:
        if (
            place[STEP] >= LEAST_STEP and place[SIZE] >= LEAST_SIZE and place[LEFT] <= MOST_LEFT
            and place[OTHERS] <= MOST_OTHERS and place[UNLIKE] <= MOST_UNLIKE and not place[INWARD]
        ):  # fmt: skip
            yield FoundClick(int(place[FIRST]), int(place[END]), "", 20.0 * math.log10(place[STEP]), float(place[SIZE]))


def merged(found: list[FoundClick], rate: int) -> Iterator[FoundClick]:
    """Yield the clicks in order of time, those of both channels and within APART_S of each other as one."""
    run: list[FoundClick] = []
    for click in sorted(found, key=lambda click: (click.first, click.channel)):
        if run and click.first - max(before.end for before in run) > APART_S * rate:
            yield _as_one(run, rate)
            run = []
        run.append(click)
    if run:
        yield _as_one(run, rate)


def _as_one(run: list[FoundClick], rate: int) -> FoundClick:
    worst = max(run, key=lambda click: click.step_db)
    channels = {click.channel for click in run}
    count, last = 0, -math.inf
    for click in run:  # one that both channels have counts once
        count += click.first - last > 2.0 * REACH_S * rate
        last = click.first
    channel = channels.pop() if len(channels) == 1 else ""
    return FoundClick(
        run[0].first, max(click.end for click in run), channel, worst.step_db, max(click.size for click in run), count
    )
