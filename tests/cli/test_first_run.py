"""The first run on a machine: what is said, what is compiled, and by whom."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.measure.warm_up import _hear, _write
from qc.testing.deliveries import Sent, deliver
from support.signals import tone

pytestmark = pytest.mark.long

COUNTING = """
import sys
from qc.dsp.kernels import linked
made = []
kept = linked.write
linked.write = lambda path, code: (made.append(path), kept(path, code))[1]
import qc.measure.warm_up
warm = qc.measure.warm_up.warm
def first(*words):
    warm(*words)
    made.clear()
qc.measure.warm_up.warm = first
from qc.cli.main import main
code = main(sys.argv[1:])
print(len(made))
sys.exit(code)
"""


def run(words, cache, code=None):
    start = ["-m", "qc"] if code is None else ["-c", code]
    env = {**os.environ, "SIDEGATE_CACHE": str(cache)}
    return subprocess.run([sys.executable, *start, *words], env=env, capture_output=True, text=True, check=False)


@pytest.fixture
def delivered(tmp_path):
    side = Sent(0.2 * np.vstack([tone(400.0, 4.0, 96_000)] * 2), 96_000)
    return deliver(tmp_path / "d", {"A": side}), tmp_path / "cache"


def test_the_first_run_says_that_it_compiles_and_leaves_little_for_the_pass(delivered):
    folder, cache = delivered
    first = run(["check", str(folder), "--no-cache", "--out", f"json={cache}.json"], cache, COUNTING)
    assert first.stderr.count("compiling its measuring code for this machine, once") == 1
    if len(os.sched_getaffinity(0)) > 1:
        assert int(first.stdout) <= 3
    again = run(["check", str(folder), "--no-cache", "--out", f"json={cache}.json"], cache)
    assert "compiling" not in again.stderr
    assert again.returncode == first.returncode


def test_without_a_cache_that_lasts_nothing_is_compiled_elsewhere(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    code = (
        "import subprocess, qc.measure.warm_up\n"
        "from qc.plugin_host.host import Host\n"
        "subprocess.Popen = None\n"
        "from qc.dsp.kernels import cache as kernel_cache\n"
        "assert not kernel_cache.LASTING\n"
        "qc.measure.warm_up.warm(Host.build(()))\n"
    )
    assert run([], blocked, code).returncode == 0


def test_what_the_other_process_cannot_find_is_left_out(tmp_path):
    noise = Path(tmp_path / "noise.wav")
    _write(noise)
    words = [
        str(noise),
        "nowhere.at.all:Need",
        "qc.groove.signal.programme:Nothing",
        "qc.groove.signal.programme:Programme",
    ]
    done = run(words, tmp_path, "from qc.measure.warm_up import beside; beside()")
    assert (done.returncode, done.stderr) == (0, "")
    assert _hear(noise, []) == {}


def test_nothing_in_the_folder_that_it_runs_in_is_imported(tmp_path):
    """A delivery may hold anything, also a file called as a library is."""
    (tmp_path / "soundfile.py").write_text(f"open({str(tmp_path / 'run')!r}, 'w').close()\n")
    code = (
        "import sys, os; sys.path.remove(''); os.chdir(sys.argv[1])\n"
        "from qc.measure.warm_up import warm; from qc.plugin_host.host import Host; warm(Host.build(()))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        env={**os.environ, "SIDEGATE_CACHE": str(tmp_path / "cache")}, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    assert not (tmp_path / "run").exists()
