"""A passage of a side as a groove: cut at a level, played at a groove speed by a tip, back on the master's scale."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray

from qc.groove.playback.imperfections import NONE, REFERENCE, Imperfections, burnished, surface_noise, tilted, wowed
from qc.groove.playback.oversampling import FACTOR, lowered, raised, reach
from qc.groove.playback.replay import replayed
from qc.groove.playback.surface import wall_path
from qc.groove.signal.band_limit import Topped, motion_rate
from qc.groove.signal.wall_motion import Displacement, Motion
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain, Signal, tip_size
from qc.plugin_base import RunningTap, Samples, Stream

Array = NDArray[np.float64]

BLOCK = 128
"""Frames of motion for which the groove speed is one number: 1.4 ms, in which it changes by 2e-5 at a mark."""
PIECE = 64 * BLOCK
"""Frames of motion that are oversampled at once, about 0.1 s: memory does not grow with the passage."""


@dataclass(frozen=True, slots=True)
class Tip:
    """A tip by its radii in m: along the groove, which traces, and across it; equal for a spherical one.

    The radius across decides how deep a tip sits in a V of 90 degrees, not how it follows a wall (G-13, G-15).
    """

    along: float
    across: float

    @classmethod
    def spherical(cls, radius: float) -> Self:
        """Build a spherical tip."""
        return cls(radius, radius)

    @property
    def name(self) -> str:
        """Name in um: "18 um", "8 x 18 um"."""
        return tip_size(self.along, self.across)


@dataclass(frozen=True, slots=True)
class PlaybackSetup:
    """Conditions of a cut and its playback: level in dB, groove speed in m/s, tip, back angle in rad, polarity.

    speed: one number, or one for each BLOCK frames of motion from the passage's beginning on, (blocks,).
    """

    level: float
    speed: float | Array
    tip: Tip
    back_angle: float = math.pi / 4.0
    polarity: Literal["normal", "inverted"] = "normal"
    imperfections: Imperfections = NONE


@dataclass(frozen=True, eq=False)
class CutPassage:
    """Wall motion of a passage, computed once for every level, groove speed and tip.

    motion: (2, frames) displacement of the left and right wall, m for 1 m/s at 0 dBFS, as `Displacement` gives it;
    rate: its frames a second; unity_velocity: m/s at 0 dBFS and a cut level of 0 dB.
    """

    motion: Array
    rate: int
    unity_velocity: float

    @classmethod
    def of_samples(cls, samples: Samples, rate: int, chain: Chain | None = None) -> Self:
        """Compute the motion of programme (2, frames) by itself, as if there was silence before it."""
        chain = chain or Chain()
        stream = Stream(source="passage", rate=rate, channels=2, frames=samples.shape[1])
        frames = -(-stream.frames * motion_rate(rate) // rate)
        return cls(displaced(samples, stream, chain.signal)[:, :frames], motion_rate(rate), chain.cut.unity_velocity)

    @cached_property
    def master(self) -> Array:
        """The programme as the groove carries it, (2, frames): with subsonic and top, without cutter and tip."""
        return replayed(self.motion, self.rate)

    def compared_with(self, setup: PlaybackSetup) -> Array:
        """Return the master that a playback is compared with, (2, frames): its speed swings as that of the disc."""
        rough = setup.imperfections
        if not rough.eccentricity:
            return self.master
        return wowed(self.master, self._speed(setup), rough.eccentricity, rough.rpm, self.rate)

    @cached_property
    def _swings(self) -> tuple[float, float]:
        """Whole swing of each wall, in units of `motion`."""
        left, right = self.motion
        return float(np.ptp(left)), float(np.ptp(right))

    def scale(self, level: float) -> float:
        """Return m of displacement for one of `motion` at a cut level in dB."""
        return float(self.unity_velocity * 10.0 ** (level / 20.0))

    def played(self, setup: PlaybackSetup, workers: int = 1, factor: int = FACTOR) -> Array:
        """Return the passage as it will play, (2, frames), on the scale of `master` and in time with it."""
        scale, rough = self.scale(setup.level), setup.imperfections
        path = self.traced(setup, workers, factor)
        if rough.vertical_error:
            path = tilted(path, self._speed(setup), rough.vertical_error, self.rate)
        sound = replayed(path / scale, self.rate)
        if rough.eccentricity:
            sound = wowed(sound, self._speed(setup), rough.eccentricity, rough.rpm, self.rate)
        if rough.noise is not None:
            tone = 20.0 * math.log10(math.sqrt(0.5) * REFERENCE / scale * math.sqrt(0.5))  # rms of its wall
            sound = sound + surface_noise(sound.shape[1], self.rate, tone + rough.noise, rough.seed)
        return sound

    def traced(self, setup: PlaybackSetup, workers: int = 1, factor: int = FACTOR) -> Array:
        """Return the path of the tip's centre as displacement of each wall, (2, frames), m, signed as `motion`."""
        frames = self.motion.shape[1]
        speeds = self._speeds(setup)
        sign = self.scale(setup.level) * (1.0 if setup.polarity == "normal" else -1.0)
        out = np.empty_like(self.motion)
        jobs = [
            partial(self._piece, setup, speeds, start, (wall, sign * (-1.0, 1.0)[wall]), factor, out)
            for start in range(0, frames, PIECE)
            for wall in range(2)
        ]
        if workers > 1:
            with ThreadPoolExecutor(workers) as pool:
                for done in [pool.submit(job) for job in jobs]:
                    done.result()
        else:
            for job in jobs:
                job()
        return out

    def _speeds(self, setup: PlaybackSetup) -> Array:
        """Return the groove speed of each block, m/s, (blocks,)."""
        blocks = max(1, -(-self.motion.shape[1] // BLOCK))
        return np.broadcast_to(np.asarray(setup.speed, np.float64), (blocks,))

    def _speed(self, setup: PlaybackSetup) -> Array:
        """Return the groove speed at each frame, m/s, (frames,), without steps."""
        speeds = self._speeds(setup)
        middle = (np.arange(len(speeds)) + 0.5) * BLOCK
        found: Array = np.interp(np.arange(self.motion.shape[1]), middle, speeds)
        return found

    def _piece(
        self, setup: PlaybackSetup, speeds: Array, start: int, wall: tuple[int, float], factor: int, out: Array
    ) -> None:  # fmt: skip
        """Trace up to PIECE frames of a wall from frame `start` on; its sign and scale are the second of `wall`."""
        (channel, gain), frames = wall, self.motion.shape[1]
        end = min(start + PIECE, frames)
        around = reach()
        tip_blocks = -(-math.ceil(setup.tip.along * self.rate / float(speeds.min()) + 1.0) // BLOCK)
        ahead = self._ahead(setup, channel, abs(gain), speeds)
        margin = BLOCK * (tip_blocks + 1)  # of the tip, and of the filter that goes down
        low, high = start - margin - BLOCK, start + -(-(end - start) // BLOCK) * BLOCK + margin + BLOCK + ahead
        z = gain * _stretch(self.motion[channel], low - around, high + around)
        length = speeds[np.clip(np.arange(low // BLOCK, -(-high // BLOCK)), 0, len(speeds) - 1)] / (self.rate * factor)
        wall_z, facet = raised(z, factor), setup.imperfections.facet
        if facet > 0.0:
            wall_z = burnished(wall_z, length, BLOCK * factor, facet)
        path = wall_path(wall_z, length, BLOCK * factor, setup.tip.along, setup.back_angle, margin * factor)
        path = path[: len(path) - ahead * factor]
        back = lowered(path, factor)[BLOCK - around :]
        out[channel, start:end] = back[: end - start] * math.copysign(1.0, gain)

    def _ahead(self, setup: PlaybackSetup, channel: int, scale: float, speeds: Array) -> int:
        """Return how many frames ahead edges and facet may still reach: the edges the whole swing, at their angle."""
        fall = float(speeds.min()) / self.rate * math.tan(setup.back_angle) / math.sqrt(2.0)
        swing = scale * self._swings[channel]
        facet = setup.imperfections.facet * self.rate / float(speeds.min())
        return BLOCK * -(-math.ceil(min(swing / fall, self.motion.shape[1]) + facet) // BLOCK)


def displaced(samples: Samples, stream: Stream, signal: Signal) -> Array:
    """Return the displacement of both walls for a whole stream (2, frames), AFTER frames beyond its end included."""
    moved: Samples = samples
    for tap in (Topped(signal.top), Motion(signal), Displacement(signal)):
        running: RunningTap = tap.start(stream)
        moved = np.concatenate([np.array(running.push(moved)), np.array(running.flush())], axis=1)
    return np.ascontiguousarray(moved, dtype=np.float64)


def speeds_along(radius: Array, rpm: float, frames: int, rate: int) -> Array:
    """Return the groove speed of each BLOCK of a passage, m/s, from the radius in m at each sector's end, (sectors,).

    Sector 0 begins with the passage; beyond the last one its radius remains.
    """
    size = rate // SECTORS_A_SECOND
    middle = (np.arange(max(1, -(-frames // BLOCK))) + 0.5) * BLOCK / size
    found: Array = np.interp(middle, np.arange(1, len(radius) + 1), radius) * (2.0 * math.pi * rpm / 60.0)
    return found


def _stretch(row: Array, low: int, high: int) -> Array:
    """Return frames `low` to before `high` of a row; beyond its ends the first and the last remain."""
    inside = row[max(0, low) : max(0, high)]
    before, behind = min(max(0, -low), high - low), max(0, high - max(len(row), low))
    return np.concatenate([np.full(before, row[0]), inside, np.full(behind, row[-1])])
