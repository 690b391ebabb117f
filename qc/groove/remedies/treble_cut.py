"""A cut in the treble: how many dB, in which band, for which milliseconds, so that a passage keeps to its limit.

Velocity and acceleration are linear in the motion, so the dB by which all of it must come down follow from the ratios
alone. The band that carries it is found from the passage itself, and the cut in that band is made and measured again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.meters.extremes import FIRST, SECOND
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import DRIVES, Array, counts, furthest
from qc.groove.level.search import Bracket, doubling, search_highest
from qc.groove.remedies.outermost import allowed
from qc.groove.remedies.passage import PassageMotion
from qc.groove.signal.cells import CELLS_A_SECOND
from qc.groove.signal.sector_envelopes import SIBILANCE_HZ
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.quantity import Polarity
from qc.plugin_base import Samples

LOOKED = SECTORS_A_SECOND
"""Sectors of a longer passage that are processed again, 1 s: where most of it is too much (practice)."""
STEP_DB = 0.5
"""Step of a cut: half a dB (practice)."""
MOST_DB = 12.0
"""A cut that takes more is no cure (practice)."""
THIRDS = range(27, 44)
"""Third octaves about 10^(k/10) Hz, from 500 Hz to 20 kHz, in which the band is looked for."""
MOST_OF_IT = 0.8
"""Part of the power that makes neighbouring third octaves the band that carries it (practice)."""
LOUDEST = 15
"""Sectors, 0.2 s, whose spectra tell the band: those that are furthest over (practice)."""
EDGE = 2.0 ** (1.0 / 6.0)
"""Ratio of frequencies over which a cut fades out next to its band (practice)."""
APART_S = 0.005
"""Moments that are closer are reported as one (practice)."""
SAME = 1e-4
"""Part of a value that cutting a band and putting it together again may add."""

Hz = tuple[float, float]


@dataclass(frozen=True, slots=True)
class TrebleCut:
    """A cut of `depth_db` dB in a band, None where none is enough; without a band it would be `whole` dB of everything.

    `moments` are the file seconds (start, end) of what was processed again in which it is too much, in order.
    """

    depth_db: float | None
    whole: float
    band: Hz
    moments: tuple[tuple[float, float], ...]


def needed(ratios: Array, measure: str, bound: float) -> float:
    """Return the dB by which a passage must come down: ratios (walls, values) to what its limit allows.

    Of a share so many sectors or cells stay above 1 as the limit leaves, `bound` of them.
    """
    if measure in DRIVES:
        value = math.sqrt(float((ratios**2).mean(axis=1).max()))
    else:
        spared = allowed(bound, ratios.shape[1]) if counts(measure) else 0
        value = float(np.sort(ratios.max(axis=0))[::-1][min(spared, ratios.shape[1] - 1)])
    return max(0.0, 20.0 * math.log10(value)) if value > 0.0 else 0.0


def to_limit(rows: Array, measure: str, bound: float) -> Array:
    """Return the ratio of values (walls, sectors) to what a limit allows, its bound in the unit of the measurement."""
    return rows if counts(measure) else rows / furthest(measure, bound)


def densest(rows: Array, measure: str) -> int:
    """Return the sector from which on LOOKED sectors of ratios (walls, values) exceed the limit the most."""
    greater = rows.max(axis=0)
    a_second = CELLS_A_SECOND if measure in TIMES else SECTORS_A_SECOND
    looked = LOOKED * a_second // SECTORS_A_SECOND
    weight = greater**2 if measure in DRIVES else (greater > 1.0) + 1e-6 * greater
    if len(weight) <= looked:
        return 0
    total = np.concatenate([[0.0], np.cumsum(weight, dtype=np.float64)])
    return int((total[looked:] - total[:-looked]).argmax()) * SECTORS_A_SECOND // a_second


def treble_cut(passage: PassageMotion, measure: str, polarity: Polarity, bound: float, whole: float) -> TrebleCut:
    """Find the band of a passage and the least cut in it that does what `whole` dB less of everything would do."""
    before = to_limit(passage.measured(measure, polarity), measure, bound)
    wave = _wave(passage, measure)
    band = _carrying(passage, measure, wave, _loudest(before, passage.sectors))
    moments = _moments(passage, measure, polarity, bound, wave)
    del wave  # it is large
    wanted = _weight(before * 10.0 ** (-whole / 20.0), measure)
    part = _in_band(passage.motion, band, passage.rate)

    def too_little(steps: int) -> bool:
        motion = passage.motion.copy()
        for wall in range(2):
            motion[wall] -= (1.0 - 10.0 ** (-steps * STEP_DB / 20.0)) * part[wall]
        rows = passage.measured(measure, polarity, passage.envelopes(motion))
        return _weight(to_limit(rows, measure, bound), measure) > wanted * (1.0 + SAME)

    low, most = max(0, math.ceil(whole / STEP_DB - 1e-9) - 1), round(MOST_DB / STEP_DB)
    if low >= most:  # all of the passage would have to come down by more than a cut may take
        return TrebleCut(None, whole, band, moments)
    # The cut is seldom much deeper than all of the passage would have to come down.
    least = search_highest(too_little, Bracket(low, most + 1, doubling(low + 1, stride=2))) + 1
    return TrebleCut(least * STEP_DB if least <= most else None, whole, band, moments)


def _loudest(rows: Array, sectors: int) -> NDArray[np.intp]:
    """Return the sectors that are furthest over, by values of (walls, sectors) or (walls, cells)."""
    order = np.argsort(rows.max(axis=0)) * sectors // rows.shape[1]
    loudest = list(dict.fromkeys(order[::-1].tolist()))[:LOUDEST]
    return np.array(loudest, dtype=np.intp)


def _weight(rows: Array, measure: str) -> float:
    """Return the number that a limit is on: the count of sectors or cells above 1, the mean square, or the greatest."""
    if counts(measure):
        return float((rows.max(axis=0) > 1.0 + SAME).sum())
    return float((rows**2).mean(axis=1).max()) if measure in DRIVES else float(rows.max())


def _wave(passage: PassageMotion, measure: str) -> Array:
    """Return the wave that a measurement is taken of, (walls, frames): velocity, or acceleration of the walls."""
    left, right = passage.motion[:2]
    if measure.startswith(("groove.lateral", "groove.vertical")):
        sign = 1.0 if measure.startswith("groove.lateral") else -1.0
        return passage.rate * _derived((left + sign * right)[None, :] / math.sqrt(2.0), FIRST, -1.0)
    a = passage.rate**2 * (_derived(passage.motion[:2], SECOND, 1.0))
    if not measure.startswith("groove.sibilance"):
        return a
    low, high = SIBILANCE_HZ
    sections = np.vstack([biquad.butterworth_4_high(low, passage.rate), biquad.butterworth_4_low(high, passage.rate)])
    return biquad.run(a, sections, biquad.fresh(sections, 2), np.empty_like(a))


def _derived(x: Array, weights: tuple[float, ...], sign: float) -> Array:
    """Weigh pairs of neighbours of x (rows, frames): their sum less twice the middle, or their difference."""
    given = np.zeros_like(x)
    n = x.shape[1]
    middle = x[:, 5 : n - 5]
    for k, weight in enumerate(weights, start=1):
        after, before = x[:, 5 + k : n - 5 + k], x[:, 5 - k : n - 5 - k]
        given[:, 5 : n - 5] += weight * (after + before - 2.0 * middle if sign > 0.0 else after - before)
    return given


def _carrying(passage: PassageMotion, measure: str, wave: Array, sectors: NDArray[np.intp]) -> Hz:
    """Find the third octaves that carry a wave in some sectors: about the strongest, until they hold most of it."""
    size = passage.rate // SECTORS_A_SECOND
    at = passage.frame(passage.start) + sectors * size
    pieces = wave[:, at[:, None] + np.arange(size)] * np.hanning(size)
    power = (np.abs(np.fft.rfft(pieces)) ** 2).sum(axis=(0, 1))
    hz = np.fft.rfftfreq(size, 1.0 / passage.rate)
    low, high = (37, 41) if measure.startswith("groove.sibilance") else (THIRDS[0], THIRDS[-1])  # 5 to 12 kHz
    edges = 10.0 ** ((np.arange(low, high + 2) - 0.5) / 10.0)
    bands = np.histogram(hz, edges, weights=power)[0]
    first = last = int(bands.argmax())
    while bands[first : last + 1].sum() < MOST_OF_IT * bands.sum():
        before = bands[first - 1] if first else -1.0
        after = bands[last + 1] if last + 1 < len(bands) else -1.0
        first, last = (first - 1, last) if before > after else (first, last + 1)
    return float(edges[first]), min(float(edges[last + 1]), passage.signal.top)


def _in_band(motion: Samples, band: Hz, rate: int) -> Array:
    """Return the part of the walls' motion that lies in a band, (2, frames), without delay; it fades out outside."""
    coarse = 1 << max(0, (motion.shape[1] - 1).bit_length() - 4)  # no more than a sixteenth longer, and quick
    n = -(-motion.shape[1] // coarse) * coarse
    hz = np.fft.rfftfreq(n, 1.0 / rate)
    beyond = np.log(np.maximum(np.maximum(band[0] / np.maximum(hz, 1.0), hz / band[1]), 1.0)) / math.log(EDGE)
    gain = 0.5 + 0.5 * np.cos(math.pi * np.minimum(beyond, 1.0))
    given = np.empty((2, motion.shape[1]))
    for wall, one in zip(given, motion[:2], strict=True):  # one after the other: spectra are large
        wall[:] = np.fft.irfft(np.fft.rfft(one, n) * gain, n)[: motion.shape[1]]
    return given


def _moments(
    passage: PassageMotion, measure: str, polarity: Polarity, bound: float, wave: Array
) -> tuple[tuple[float, float], ...]:
    """Return the file seconds in which a wave is beyond what its limit allows, sample by sample."""
    cutting = passage.worked.search.cutting(passage.worked.judged, polarity)
    speed = cutting.speed[passage.start : passage.end]
    playback = cutting.side.chain.playback
    if "_slope_" in measure:
        factor = cutting.scale / (speed * math.tan(playback.back_angle))
    elif "_speed_" in measure:
        factor = cutting.scale / speed
    elif "velocity" in measure or "acceleration" in measure or measure in DRIVES:
        factor = np.full(len(speed), cutting.scale)
    else:
        factor = playback.tip_radius * cutting.scale / speed**2
    of_share = TIMES[measure].times if measure in TIMES else 1.0
    most = of_share if counts(measure) else furthest(measure, bound)
    begin, size = passage.frame(passage.start), passage.rate // SECTORS_A_SECOND
    seen = np.abs(wave[:, begin : begin + passage.sectors * size]).max(axis=0)
    there = np.flatnonzero(seen * np.repeat(factor, size) > most)
    if not len(there):
        return ()
    new = np.flatnonzero(np.diff(there) > APART_S * passage.rate)
    firsts = there[np.concatenate([[0], new + 1])]
    lasts = there[np.concatenate([new, [len(there) - 1]])]
    return tuple(
        (passage.seconds(begin + int(first)), passage.seconds(begin + int(end) + 1))
        for first, end in zip(firsts, lasts, strict=True)
    )
