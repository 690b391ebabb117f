"""What a command costs: wall and CPU time, and memory at the peak, of that one process."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median

UNUSUAL = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")
"""Variables under which every start would compile all sources again."""


@dataclass(frozen=True)
class Cost:
    """What a run took: s by the clock, s of all cores together, MiB at the peak."""

    wall: float
    cpu: float
    peak: float


def counted(command: Sequence[str], codes: Sequence[int] = (0, 1), env: Mapping[str, str] | None = None) -> Cost:
    """Run a command and count it alone: wait4 gives the resources of that one child.

    It runs as an install does: what Python compiles of the sources is kept, whatever this shell has it do.
    """
    around = {name: value for name, value in os.environ.items() if name not in UNUSUAL}
    with tempfile.TemporaryFile() as said:
        started = time.monotonic()
        child = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=said, env={**around, **(env or {})}
        )
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - started
        child.returncode = os.waitstatus_to_exitcode(status)  # or Popen would wait for it once more
        if child.returncode not in codes:
            said.seek(0)
            sys.exit(f"{command[0]} ended with {child.returncode}: {said.read().decode()[-2000:]}")
    kib = used.ru_maxrss / (1024.0 if sys.platform == "darwin" else 1.0)
    return Cost(wall, used.ru_utime + used.ru_stime, kib / 1024.0)


def middle(costs: Sequence[Cost]) -> Cost:
    """Give the median of each figure."""
    return Cost(*(median(asdict(cost)[what] for cost in costs) for what in ("wall", "cpu", "peak")))


def repeated(runs: int, run: Callable[[], Cost]) -> Cost:
    """Run once for nothing, so that files and kernels are in memory, then so many times; gives medians."""
    run()
    return middle([run() for _ in range(runs)])


@dataclass(frozen=True)
class Paired:
    """Medians of two commands that ran in turn, and of the ratios within the pairs.

    The ratio of two runs that follow each other is disturbed less by a machine that slows down for a while.
    """

    one: Cost
    other: Cost
    ratio: Cost
    pairs: tuple[tuple[Cost, Cost], ...]


def paired(runs: int, one: Callable[[], Cost], other: Callable[[], Cost]) -> Paired:
    """Run two commands in turn, neither always first; before the first pair both run once for nothing."""
    one(), other()
    pairs = []
    for number in range(runs):
        if number % 2 == 0:
            first = one()
            pairs.append((first, other()))
        else:
            second = other()
            pairs.append((one(), second))
    ratios = [Cost(a.wall / b.wall, a.cpu / b.cpu, a.peak / b.peak) for a, b in pairs]
    return Paired(middle([a for a, _ in pairs]), middle([b for _, b in pairs]), middle(ratios), tuple(pairs))
