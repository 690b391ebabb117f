"""Clean material, lossless from its source to the file: what no check of the programme may speak about.

    PYTHONPATH=tests python -m support.clean_set FOLDER [--short] [--only NAME]

builds deliveries in FOLDER/clean, always the same ones, and in FOLDER/apart those with one true finding. Music of our
own is played by fluidsynth with Debian's fluid-soundfont-gm (MIT) and timgm6mb-soundfont (GPL-2+), loops and single
sounds are those of sonic-pi-samples (CC0, see /usr/share/doc/sonic-pi-samples/copyright), speech is espeak-ng's, and
the lossy pieces are those of wesnoth-1.16-music. Debian's `fluidsynth`, `espeak-ng` and `sox` do the work.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from support.rendered import SMALL_FONT, Samples, ended, looped, lossy, played, resampled, spoken, struck, under

LEAD_S, GAP_S = 1.5, 2.0
SHORT_S = 15.0
"""Length of a track in the short form."""


@dataclass(frozen=True)
class Track:
    """A title, and what makes its samples (2, frames) at a rate."""

    title: str
    make: Callable[[int], Samples]
    peak_db: float = -1.5


@dataclass(frozen=True)
class Side:
    """A side of the clean set; `finds` is the check that speaks truly about it, for those that lie apart."""

    name: str
    rate: int
    tracks: Sequence[Track]
    digital_silence: bool = False
    """the gaps are cut to nothing, without the dither"""
    finds: str = ""


DRUM_LOOPS = "loop_mehackit2 loop_breakbeat loop_tabla loop_amen loop_perc1 loop_safari"
ELECTRIC = "loop_electric loop_weirdo loop_compus loop_mika loop_mehackit1 loop_garzul"
AMBIENT = "ambi_choir ambi_drone ambi_sauna ambi_glass_rub ambi_lunar_land ambi_haunted_hum ambi_dark_woosh"
GUITAR = "guit_e_fifths guit_e_slide guit_em9 guit_harmonics perc_bell perc_bell2"
KIT = (
    "drum_bass_hard drum_snare_hard drum_cymbal_closed drum_cymbal_open drum_tom_mid_hard drum_splash_soft drum_cowbell"
)
# without those that were recorded too loud, such as tabla_te1 and tabla_dhec, whose tops are flat
TABLA = "tabla_tun2 tabla_tun3 tabla_te_m tabla_te_ne tabla_ke1 tabla_ke2 tabla_ke3 tabla_re"


def sides() -> Iterator[Side]:
    """Yield all sides: clean ones, then those that lie apart."""
    yield Side("chamber", 44_100, [
        Track("Low Tide", played("piano", 1)), Track("The Slow Ferry", played("strings", 2), -3.0),
        Track("Tin Chapel", played("organ", 3)), Track("Clockwork", played("harpsichord", 4)),
        Track("Dry Steps", played("staccato", 5)), Track("Boathouse", played("harp", 6), -4.0),
    ])  # fmt: skip
    yield Side("chamber-small-font", 48_000, [
        Track("Other Shore", played("piano", 11, font=SMALL_FONT)), Track("Salt", played("choir", 12, font=SMALL_FONT)),
        Track("Ladder", played("guitar", 13, font=SMALL_FONT)), Track("Weir", played("brass", 14, font=SMALL_FONT)),
        Track("Spindle", played("harpsichord", 15, font=SMALL_FONT)), Track("Low Water", played("bells", 16), -8.0),
        Track("Slip Road", played("jazz", 17, font=SMALL_FONT)), Track("Sea Wall", played("band", 18, font=SMALL_FONT)),
    ])  # fmt: skip
    yield Side("band", 48_000, [
        Track("Breakwater", played("band", 21), -0.8), Track("Nine Bells", played("brass", 22)),
        Track("Smoke House", played("jazz", 23)), Track("Rope Walk", played("guitar", 24)),
        Track("Gantry", played("band", 25), -1.0), Track("Ballast", played("staccato", 26)),
    ], digital_silence=True)  # fmt: skip
    yield Side("loops", 44_100, [
        Track("Engine Room", looped(DRUM_LOOPS, 90.0, 31), -3.0),
        Track("Switchboard", looped(ELECTRIC, 90.0, 32), -3.0),
        Track("Fog Signal", looped(AMBIENT, 90.0, 33), -3.0), Track("Strings of Wire", looped(GUITAR, 90.0, 34)),
        Track("Kit Alone", struck(KIT, 60.0, 35)), Track("Two Hands", struck(TABLA, 60.0, 36, 0.12)),
    ], digital_silence=True)  # fmt: skip
    yield Side("high-rate", 96_000, [
        Track("Fast Piano", played("piano", 41, fast=True)), Track("Fast Band", played("band", 42, fast=True)),
        Track("Fast Harp", played("harp", 43, fast=True)),
        Track("Fast Strings", played("strings", 44, fast=True), -3.0),
        Track("Fast Jazz", played("jazz", 45, fast=True)), Track("Fast Guitar", played("guitar", 46, fast=True)),
    ])  # fmt: skip
    yield Side("high-rate-loops", 96_000, [
        Track("Small Drums", looped(DRUM_LOOPS, 60.0, 51)), Track("Small Kit", struck(KIT, 50.0, 52)),
        Track("Small Wires", looped(GUITAR, 60.0, 53)), Track("Small Haze", looped(AMBIENT, 60.0, 54), -3.0),
        Track("Fast Organ", played("organ", 55, fast=True)), Track("Fast Brass", played("brass", 56, fast=True)),
    ])  # fmt: skip
    yield Side("brought-down", 44_100, [
        Track("From Above", resampled(played("band", 61, fast=True), 96_000)),
        Track("From Above, Quietly", resampled(played("harpsichord", 62, fast=True), 96_000), -4.0),
        Track("Haul", resampled(looped(ELECTRIC, 60.0, 63), 96_000)),
        Track("Hammer", resampled(struck(TABLA, 60.0, 64, 0.2), 96_000)),
    ])  # fmt: skip
    yield Side("radio-play", 44_100, [
        Track("The Pilot", under(spoken("en"), played("harp", 71), -18.0)),
        Track("The Wall", spoken("en+f3", 2), -3.0),
        Track("Tuesdays", under(spoken("en+m4"), looped(AMBIENT, 40.0, 73), -14.0)),
        Track("Steps", under(spoken("en+f2"), played("strings", 74), -22.0)),
        Track("Signal", spoken("en+m7", 2), -6.0),
    ])  # fmt: skip
    yield Side("sparse", 44_100, [
        Track("One Note at a Time", played("sparse", 81), -20.0), Track("Under the Breath", played("quiet", 82), -24.0),
        Track("Bells Far Off", played("bells", 83), -14.0),
        Track("A Few Drops", struck(TABLA, 60.0, 84, 1.3, 0.1), -12.0),
        Track("Three Metals", struck("perc_bell elec_chime drum_splash_soft", 60.0, 85, 1.9, 0.1), -16.0),
    ])  # fmt: skip
    yield Side("recital", 48_000, [
        Track("Winter Sun", played("piano", 91)), Track("Winter Moon", played("sparse", 92), -12.0),
        Track("Old Stairs", played("guitar", 93), -6.0), Track("Reeds", played("harp", 94)),
        Track("Vault", played("organ", 95), -2.0), Track("Stone Choir", played("choir", 96), -3.0),
        Track("Quiet Room", played("quiet", 97), -18.0), Track("Last Boat", played("strings", 98), -2.0),
    ])  # fmt: skip
    yield Side("apart-lossy", 44_100, [
        Track("Knolls", lossy("knolls", 90.0)), Track("Wanderer", lossy("wanderer", 90.0)),
        Track("Underground", lossy("underground", 90.0)),
    ], finds="file.lossy-origin")  # fmt: skip
    yield Side("apart-upsampled", 96_000, [
        Track("Raised Piano", resampled(played("piano", 101), 44_100)),
        Track("Raised Band", resampled(played("band", 102), 44_100)),
        Track("Raised Voice", spoken("en", upsampled=True)),
    ], finds="file.upsampled")  # fmt: skip


def rendered(side: Side, short: bool = False) -> tuple[Samples, list[tuple[float, float]]]:
    """Samples (2, frames) of a whole side, dithered for 24 bits, and where each track starts and ends, in s.

    A track ends where it has fallen 60 dB below its peak for good; what rings on reaches into the gap.
    """
    rate = side.rate
    parts, times = [np.zeros((2, round(LEAD_S * rate)))], []
    at = LEAD_S
    for track in side.tracks:
        x = track.make(rate)
        x = x[:, _heard(x, 1e-5)]
        if short and x.shape[1] > SHORT_S * rate:
            x = ended(x[:, : round(SHORT_S * rate)].copy(), rate, 3.0)
        x = x * (10.0 ** (track.peak_db / 20.0) / np.abs(x).max())
        times.append((at, at + _heard(x, 1e-3).stop / rate))
        parts += [x, np.zeros((2, round(GAP_S * rate)))]
        at += x.shape[1] / rate + GAP_S
    parts.append(np.zeros((2, 2 * rate)))
    samples = np.concatenate(parts, axis=1)
    rng = np.random.default_rng(len(side.name))
    step = 2.0**-23
    dither = step * (rng.random(samples.shape) - rng.random(samples.shape))
    if side.digital_silence:
        dither[samples == 0.0] = 0.0
    return step * np.round((samples + dither) / step), times


def _heard(x: Samples, part: float) -> slice:
    """Return the frames from the first to the last sample above a part of the peak."""
    heard = np.flatnonzero(np.abs(x).max(axis=0) > part * np.abs(x).max())
    return slice(int(heard[0]), int(heard[-1]) + 1)


def write(side: Side, folder: Path, *, short: bool = False) -> Path:
    """Write one side as a delivery with the true times of its tracks into folder/clean or folder/apart."""
    samples, times = rendered(side, short)
    place = folder / ("apart" if side.finds else "clean") / side.name
    place.mkdir(parents=True, exist_ok=True)
    soundfile.write(place / "side-a.wav", samples.T, side.rate, "PCM_24")
    lines = [
        "schema: 1",
        f"title: {side.name.replace('-', ' ').capitalize()}",
        "disc: {size: 12in, speed: 33}",
        "sides:",
        "  - id: A",
        "    audio: side-a.wav",
        "    cut_level: -20 dB",
        "    tracks:",
    ]
    for number, (track, (start, end)) in enumerate(zip(side.tracks, times, strict=True), start=1):
        lines.append(f'      - {{number: {number}, title: "{track.title}", start: {start:.3f}, end: {end:.3f}}}')
    (place / "delivery.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return place


SHORT = {
    "chamber": (0, 3, 4),
    "band": (0, 2),
    "loops": (0, 2, 4),
    "high-rate": (0, 1),
    "radio-play": (0, 1),
    "sparse": (0, 3),
}
"""Tracks of the short form, from 0, by side: some four minutes."""


def build(folder: Path, *, short: bool = False, only: str = "") -> list[tuple[Side, Path]]:
    """Build all sides, or those whose name contains `only`; return each with its delivery."""
    chosen = [side for side in sides() if only in side.name]
    if short:
        chosen = [
            Side(side.name, side.rate, [side.tracks[i] for i in SHORT[side.name]], side.digital_silence)
            for side in chosen
            if side.name in SHORT
        ]
    return [(side, write(side, folder, short=short)) for side in chosen]


def main() -> None:
    """Build the set from the command line."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("folder", type=Path)
    words.add_argument("--short", action="store_true", help="some four minutes")
    words.add_argument("--only", default="", metavar="NAME", help="sides whose name contains this")
    given = words.parse_args()
    for side, place in build(given.folder, short=given.short, only=given.only):
        facts = soundfile.info(place / "side-a.wav")
        print(f"{side.name}: {facts.duration / 60.0:.1f} min at {facts.samplerate} Hz")


if __name__ == "__main__":
    main()
