"""Where the CPU time of one command goes, stage by stage.

    python tests/benchmarks/stages.py DELIVERY [WORKERS]

Runs `sidegate check` in this process with a watch on each stage's outermost function; threads are counted by their own
CPU time, so that it does not matter who waits for whom. What no watch sees (importing, loading kernels, closing) is the
rest.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

NAMES = {
    "start": "start: Python, imports",
    "papers": "delivery, ruleset, plugins",
    "read": "read and unpack, or decode",
    "hash": "digest of the file",
    "taps": "the taps: top, curve, displacement",
    "levels": "levels, groove numbers",
    "judge": "checks",
    "advise": "remedies, from a second look",
    "write": "report",
    "rest": "threads, the rest",
}


def measured(delivery: Path, workers: int) -> dict[str, float]:
    """Run a command of its own, once for nothing and once for the figures; gives s of CPU by stage."""
    words = [sys.executable, __file__, str(delivery), str(workers), "--json"]
    for _ in range(2):
        told = subprocess.run(words, check=True, capture_output=True, text=True).stdout
    return json.loads(told)


def table(stages: dict[str, float]) -> list[str]:
    """Give the stages as lines."""
    total = sum(stages.values())
    return [f"{'CPU by stage, WAV 96':<62} {'s':>7} {'%':>5}"] + [
        f"{NAMES.get(name, name):<62} {spent:>7.3f} {100.0 * spent / total:>5.1f}" for name, spent in stages.items()
    ]


class Watch:
    """Adds up the CPU time that threads spend in stages; a stage inside another does not count for the outer one."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self._inside = threading.local()
        self._lock = threading.Lock()

    def on(self, owner: Any, name: str, stage: str | Callable[..., str]) -> None:
        """Watch a function of a class or module."""
        function = getattr(owner, name)

        @wraps(function)
        def watched(*args: Any, **more: Any) -> Any:
            label = stage if isinstance(stage, str) else stage(*args)
            return self._timed(label, lambda: function(*args, **more))

        setattr(owner, name, watched)

    def on_calls(self, owner: Any) -> None:
        """Watch a class whose instances call something in another thread: it counts for the stage that asked."""
        function = owner.__call__

        def watched(runner: Any, call: Callable[..., Any], *args: Any) -> Any:
            label = getattr(self._inside, "label", None)
            return function(
                runner, call if label is None else lambda *args: self._timed(label, lambda: call(*args)), *args
            )

        owner.__call__ = watched

    def _timed(self, label: str, call: Callable[[], Any]) -> Any:
        outer, self._inside.spent = getattr(self._inside, "spent", 0.0), 0.0
        around, self._inside.label = getattr(self._inside, "label", None), label
        began = time.thread_time()
        try:
            return call()
        finally:
            whole = time.thread_time() - began
            with self._lock:
                self.spent[label] = self.spent.get(label, 0.0) + whole - self._inside.spent
            self._inside.spent, self._inside.label = outer + whole, around


def main() -> None:
    from qc import api
    from qc.audio.pipeline import process
    from qc.audio.pipeline.group import GroupTaps
    from qc.audio.source import FileSource
    from qc.cli import check as command
    from qc.cli.main import main as sidegate
    from qc.judge import level as at_level
    from qc.judge import session as checking
    from qc.plugin_host.runner import Runner
    from qc.run import check as running

    began = time.process_time()  # all until here: the start
    watch = Watch()

    def stage_name(_: Any, stage: Any) -> str:
        owner = getattr(stage.process, "__self__", None)
        if owner is None:
            return "hash"
        return "taps" if isinstance(owner, GroupTaps) else "process " + ", ".join(need.id for need in owner.needs)

    watch.on(api, "build_host", "papers")
    watch.on(running, "read_any", "papers")
    watch.on(running, "chosen", "papers")
    watch.on(FileSource, "read", "read")
    watch.on(FileSource, "hash", "hash")
    watch.on(process._Pass, "_process", stage_name)
    watch.on(checking, "search_levels", "levels")
    watch.on(at_level.SearchedSide, "at", "levels")
    watch.on(checking, "judge_side", "judge")
    watch.on(checking, "judge_delivery", "judge")
    watch.on(checking, "advise", "advise")
    watch.on(command, "write", "write")
    watch.on_calls(Runner)
    delivery, workers = sys.argv[1:3]
    with tempfile.TemporaryDirectory() as out:
        words = ["check", delivery, "--no-cache", "--quiet", "--out", f"json={out}/report.json"]
        sidegate([*words, "--workers", workers] if int(workers) else words)
    spent = {"start": began} | watch.spent
    spent["rest"] = time.process_time() - sum(spent.values())
    sys.stdout.write(json.dumps(spent) if "--json" in sys.argv else "\n".join(table(spent)) + "\n")


if __name__ == "__main__":
    main()
