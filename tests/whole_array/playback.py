"""A reference model of playback: whole arrays, exact analogue responses, the greatest and the least by trying all.

It shares no code with the package that it checks. Motion is read on a grid of 16 times the file's rate by a Fourier
transform of the whole, and what is done to a wall is done there point by point. It takes seconds a second of sound.

Signs as in `model`: `d` is the displacement of a wall along its normal, left the inner wall, right the outer (L-1).
Air lies between the walls. The inner wall was cut away up to -d, the outer one up to d, from the centre outward.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
FINER = 16


def recording(hz: F64, subsonic: float) -> NDArray[np.complex128]:
    """Return displacement in s for a velocity gain of 1 at 1 kHz: EQ-3 turned round, integrated, and subsonic."""
    s, w = 2.0j * np.pi * hz, 2.0 * np.pi * subsonic
    high = s**2 / (s**2 + math.sqrt(2.0) * w * s + w**2)
    return high / np.where(hz > 0.0, s * replay(hz), 1.0)


def replay(hz: F64) -> NDArray[np.complex128]:
    """Return the replay curve of EQ-3, 0 dB at 1 kHz."""

    def curve(at: F64) -> NDArray[np.complex128]:
        s = 2.0j * np.pi * at
        return (1.0 + s * 318e-6) / ((1.0 + s * 3180e-6) * (1.0 + s * 75e-6))

    return curve(hz) / abs(curve(np.array(1000.0)))


def motion(x: F64, rate: int, subsonic: float) -> F64:
    """Return the displacement of both walls, (2, FINER frames), for 1 m/s at 0 dBFS. x is silent at both ends."""
    frames = x.shape[1]
    spectrum = np.fft.rfft(x) * recording(np.fft.rfftfreq(frames, 1.0 / rate), subsonic)
    out: F64 = FINER * np.fft.irfft(spectrum, FINER * frames)
    return out


def recut(z: F64, step: float, back_angle: float) -> F64:
    """Return the greatest of z(s + u) - u tan(back) / sqrt2 over all u >= 0 that can matter (C-1)."""
    fall = step * math.tan(back_angle) / math.sqrt(2.0)
    out = z.copy()
    for ahead in range(1, min(len(z), math.ceil(np.ptp(z) / fall) + 1)):
        out[:-ahead] = np.maximum(out[:-ahead], z[ahead:] - ahead * fall)
    return out


def traced(z: F64, step: float, radius: float) -> F64:
    """Return the least of z(s + u) + R - sqrt(R^2 - u^2) over all |u| <= R (C-3)."""
    out = z.copy()
    for beside in range(1, int(radius / step) + 1):
        more = radius - math.sqrt(radius**2 - (beside * step) ** 2)
        out[:-beside] = np.minimum(out[:-beside], z[beside:] + more)
        out[beside:] = np.minimum(out[beside:], z[:-beside] + more)
    return out


def played(
    x: F64, rate: int, velocity: float, speed: float, radius: float, back_angle: float, subsonic: float
) -> tuple[F64, F64]:
    """Return the master as the groove carries it and its playback, (2, frames) each, on the master's scale.

    velocity: of a wall in m/s at 0 dBFS and 1 kHz. speed: of the groove, m/s. radius: of the tip, m.
    """
    step = speed / (rate * FINER)
    d = velocity * motion(x, rate, subsonic)
    walls = np.vstack([-d[0], d[1]])
    paths = np.vstack([traced(recut(z, step, back_angle), step, radius) for z in walls])
    back = np.vstack([-paths[0], paths[1]])
    return replayed(d, rate) / velocity, replayed(back, rate) / velocity


def replayed(d: F64, rate: int) -> F64:
    """Return velocity behind the replay curve at the file's rate, from displacement on the fine grid."""
    frames = d.shape[1] // FINER
    hz = np.fft.rfftfreq(frames, 1.0 / rate)
    spectrum = np.fft.rfft(d)[:, : len(hz)] / FINER * 2.0j * np.pi * hz * replay(hz)
    out: F64 = np.fft.irfft(spectrum, frames)
    return out


def residual(master: F64, playback: F64, rate: int, band: tuple[float, float]) -> float:
    """Return what is left of the playback after the best level of the master, over that, in a band, dB."""
    hz = np.fft.rfftfreq(master.shape[1], 1.0 / rate)
    inside = (hz >= band[0]) & (hz < band[1])
    a, b = (np.fft.rfft(y)[:, inside] for y in (master, playback))
    gain = float((b * a.conj()).real.sum() / np.square(np.abs(a)).sum())
    left = np.square(np.abs(b - gain * a)).sum() / np.square(np.abs(gain * a)).sum()
    return 10.0 * math.log10(float(left))
