"""Build the side that the benchmark is run over: 22 minutes of real music at 96 kHz and 24 bits.

    python tests/benchmarks/make_side.py FOLDER [--container flac] [--rate 192000] [--minutes 22]

The tracks are of Debian's wesnoth-1.16-music, joined with two seconds between them and resampled by ffmpeg; the last
is faded out where the side ends. FOLDER gets the audio and a delivery.yaml that names each track's times.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
from pathlib import Path

MUSIC = Path("/usr/share/games/wesnoth/1.16/data/core/music")
TRACKS = (
    "wanderer",
    "knolls",
    "the_dangerous_symphony",
    "traveling_minstrels",
    "northerners",
    "suspense",
    "legends_of_the_north",
    "into_the_shadows",
)
SILENCE = 2.0
"""s before each track"""
FADE = 4.0
"""s by which the last track is faded out"""


def main() -> None:
    words = argparse.ArgumentParser(description="Build a long side of real music.")
    words.add_argument("folder", type=Path)
    words.add_argument("--container", choices=["wav", "flac"], default="wav")
    words.add_argument("--rate", type=int, default=96_000)
    words.add_argument("--minutes", type=float, default=22.0)
    asked = words.parse_args()
    audio = make(asked.folder, asked.container, asked.rate, asked.minutes)
    sys.stdout.write(f"{audio}: {audio.stat().st_size / 2**20:.0f} MiB\n")


def make(folder: Path, container: str, rate: int, minutes: float) -> Path:
    """Make a side and its delivery.yaml in a folder; gives the audio file."""
    for there, what in ((shutil.which("ffmpeg"), "ffmpeg"), (MUSIC.is_dir(), "Debian's wesnoth-1.16-music")):
        if not there:
            sys.exit(f"{what} is needed")
    folder.mkdir(parents=True, exist_ok=True)
    audio = folder / f"side-a.{container}"
    tracks = placed(60.0 * minutes)
    join(tracks, audio, rate, 60.0 * minutes)
    write_delivery(folder, audio, tracks)
    return audio


def placed(seconds: float) -> list[tuple[Path, float, float]]:
    """Take tracks until the side is full; gives each file with its start and end in s."""
    found: list[tuple[Path, float, float]] = []
    end = 0.0
    for name in TRACKS:
        path = MUSIC / f"{name}.ogg"
        start = end + SILENCE
        end = min(start + lasting(path), seconds)
        found.append((path, start, end))
        if end == seconds:
            return found
    sys.exit(f"the tracks last {end / 60.0:.1f} minutes only")


def lasting(path: Path) -> float:
    """Seconds of a track, as ffprobe reads them."""
    words = ["ffprobe", "-v", "error", "-show_entries", "stream=duration", "-of", "csv=p=0", str(path)]
    return float(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


def join(tracks: list[tuple[Path, float, float]], audio: Path, rate: int, seconds: float) -> None:
    """Join, resample once for all of it, turn down so that no peak is clipped by resampling, and write 24 bits."""
    inputs = [word for path, _, _ in tracks for word in ("-i", str(path))]
    delay = round(1000.0 * SILENCE)
    each = [f"[{i}:a]adelay={delay}:all=1[a{i}]" for i in range(len(tracks))]
    all_of_them = "".join(f"[a{i}]" for i in range(len(tracks)))
    chain = (
        f"{all_of_them}concat=n={len(tracks)}:v=0:a=1,atrim=0:{seconds},volume=-3dB,"
        f"afade=t=out:st={seconds - FADE}:d={FADE},aresample={rate}:resampler=soxr:precision=28[side]"
    )
    packed = ["-c:a", "pcm_s24le"] if audio.suffix == ".wav" else ["-c:a", "flac", "-bits_per_raw_sample", "24"]
    form = [] if audio.suffix == ".wav" else ["-sample_fmt", "s32"]
    words = ["ffmpeg", "-v", "error", "-y", *inputs, "-filter_complex", ";".join([*each, chain]), "-map", "[side]"]
    words += ["-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a", "+bitexact", *packed, *form, str(audio)]
    subprocess.run(words, check=True)


def write_delivery(folder: Path, audio: Path, tracks: list[tuple[Path, float, float]]) -> None:
    lines = ["schema: 1", "title: Quiet Harbour", "disc: {size: 12in, speed: 33}", "sides:", "  - id: A"]
    lines += [f"    audio: {audio.name}", "    tracks:"]
    for number, (path, start, end) in enumerate(tracks, start=1):
        title = json.dumps(path.stem.replace("_", " "))
        lines.append(f"      - {{number: {number}, title: {title}, start: {start:.3f}, end: {end:.3f}}}")
    (folder / "delivery.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
