"""Lossy coders, through which music is sent and back: each returns the samples as the coder leaves them.

`strength` is the bit rate in kb/s. Debian's ffmpeg does the work.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from support.planted_faults import Place, PlantedFault, Samples


def coded(samples: Samples, rate: int, kilobits: float, coder: str, suffix: str) -> Samples:
    """Return samples (2, n) as a coder of ffmpeg leaves them at a bit rate."""
    with tempfile.TemporaryDirectory() as folder:
        source, small, out = (Path(folder) / name for name in ("source.wav", f"small.{suffix}", "out.wav"))
        soundfile.write(source, samples.T, rate, "FLOAT")
        ffmpeg = ["ffmpeg", "-v", "error", "-threads", "1", "-bitexact", "-i"]
        subprocess.run([*ffmpeg, source, "-c:a", coder, "-b:a", f"{kilobits:g}k", small], check=True)
        subprocess.run([*ffmpeg, small, "-ar", str(rate), "-c:a", "pcm_f32le", out], check=True)
        decoded = soundfile.read(out, always_2d=True)[0].T
    whole: Samples = np.zeros(samples.shape)
    frames = min(samples.shape[1], decoded.shape[1])
    whole[:, :frames] = decoded[:, :frames]
    return whole


def mp3(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Store as MP3."""
    return coded(samples, rate, strength, "libmp3lame", "mp3"), None


def aac(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Store as AAC."""
    return coded(samples, rate, strength, "aac", "m4a"), None


def vorbis(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Store as Ogg Vorbis."""
    return coded(samples, rate, strength, "libvorbis", "ogg"), None


def opus(samples: Samples, rate: int, strength: float, seed: int) -> tuple[Samples, Place | None]:
    """Store as Opus, which brings everything to 48 kHz."""
    return coded(samples, rate, strength, "libopus", "opus"), None


RATES = (44_100, 48_000)
OF_MP3 = (320.0, 256.0, 224.0, 192.0, 160.0, 128.0, 112.0, 96.0, 80.0, 64.0)
OF_OTHERS = (256.0, 224.0, 192.0, 160.0, 128.0, 112.0, 96.0, 80.0, 72.0, 64.0)

FAULTS = (
    PlantedFault("storage as MP3, by bit rate", "file.lossy-origin", OF_MP3, "kb/s", mp3, rates=RATES),
    PlantedFault("storage as AAC, by bit rate", "file.lossy-origin", OF_OTHERS, "kb/s", aac, rates=RATES),
    PlantedFault("storage as Vorbis, by bit rate", "file.lossy-origin", OF_OTHERS, "kb/s", vorbis, rates=RATES),
    PlantedFault("storage as Opus, by bit rate", "file.lossy-origin", OF_OTHERS, "kb/s", opus, rates=RATES),
)
