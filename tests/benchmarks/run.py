"""Time `sidegate check` against ffmpeg's loudness meter over the same file, run by run in turn.

    python tests/benchmarks/run.py DELIVERY RESULTS.json [--runs 5] [--workers 2]

DELIVERY is a folder that make_side.py wrote: a delivery.yaml of one side. The table gives medians; the ratios are
medians of the ratios of the two runs of a pair, which a machine that slows down for a while disturbs less. Before
the first pair both run once for nothing, so that the kernels are compiled and the file is in memory.
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
import time
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

LONGEST_NAME = 10


@dataclass(frozen=True)
class Cost:
    """What a run took: s by the clock, s of all cores together, MiB at the peak."""

    wall: float
    cpu: float
    peak: float


def main() -> None:
    words = argparse.ArgumentParser(description="Time a check against ffmpeg's loudness meter.")
    words.add_argument("delivery", type=Path)
    words.add_argument("results", type=Path)
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--workers", type=int, default=0, help="threads of the check; 0: the cores there are")
    asked = words.parse_args()
    (audio,) = [path for path in asked.delivery.iterdir() if path.suffix in {".wav", ".flac", ".aiff"}]
    script = Path(sys.executable).with_name("sidegate")
    sidegate = [str(script)] if script.is_file() else [sys.executable, "-m", "qc"]
    ffmpeg = shutil.which("ffmpeg") or sys.exit("ffmpeg is needed")

    with tempfile.TemporaryDirectory() as folder:
        check = [*sidegate, "check", str(asked.delivery), "--out", f"json={folder}/report.json"]
        check += ["--workers", str(asked.workers)] if asked.workers else []
        meter = [ffmpeg, "-nostats", "-hide_banner", "-i", str(audio), "-filter_complex", "ebur128=peak=true"]
        meter += ["-f", "null", "-"]
        commands = {"sidegate": (check, (0, 1)), "ffmpeg": (meter, (0,))}
        for command, codes in commands.values():
            counted(command, codes)
        pairs: list[dict[str, Cost]] = []
        for number in range(asked.runs):
            names = list(commands) if number % 2 == 0 else list(commands)[::-1]  # neither is always the first
            pairs.append({name: counted(*commands[name]) for name in names})
        report = json.loads(Path(folder, "report.json").read_text(encoding="utf-8"))

    minutes = sum(side["audio"]["duration_s"] for side in report["sides"]) / 60.0
    results = summed_up(pairs)
    results |= {"audio": facts(audio, report, minutes), "machine": machine(ffmpeg), "commands": [check, meter]}
    asked.results.write_text(json.dumps(results, indent=2) + "\n", encoding="utf-8")
    show(results, minutes)


def counted(command: list[str], codes: tuple[int, ...]) -> Cost:
    """Run a command and count it alone: wait4 gives the resources of that one child."""
    with tempfile.TemporaryFile() as said:
        started = time.monotonic()
        child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=said)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - started
        child.returncode = os.waitstatus_to_exitcode(status)  # or Popen would wait for it once more
        if child.returncode not in codes:
            said.seek(0)
            sys.exit(f"{command[0]} ended with {child.returncode}: {said.read().decode()[-2000:]}")
    kib = used.ru_maxrss / (1024.0 if sys.platform == "darwin" else 1.0)
    return Cost(wall, used.ru_utime + used.ru_stime, kib / 1024.0)


def summed_up(pairs: list[dict[str, Cost]]) -> dict[str, object]:
    """Medians of each command, and of the ratios within the pairs."""
    medians = {
        name: {what: median(asdict(pair[name])[what] for pair in pairs) for what in ("wall", "cpu", "peak")}
        for name in pairs[0]
    }
    ratios = {
        what: median(asdict(pair["sidegate"])[what] / asdict(pair["ffmpeg"])[what] for pair in pairs)
        for what in ("wall", "cpu", "peak")
    }
    runs = [{name: asdict(cost) for name, cost in pair.items()} for pair in pairs]
    return {"units": {"wall": "s", "cpu": "s", "peak": "MiB"}, "medians": medians, "ratios": ratios, "runs": runs}


def facts(audio: Path, report: dict, minutes: float) -> dict[str, object]:
    side = report["sides"][0]["audio"]
    named = {key: side[key] for key in ("format", "coding", "sample_rate", "channels")}
    return named | {"minutes": minutes, "mib": audio.stat().st_size / 2**20, "tool": report["tool"]}


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
        "system": platform.platform(),
        "python": platform.python_version(),
        "ffmpeg": version.splitlines()[0],
        "load": os.getloadavg(),
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
    }


def show(results: dict, minutes: float) -> None:
    row = f"{{:<{LONGEST_NAME}}} {{:>9}} {{:>9}} {{:>9}} {{:>12}}\n"
    lines = [row.format("", "wall s", "CPU s", "peak MiB", "x real time")]
    for name, cost in results["medians"].items():
        times = 60.0 * minutes / cost["wall"]
        lines.append(
            row.format(name, f"{cost['wall']:.2f}", f"{cost['cpu']:.2f}", f"{cost['peak']:.0f}", f"{times:.0f}")
        )
    ratio = results["ratios"]
    lines.append(row.format("ratio", f"{ratio['wall']:.2f}", f"{ratio['cpu']:.2f}", f"{ratio['peak']:.2f}", ""))
    sys.stdout.write("".join(line.rstrip() + "\n" for line in lines))


if __name__ == "__main__":
    main()
