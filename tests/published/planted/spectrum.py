"""Faults of the spectrum, planted in music at a strength: each returns the samples and the seconds where the fault is.

Samples are (2, n) float64 at `rate`; strengths are in dBFS of a sine's peak unless the function says otherwise.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from support.planted_faults import Place, PlantedFault, Samples

HARMONICS = (0.0, -8.0, -4.0, -14.0, -9.0, -18.0)
"""dB of the lines of a mains hum, from the first on: the odd ones are the stronger, as of a rectifier's leak."""


def _all(samples: Samples, rate: int) -> Place:
    return 0.0, samples.shape[1] / rate


def _hum(samples: Samples, rate: int, strength: float, seed: int, mains: float) -> Samples:
    rng = np.random.default_rng(seed)
    seconds = np.arange(samples.shape[1]) / rate
    hz = mains + rng.uniform(-0.05, 0.05)
    hum = np.zeros(samples.shape[1])
    for number, level in enumerate(HARMONICS, start=1):
        hum += 10.0 ** ((strength + level) / 20.0) * np.sin(
            2.0 * np.pi * number * hz * seconds + rng.uniform(0.0, 6.28)
        )
    return samples + hum


def hum_50(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add hum of 50 Hz mains whose first line has a peak of `strength` dBFS."""
    return _hum(samples, rate, strength, seed, 50.0), _all(samples, rate)


def hum_60(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add hum of 60 Hz mains whose first line has a peak of `strength` dBFS."""
    return _hum(samples, rate, strength, seed, 60.0), _all(samples, rate)


def line_625(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add the line frequency of 625-line television with a peak of `strength` dBFS."""
    return samples + _sine(samples, rate, 15_625.0, strength, seed), _all(samples, rate)


def line_525(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add the line frequency of 525-line television with a peak of `strength` dBFS."""
    return samples + _sine(samples, rate, 15_734.27, strength, seed), _all(samples, rate)


def rumble(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add rumble, noise from 4 to 12 Hz with an rms of `strength` dBFS, to both channels alike."""
    frames = samples.shape[1]
    hertz = np.fft.rfftfreq(frames, 1.0 / rate)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames)) * ((hertz >= 4.0) & (hertz <= 12.0))
    noise = np.fft.irfft(spectrum, frames)
    noise *= 10.0 ** (strength / 20.0) / np.sqrt(np.mean(noise**2))
    return samples + noise, _all(samples, rate)


def _sine(samples: Samples, rate: int, hz: float, strength: float, seed: int) -> Samples:
    phase = np.random.default_rng(seed).uniform(0.0, 6.28)
    sine: Samples = 10.0 ** (strength / 20.0) * np.sin(2.0 * np.pi * hz * np.arange(samples.shape[1]) / rate + phase)
    return sine


def band_above_20_khz(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place]:
    """Add noise of 20.2 to 21.8 kHz with an rms of `strength` dBFS."""
    frames = samples.shape[1]
    hz = np.fft.rfftfreq(frames, 1.0 / rate)
    white = np.fft.rfft(np.random.default_rng(seed).standard_normal((2, frames)))
    noise = np.fft.irfft(white * ((hz > 20_200.0) & (hz < 21_800.0)), frames)
    return samples + noise * (10.0 ** (strength / 20.0) / noise.std()), _all(samples, rate)


def raised_rate(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, None]:
    """Bring to 44.1 kHz and back, and add white noise of `strength` dBFS rms, as of another converter."""
    small = signal.resample_poly(samples, 147, 320, axis=1)
    raised = signal.resample_poly(small, 320, 147, axis=1)[:, : samples.shape[1]]
    noise = np.random.default_rng(seed).standard_normal(raised.shape)
    return raised + 10.0 ** (strength / 20.0) * noise, None


ABOVE_DBFS = (-50.0, -46.0, -42.0, -38.0, -36.0, -34.0, -32.0, -30.0, -27.0, -24.0)
NOISE_DBFS = (-60.0, -65.0, -70.0, -75.0, -80.0, -85.0, -90.0, -100.0, -110.0, -120.0)
HUM_DBFS = tuple(float(level) for level in range(-84, -47, 4))
LINE_DBFS = tuple(float(level) for level in range(-105, -59, 5))
RUMBLE_DBFS = tuple(float(level) for level in range(-44, -16, 3))

FAULTS = (
    PlantedFault("hum of 50 Hz, by its first line", "programme.hum", HUM_DBFS, "dBFS", hum_50),
    PlantedFault("hum of 60 Hz, by its first line", "programme.hum", HUM_DBFS, "dBFS", hum_60),
    PlantedFault("a line of 15,625 Hz, by its peak", "programme.steady-line", LINE_DBFS, "dBFS", line_625),
    PlantedFault("a line of 15,734 Hz, by its peak", "programme.steady-line", LINE_DBFS, "dBFS", line_525),
    PlantedFault("rumble of 4 to 12 Hz, by its rms", "programme.subsonic", RUMBLE_DBFS, "dBFS", rumble),
    PlantedFault("noise above 20 kHz, by its rms", "programme.ultrasonic", ABOVE_DBFS, "dBFS", band_above_20_khz),
    PlantedFault(
        "a rate of 44.1 kHz, by the noise added later", "file.upsampled", NOISE_DBFS, "dBFS", raised_rate,
        rates=(96_000,),
    ),
)  # fmt: skip
