"""Render the audio of the Quiet Harbour delivery beside this file: two sides of music made by code from fixed seeds.

Side A is a good side. Side B has wide, out-of-phase bass in its first track and cymbals far too strong in its
second, and its sender asks for a level it cannot take.
"""

import sys
from pathlib import Path

import numpy as np
import soundfile

from qc.testing.music import Song, song

RATE = 48_000
HERE = Path(__file__).resolve().parent


def side(tracks: list[Song]) -> np.ndarray:
    """Join tracks as (2, frames): 1.5 s of silence before, 2 s between, 3 s after."""
    parts = [np.zeros((2, round(1.5 * RATE)))]
    for index, plan in enumerate(tracks):
        if index:
            parts.append(np.zeros((2, 2 * RATE)))
        parts.append(0.7 * song(plan))
    parts.append(np.zeros((2, 3 * RATE)))
    return np.concatenate(parts, axis=1)


def main() -> None:
    """Write side-a.wav and side-b.wav, 48 kHz and 24 bit."""
    sides = {
        "side-a.wav": [
            Song(48.0, RATE, seed=11),
            Song(48.0, RATE, seed=12, tempo=76.0, tonic=40, cymbals=0.6),
        ],
        "side-b.wav": [
            Song(40.0, RATE, seed=21, tempo=104.0, tonic=43, bass_width=0.45),
            Song(40.0, RATE, seed=22, tempo=118.0, tonic=45, cymbals=2.5),
        ],
    }
    for name, tracks in sides.items():
        samples = side(tracks)
        soundfile.write(HERE / name, samples.T, RATE, subtype="PCM_24")
        sys.stderr.write(f"wrote {name}, {samples.shape[1] / RATE:.1f} s\n")


if __name__ == "__main__":
    main()
