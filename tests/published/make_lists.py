"""Try exchanged sides, exchanged tracks and other speeds on sides made of real music, and print what was found.

    PYTHONPATH=tests python -m published.make_lists

Needs the real music of `support/real_music.py` and ffmpeg; decoding it takes about two minutes. A list is changed and
the music stays: all that these checks compare is the list with the starts that are found.
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from qc.plugin_api import ProgrammeBounds
from qc_standard.documents.track_list import (
    MeasuredTimes,
    exchanged_tracks,
    list_of_another_side,
    other_speed,
    with_lengths_exchanged,
)
from qc_standard.layout import DeclaredTrack
from support.real_music import MUSIC

RATE = 16_000
WINDOW = RATE // 100
SIDES = 60
SPEEDS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 2.0, 5.0, 8.84)
"""In per cent."""
EXACT_TO = 0.1
"""Greatest error of a speed that counts as found, in per cent."""


@dataclass(frozen=True)
class MadeSide:
    """A side of several pieces: its exact track list, and what is measured."""

    tracks: list[DeclaredTrack]
    measured: MeasuredTimes

    def listed(self, to_s: float) -> list[DeclaredTrack]:
        """Return the list rounded to a number of seconds, or as it is where that is 0."""
        if not to_s:
            return self.tracks
        return [
            replace(track, start=round(track.start / to_s) * to_s, end=round(track.end / to_s) * to_s)
            for track in self.tracks
        ]


def powers() -> list[NDArray[np.float32]]:
    """Return the mean squares by 10 ms of every piece of a minute or more, (2, windows), above 20 Hz."""
    high_pass = scipy.signal.butter(4, 20.0, "high", fs=RATE, output="sos")
    found = []
    for file in sorted(MUSIC.glob("*.ogg")):
        command = ["ffmpeg", "-v", "error", "-i", str(file), "-ar", str(RATE), "-ac", "2", "-f", "f32le", "-"]
        raw = subprocess.run(command, capture_output=True, check=True).stdout
        x = scipy.signal.sosfilt(high_pass, np.frombuffer(raw, np.float32).reshape(-1, 2).T.astype(np.float64), axis=1)
        windows = x.shape[1] // WINDOW
        power = (x[:, : windows * WINDOW].reshape(2, windows, WINDOW) ** 2).mean(axis=2).astype(np.float32)
        (sounding,) = np.nonzero(power.max(axis=0) > 1e-6)
        if windows >= 6000:
            found.append(power[:, sounding[0] : sounding[-1] + 1])
    return found


def made_side(pieces: Sequence[NDArray[np.float32]], rng: np.random.Generator) -> MadeSide:
    """Join three to six pieces with gaps of 1.5 to 4 s."""
    parts, tracks, windows = [_silence(200)], [], 200
    for index, piece in enumerate(rng.choice(len(pieces), int(rng.integers(3, 7)), replace=False)):
        length, gap = pieces[piece].shape[1], int(rng.uniform(150, 400))
        tracks.append(DeclaredTrack(index, index + 1, windows / 100, (windows + length) / 100, segue=False))
        parts += [pieces[piece], _silence(gap)]
        windows += length + gap
    power = np.concatenate(parts, axis=1)
    bounds = ProgrammeBounds.of(power, windows / 100, (), [(track.start, track.end) for track in tracks])
    return MadeSide(tracks, MeasuredTimes.of(bounds))


def _silence(windows: int) -> NDArray[np.float32]:
    return np.full((2, windows), 1e-12, np.float32)


def at_speed(tracks: Sequence[DeclaredTrack], per_cent: float) -> list[DeclaredTrack]:
    """Return the list for which the music is so many per cent fast."""
    factor = 1.0 + per_cent / 100.0
    return [replace(track, start=track.start * factor, end=track.end * factor) for track in tracks]


def exchanged_sides_found(made: Sequence[MadeSide], to_s: float) -> str:
    """Exchange the sides of each pair, and count those that are found."""
    found = right = 0
    for first, second in zip(made[::2], made[1::2], strict=True):
        lists = {"A": first.listed(to_s), "B": second.listed(to_s)}
        for side, other, its in (("A", second, first), ("B", first, second)):
            found += list_of_another_side(side, other.measured, lists) is not None
            right += list_of_another_side(side, its.measured, lists) is not None
    return f"{found} of {len(made)} exchanged sides, and {right} of the right ones"


def exchanged_tracks_found(made: Sequence[MadeSide], to_s: float, rng: np.random.Generator) -> str:
    """Exchange two tracks of each side whose lengths differ by 3 s, and count those that are found."""
    found = tried = right = 0
    for side in made:
        tracks = side.listed(to_s)
        i, j = sorted(rng.choice(len(tracks), 2, replace=False).tolist())
        right += exchanged_tracks(tracks, side.measured) is not None
        if abs(tracks[i].seconds - tracks[j].seconds) >= 3.0:
            tried += 1
            pair = exchanged_tracks(with_lengths_exchanged(tracks, i, j), side.measured)
            found += pair is not None and (pair.first.index, pair.second.index) == (i, j)
    return f"{found} of {tried} exchanged tracks, and {right} of {len(made)} right sides"


def speeds_found(made: Sequence[MadeSide], to_s: float) -> str:
    """Count the sides on which each speed is found to a tenth of a per cent."""
    counts = []
    for per_cent in SPEEDS:
        speeds = [other_speed(at_speed(side.listed(to_s), per_cent), side.measured) for side in made]
        close = (found for found in speeds if found and abs(100.0 * (found.speed - 1.0) - per_cent) <= EXACT_TO)
        counts.append(f"{per_cent} %: {sum(1 for _ in close)}")
    right = sum(other_speed(side.listed(to_s), side.measured) is not None for side in made)
    return f"speeds of {len(made)} sides: {', '.join(counts)}; and {right} of the right ones"


def main() -> None:
    """Print what is found by exact lists, and by lists rounded to the second."""
    pieces, rng = powers(), np.random.default_rng(7)
    made = [made_side(pieces, rng) for _ in range(SIDES)]
    for to_s in (0.0, 1.0):
        print("lists rounded to the second" if to_s else "exact lists")
        print(f"  {exchanged_sides_found(made, to_s)}")
        print(f"  {exchanged_tracks_found(made, to_s, rng)}")
        print(f"  {speeds_found(made, to_s)}", flush=True)


if __name__ == "__main__":
    main()
