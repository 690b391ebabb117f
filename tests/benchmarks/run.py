"""Measure `sidegate check` against ffmpeg's loudness meter, and against what it is meant to reach.

    python tests/benchmarks/run.py FOLDER [--runs 5] [--json RESULTS.json] [--workers 2] [--command SIDEGATE]

FOLDER gets the sides (2.5 GB of real music from Debian's wesnoth-1.16-music) when they are not there yet. The whole
command is timed, all checks there are, with a JSON report; the meter does loudness and true peak only. Ratios are
medians over pairs of runs, the other figures medians over runs. Nothing else should run on the machine meanwhile.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import make_side
import stages
from costs import Cost, Paired, counted, paired, repeated

SIDES = {"WAV 96": ("wav", 96_000), "FLAC 96": ("flac", 96_000), "WAV 192": ("wav", 192_000)}
MINUTES = 22.0
REACH = {
    ("wall", "WAV 96"): (0.45, 0.33), ("wall", "FLAC 96"): (0.60, 0.45), ("wall", "WAV 192"): (0.50, 0.40),
    ("cpu", "WAV 96"): (0.65, 0.50), ("cpu", "FLAC 96"): (0.75, 0.60), ("cpu", "WAV 192"): (0.75, 0.60),
}  # fmt: skip
"""Ratio to the meter: to be reached, and better."""
OTHER = "disc-12in-33@1.0.0"
"""A ruleset that the sides do not ask for."""
AGAIN = (0.6, 0.3)
"""s that a check under it takes of a side that is stored, to be reached and better, where the meter takes METER."""
METER = 7.0
"""s; seconds do not travel from one machine to another, ratios do."""


@dataclass(frozen=True)
class Row:
    """One figure of the table."""

    what: str
    measured: float
    unit: str
    reach: float
    stretch: float

    def text(self) -> str:
        """Give it as a line."""
        places = 0 if self.unit in {"MiB", "ms"} else 3 if self.reach < 0.1 else 2
        verdict = "better" if self.measured <= self.stretch else "reached" if self.measured <= self.reach else "missed"
        measured = f"{self.measured:>8.{places}f} {self.unit:<8}"
        return f"{self.what:<48} {measured} {self.reach:>7g} {self.stretch:>7g}  {verdict}"


class Bench:
    """The commands, the sides, and where what they write goes."""

    def __init__(self, folder: Path, runs: int, workers: int, out: Path, command: Path | None = None) -> None:
        self.folder, self.runs, self.out = folder, runs, out
        script = command or Path(sys.executable).with_name("sidegate")
        self.sidegate = [str(script)] if script.is_file() else [sys.executable, "-m", "qc"]
        self.more = ["--workers", str(workers)] if workers else []
        self.ffmpeg = shutil.which("ffmpeg") or sys.exit("ffmpeg is needed")

    def side(self, container: str, rate: int, minutes: float = MINUTES) -> Path:
        """Give the folder of a side, made when it is not there."""
        place = self.folder / f"{container}-{rate}-{minutes:g}"
        if not (place / "delivery.yaml").exists():
            make_side.make(place, container, rate, minutes)
        return place

    def check(self, place: Path) -> list[str]:
        """The command that is timed; nothing that was measured before helps it."""
        return [*self._check(place), "--no-cache"]

    def again(self, place: Path) -> Cost:
        """Time a check under another ruleset of a side that a check has heard before, once, under its own."""
        stored, cache = self.out / "stored", self.out / "cache"
        counted([*self._check(place), "--cache", str(stored)])

        def once() -> Cost:
            shutil.rmtree(cache, ignore_errors=True)
            shutil.copytree(stored, cache)  # without what the last run under the other ruleset left
            return counted([*self._check(place), "--cache", str(cache), "--ruleset", OTHER])

        return repeated(max(self.runs, 5), once)

    def _check(self, place: Path) -> list[str]:
        return [*self.sidegate, "check", str(place), "--out", f"json={self.out / 'report.json'}", *self.more]

    def meter(self, place: Path) -> list[str]:
        """The yardstick."""
        (audio,) = place.glob("side-a.*")
        words = [
            "-nostats",
            "-hide_banner",
            "-i",
            str(audio),
            "-filter_complex",
            "ebur128=peak=true",
            "-f",
            "null",
            "-",
        ]
        return [self.ffmpeg, *words]

    def compared(self, place: Path) -> Paired:
        """Time both over a side."""
        return paired(self.runs, lambda: counted(self.check(place)), lambda: counted(self.meter(place)))

    def alone(self, *words: str) -> Cost:
        """Time a command of sidegate that hears nothing."""
        return repeated(max(self.runs, 5), lambda: counted([*self.sidegate, *words]))

    def first(self, place: Path) -> Cost:
        """Time the first run after an install: no kernel is compiled yet."""
        with tempfile.TemporaryDirectory() as cache:
            return counted(self.check(place), env={"SIDEGATE_CACHE": cache})


def main() -> None:
    words = argparse.ArgumentParser(description="Measure a check against ffmpeg's loudness meter.")
    words.add_argument("folder", type=Path)
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--json", type=Path, help="also write the table, with all runs, as JSON")
    words.add_argument("--workers", type=int, default=0, help="threads of the check; 0: the cores there are")
    words.add_argument(
        "--command", type=Path, help="the sidegate to time, of another installation; default: this one's"
    )
    asked = words.parse_args()
    if asked.command is not None and not asked.command.is_file():
        words.error(f"{asked.command} is not a command")
    with tempfile.TemporaryDirectory() as out:
        bench = Bench(asked.folder, asked.runs, asked.workers, Path(out), asked.command)
        pairs = {name: bench.compared(bench.side(*form)) for name, form in SIDES.items()}
        again = bench.again(bench.side("wav", 96_000))
        rows = [*ratios(pairs), second(again, pairs["WAV 96"]), *memory(bench, pairs), *starts(bench, again)]
        named = stages.measured(bench.side("wav", 96_000), asked.workers)
        results = told(bench, pairs, rows, named)
    sys.stdout.write("\n".join([*table(rows), "", *seconds(pairs), "", *stages.table(named)]) + "\n")
    if asked.json:
        asked.json.write_text(json.dumps(results, indent=2) + "\n", encoding="utf-8")


def ratios(pairs: dict[str, Paired]) -> list[Row]:
    """Wall and CPU time over the meter's."""
    return [
        Row(f"{what} time / ffmpeg's, {name}", asdict(pairs[name].ratio)[what], "", *REACH[what, name])
        for what in ("wall", "cpu")
        for name in SIDES
    ]


def second(again: Cost, pair: Paired) -> Row:
    """Wall time of a run that hears nothing, over the meter's, which hears all of it."""
    reach, stretch = (seconds / METER for seconds in AGAIN)
    ratio = again.wall / pair.other.wall
    return Row("wall time / ffmpeg's, unchanged, another ruleset", ratio, "", round(reach, 3), round(stretch, 3))


def memory(bench: Bench, pairs: dict[str, Paired]) -> list[Row]:
    """Peak of the longest, and growth of memory and time from a short side to a long one."""
    peak = max(pair.one.peak for pair in pairs.values())
    short, long = (repeated(3, lambda n=n: counted(bench.check(bench.side("wav", 96_000, n)))) for n in (5.5, 22.0))
    grown = (long.peak - short.peak) / (22.0 - 5.5)
    start = bench.alone("--version").wall
    rising = ((long.wall - start) / 22.0) / ((short.wall - start) / 5.5)
    return [
        Row("peak memory, the greatest of them", peak, "MiB", 256.0, 200.0),
        Row("memory a minute of side", grown, "MiB/min", 1.0, 0.5),
        Row("time a minute, 22 min over 5.5 min (linear: 1)", rising, "", 1.1, 1.0),
    ]


def starts(bench: Bench, again: Cost) -> list[Row]:
    """Commands that are over soon."""
    short = bench.side("wav", 96_000, 10.0 / 60.0)
    help_, version, rulesets = (1e3 * bench.alone(word).wall for word in ("--help", "--version", "rulesets"))
    return [
        Row("a 10-second file, whole command", repeated(5, lambda: counted(bench.check(short))).wall, "s", 1.0, 0.7),
        Row("unchanged, another ruleset, in seconds", again.wall, "s", *AGAIN),
        Row("sidegate --help", help_, "ms", 150.0, 80.0),
        Row("sidegate --version", version, "ms", 150.0, 80.0),
        Row("sidegate rulesets", rulesets, "ms", 150.0, 80.0),
        Row("first run after an install (10-second file)", bench.first(short).wall, "s", 12.0, 9.0),
    ]


def table(rows: list[Row]) -> list[str]:
    head = f"{'':<48} {'measured':>8} {'':<8} {'reach':>7} {'stretch':>7}"
    return [head, *(row.text() for row in rows)]


def seconds(pairs: dict[str, Paired]) -> list[str]:
    """The seconds behind the ratios."""
    lines = [f"{'':<10} {'':<10} {'wall s':>8} {'CPU s':>8} {'peak MiB':>9} {'x real time':>12}"]
    for name, pair in pairs.items():
        for who, cost in (("sidegate", pair.one), ("ffmpeg", pair.other)):
            times = 60.0 * MINUTES / cost.wall
            lines.append(f"{name:<10} {who:<10} {cost.wall:>8.2f} {cost.cpu:>8.2f} {cost.peak:>9.0f} {times:>12.0f}")
    return lines


def told(bench: Bench, pairs: dict[str, Paired], rows: list[Row], named: dict[str, Any]) -> dict[str, Any]:
    """Everything, for a file."""
    return {
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": machine(bench.ffmpeg),
        "commands": {name: [bench.check(Path(name)), bench.meter(bench.side(*form))] for name, form in SIDES.items()},
        "rows": [asdict(row) for row in rows],
        "pairs": {name: asdict(pair) for name, pair in pairs.items()},
        "stages": named,
    }


def machine(ffmpeg: str) -> dict[str, object]:
    """What the figures depend on; the load tells whether anything else was running."""
    version = subprocess.run([ffmpeg, "-version"], check=True, capture_output=True, text=True).stdout
    info = Path("/proc/cpuinfo")
    models = [
        line.partition(":")[2].strip() for line in info.read_text().splitlines() if line.startswith("model name")
    ] if info.exists() else [platform.processor()]  # fmt: skip
    return {
        "cpu": models[0] if models else "",
        "cores": os.cpu_count(),
        "system": platform.system(),
        "python": platform.python_version(),
        "ffmpeg": version.splitlines()[0],
        "load": os.getloadavg(),
    }


if __name__ == "__main__":
    main()
