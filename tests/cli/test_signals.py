"""SIGINT and SIGTERM at chosen moments: no traceback, 128 and the signal's number, and nothing half written."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from support.command import HUNG, heed_interrupts

SAID = "sidegate: stopped; nothing more was written\n"
CODES = {signal.SIGINT: 130, signal.SIGTERM: 143}


def in_turn(places):
    """Pair each place with one of the two signals, in turn; with the other where the longest laws run."""
    pairs = [(place, number) for place in places for number in CODES]
    return [pytest.param(*pair, marks=pytest.mark.long if i % 4 in {1, 2} else ()) for i, pair in enumerate(pairs)]


AT_IMPORT = """
import os, runpy, signal, sys

class Signalling:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            os.kill(os.getpid(), {number})
        return None

sys.meta_path.insert(0, Signalling())
sys.argv = ["sidegate", "check", {folder!r}, "--out", "json=" + {out!r}]
runpy.run_module("qc", run_name="__main__")
"""
MODULES = [
    "argparse", "qc.cli.main", "qc.model.errors", "qc.cli.check", "qc.api", "numpy", "numpy._core.multiarray",
    "pydantic", "pydantic_core", "pluggy", "qc_standard", "numba", "qc.dsp.kernels.compile", "ruamel.yaml",
]  # fmt: skip


def run_code(code, **more):
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=HUNG,
        preexec_fn=heed_interrupts, **more,
    )  # fmt: skip


@pytest.mark.parametrize(("module", "number"), in_turn(MODULES))
def test_a_signal_while_a_module_is_imported(bench, module, number):
    bench.deliver()
    with bench.watched():
        code = AT_IMPORT.format(module=module, number=int(number), folder=str(bench.folder), out=str(bench.report))
        done = run_code(code, env=bench.environment)
    assert (done.returncode, done.stdout) == (CODES[number], "")
    assert done.stderr in {SAID, f"sidegate: reading side A\n{SAID}"}


def test_the_script_answers_signals_before_it_imports_the_command():
    """Four imports come before: the package, its version, a module of signals, and this entry point."""
    project = tomllib.loads(Path(__file__).parents[2].joinpath("pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["scripts"]["sidegate"] == "qc.cli.start:run"
    code = "import sys, qc.cli.start; print(*sorted(name for name in sys.modules if name.startswith('qc')))"
    expected = ["qc", "qc.cli", "qc.cli.start", "qc.cli.stopping", "qc.model", "qc.model.version"]
    assert run_code(code).stdout.split() == expected


def test_an_ignored_signal_stays_ignored(bench):
    """A command in the background of a shell is not ended by the Ctrl-C that is meant for another."""
    bench.deliver()
    code = AT_IMPORT.format(module="qc.api", number=2, folder=str(bench.folder), out=str(bench.report))
    done = run_code("import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)\n" + code, env=bench.environment)
    assert (done.returncode, bench.report.exists()) == (0, True)


WRITING = """
import os, signal, sys, time
from pathlib import Path
from qc.cli import stopping
from qc.files import atomic_write as placing
from qc.plugin_host.runner import Runner

def filled(out):
    for number in range(10_000):
        if number == 5:
            os.kill(os.getpid(), {number})
        if isinstance(out, Path):
            (out / str(number)).write_bytes(b"x" * 1000)
        else:
            out.write(b"x" * 1000)
        time.sleep(0.001)

def patiently(out):
    Runner(60.0)(filled, out)

stopping.by_unwinding()
place = Path(sys.argv[1])
try:
    placing.{put}(place, {fill}, "place")
except KeyboardInterrupt as stopped:
    os._exit(stopped.exit_code)
"""


@pytest.mark.parametrize(
    ("way", "number"),
    in_turn([("put_file", "filled"), ("put_folder", "filled"), ("put_folder", "patiently"), ("put_file", "patiently")]),
)
def test_a_signal_while_a_report_is_written_leaves_the_one_before(tmp_path, way, number):
    put, fill = way
    place = tmp_path / "report"
    done = subprocess.run(
        [sys.executable, "-c", WRITING.format(put=put, fill=fill, number=int(number)), str(place)],
        capture_output=True, text=True, check=False, timeout=HUNG, preexec_fn=heed_interrupts,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (CODES[number], "", "")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("after", "number"), in_turn([0.03, 0.1, 0.2, 0.4, 0.8]))
def test_a_signal_some_time_after_the_start(bench, after, number):
    """Wherever it comes: the exit code of the signal or that of a run that was over by then, and no traceback."""
    bench.deliver()
    code = (
        "from qc.cli.start import run\nfrom qc.cli import stopping\nstopping.at_once()\nprint('.', flush=True)\nrun()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, "check", str(bench.folder), "--out", f"json={bench.report}"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=bench.environment,
        preexec_fn=heed_interrupts,  # noqa: PLW1509 - no threads here
    ) as running:  # fmt: skip
        assert running.stdout.readline() == ".\n"
        with contextlib.suppress(subprocess.TimeoutExpired):
            running.wait(after)
        running.send_signal(number)
        _, err = running.communicate(timeout=HUNG)
    assert "Traceback" not in err
    assert running.returncode in {CODES[number], 0}
    assert bench.report.exists() == (running.returncode == 0)
    assert [path.name for path in bench.output.iterdir()] in ([], ["report.json"])
    assert list(Path(os.fspath(bench.temporary)).iterdir()) == []


LOST = """
import ctypes, os, sys, time
from qc.cli import stopping

@ctypes.CFUNCTYPE(None)
def callback():
    os.kill(os.getpid(), {number})
    for _ in range(100):
        pass

stopping.by_unwinding()
try:
    callback()
    time.sleep(60.0)
except KeyboardInterrupt as stopped:
    sys.exit(stopped.exit_code)
finally:
    print("cleaned up")
"""


@pytest.mark.parametrize("number", CODES)
def test_a_signal_that_is_lost_in_a_callback_comes_again(number):
    """As in those of the compiler, out of which no exception gets."""
    done = run_code(LOST.format(number=int(number)))
    assert (done.returncode, done.stdout, done.stderr) == (CODES[number], "cleaned up\n", "")
