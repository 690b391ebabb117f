"""What plays and speaks for the clean set: a synthesiser, loops, single sounds, speech, each a maker of samples.

A maker takes the rate of its side in Hz and returns samples (2, frames) of any level.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from support.composed import STYLES, composed

Samples = NDArray[np.float64]

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
SMALL_FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
SOUNDS = Path("/usr/share/sonic-pi/samples")
LOSSY = Path("/usr/share/games/wesnoth/1.16/data/core/music")
SPOKEN = (
    "The harbour lay quiet in the early morning. A pilot read the weather from the wall, and wrote six figures on a "
    "slate. Outside, the fishing boats came past the pier, one by one. She asked which of them carried the post. "
    "None did, he said; the ship that sails on Tuesdays is late again. So they sat down on the steps and waited, with "
    "a pot of tea, until the fog had lifted from the estuary. "
)


def missing() -> str:
    """Name what is not installed, or nothing."""
    commands = [name for name in ("fluidsynth", "espeak-ng", "sox") if shutil.which(name) is None]
    files = [str(path) for path in (FONT, SMALL_FONT, SOUNDS, LOSSY) if not path.exists()]
    return ", ".join(commands + files)


def played(style: str, seed: int, *, font: Path = FONT, fast: bool = False) -> Callable[[int], Samples]:
    """Music of a style, played at the rate of its side; `fast` is played an octave lower at half the speed and rate.

    A sound font has nothing above 22 kHz, so only varispeed fills the spectrum of a file at 96 kHz.
    """

    def make(rate: int) -> Samples:
        midi = composed(STYLES[style], seed, octaves=int(fast), slower=2.0 if fast else 1.0)
        with tempfile.TemporaryDirectory() as folder:
            score, wave = Path(folder) / "score.mid", Path(folder) / "played.wav"
            score.write_bytes(midi)
            subprocess.run(
                ["fluidsynth", "-ni", "-q", "-F", wave, "-T", "wav", "-O", "float", "-r", str(rate // (1 + fast)),
                 "-g", "0.4", font, score],
                check=True, capture_output=True,
            )  # fmt: skip
            return soundfile.read(wave, always_2d=True)[0].T

    return make


def looped(names: str, seconds: float, seed: int) -> Callable[[int], Samples]:
    """Loops one after another, each some times, with 3 ms fades; their samples are taken as if they had this rate."""

    def make(rate: int) -> Samples:
        rng = np.random.default_rng(seed)
        loops = [_sound(name) for name in names.split()]
        out = np.zeros((2, round(seconds * rate)))
        at = number = 0
        while at < out.shape[1]:
            loop = _faded(loops[number % len(loops)], rate)
            for _ in range(int(rng.integers(2, 5))):
                part = loop[:, : max(0, out.shape[1] - at)]
                out[:, at : at + part.shape[1]] += part
                at += loop.shape[1] - round(0.003 * rate)
            number += 1
        return ended(out, rate, 3.0)

    return make


def struck(names: str, seconds: float, seed: int, every: float = 0.15, rest: float = 0.3) -> Callable[[int], Samples]:
    """Single sounds in a rhythm, each to its own end; `rest` is the chance that a beat has none."""

    def make(rate: int) -> Samples:
        rng = np.random.default_rng(seed)
        sounds = [_faded(_sound(name), rate) for name in names.split()]
        out = np.zeros((2, round((seconds + 6.0) * rate)))
        for at in np.arange(0.0, seconds, every):
            sound = sounds[int(rng.integers(len(sounds)))]
            if rng.random() < rest:
                continue
            begin = round(at * rate)
            sound = sound[:, : out.shape[1] - begin] * rng.uniform(0.3, 1.0)
            lean = rng.uniform(0.5, 1.0, (2, 1))
            out[:, begin : begin + sound.shape[1]] += lean * sound
        return out

    return make


def spoken(voice: str, times: int = 1, *, upsampled: bool = False) -> Callable[[int], Samples]:
    """Speech in a small room in stereo: slow, played at twice its rate, so that its top is its own; or `upsampled`.

    The synthesiser alone is digitally silent within its consonants and stops at once, as no microphone hears it.
    """

    def make(rate: int) -> Samples:
        with tempfile.TemporaryDirectory() as folder:
            dry, room = Path(folder) / "dry.wav", Path(folder) / "room.wav"
            pace = ("-s", "165") if upsampled else ("-s", "85", "-p", "0")
            subprocess.run(["espeak-ng", "-v", voice, *pace, "-w", dry, SPOKEN * times], check=True)
            up = ("rate", "-v", str(rate)) if upsampled else ()
            subprocess.run(
                ["sox", "-R", dry, "-e", "float", "-b", "32", room, "remix", "1", "1", "gain", "-6", "pad", "0", "2",
                 "reverb", "25", *up],
                check=True, capture_output=True,
            )  # fmt: skip
            return soundfile.read(room, always_2d=True)[0].T

    return make


def under(voice: Callable[[int], Samples], bed: Callable[[int], Samples], bed_db: float) -> Callable[[int], Samples]:
    """Speech over music that plays `bed_db` below it and goes on for a little."""

    def make(rate: int) -> Samples:
        above, below = voice(rate), bed(rate)
        seconds = max(above.shape[1] + 3 * rate, below.shape[1])
        out = np.zeros((2, seconds))
        out[:, rate : rate + above.shape[1]] += above / np.abs(above).max()
        music = np.tile(below, (1, -(-seconds // below.shape[1])))[:, :seconds]
        return out + ended(music * (10.0 ** (bed_db / 20.0) / np.abs(music).max()), rate, 4.0)

    return make


def resampled(make: Callable[[int], Samples], source_rate: int) -> Callable[[int], Samples]:
    """Return the same, made at another rate and brought to that of the side by sox at its highest quality."""

    def at_rate(rate: int) -> Samples:
        with tempfile.TemporaryDirectory() as folder:
            source, out = Path(folder) / "source.wav", Path(folder) / "out.wav"
            x = make(source_rate)
            soundfile.write(source, 0.5 * x.T / np.abs(x).max(), source_rate, "FLOAT")
            subprocess.run(["sox", source, out, "rate", "-v", str(rate)], check=True)
            return soundfile.read(out, always_2d=True)[0].T

    return at_rate


def lossy(name: str, seconds: float) -> Callable[[int], Samples]:
    """A piece that was stored as Ogg Vorbis."""

    def make(rate: int) -> Samples:
        x, found = soundfile.read(LOSSY / f"{name}.ogg", always_2d=True, frames=round(seconds * rate))
        assert found == rate, f"{name} has {found} Hz"
        return ended(np.repeat(x.T, 2, axis=0)[:2] if x.shape[1] == 1 else x.T.copy(), rate, 3.0)

    return make


def _sound(name: str) -> Samples:
    """Samples (2, n) of a sound of sonic-pi-samples; none that is used here was clipped."""
    x = soundfile.read(SOUNDS / f"{name}.flac", always_2d=True)[0].T
    return np.repeat(x, 2, axis=0)[:2] if x.shape[0] == 1 else x


def _faded(x: Samples, rate: int) -> Samples:
    ends = np.minimum(1.0, (0.5 + np.arange(x.shape[1])) / (0.003 * rate))
    return x * ends * ends[::-1]


def ended(x: Samples, rate: int, seconds: float) -> Samples:
    """Fade the end as a mix is faded: a raised cosine."""
    fade = min(x.shape[1], round(seconds * rate))
    x[:, x.shape[1] - fade :] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, fade))
    return x
