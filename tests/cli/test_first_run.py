"""The first run on a machine: what is said, what is compiled, and by whom; see also dsp/test_plain_processor.py."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.measure.precompile import _write_noise
from qc.testing.deliveries import Sent, deliver
from support.signals import tone

pytestmark = pytest.mark.long

PRECOMPILE = """
import os, sys
sys.path.remove("")
os.chdir(sys.argv[1])
from qc import api
from qc.measure.precompile import precompile
precompile(api.build_host())
"""


def run(words, cache, code=None):
    start = ["-m", "qc"] if code is None else ["-c", code]
    env = {**os.environ, "SIDEGATE_CACHE": str(cache)}
    return subprocess.run([sys.executable, *start, *words], env=env, capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def precompiled(tmp_path_factory):
    """What a first run said that was in a folder with a file called as a library is, that folder, and its kernels."""
    folder = tmp_path_factory.mktemp("first")
    (folder / "soundfile.py").write_text(f"open({str(folder / 'run')!r}, 'w').close()\n")
    return run([str(folder)], folder / "cache", PRECOMPILE), folder, folder / "cache"


def test_the_first_run_says_that_it_compiles_and_leaves_little_for_the_pass(precompiled, tmp_path):
    first, _, cache = precompiled
    side = Sent(0.2 * np.vstack([tone(400.0, 4.0, 96_000)] * 2), 96_000)
    words = ["check", str(deliver(tmp_path / "d", {"A": side})), "--no-cache", "--out", f"json={tmp_path / 'r.json'}"]
    assert first.returncode == 0
    assert first.stderr.count("compiling its measuring code for this machine, once") == 1
    compiled = set(cache.rglob("*.nbc"))
    again = run(words, cache)
    assert "compiling" not in again.stderr
    assert len(set(cache.rglob("*.nbc")) - compiled) <= 4
    kept = set(cache.rglob("*.nbc"))
    assert run(words, cache).returncode == again.returncode
    assert set(cache.rglob("*.nbc")) == kept


def test_what_the_other_process_cannot_find_is_left_out(precompiled, tmp_path):
    _, _, cache = precompiled
    noise = Path(tmp_path / "noise.wav")
    _write_noise(noise)
    words = [
        str(noise),
        "nowhere.at.all:Need",
        "qc.groove.signal.programme:Nothing",
        "qc.groove.signal.programme:Programme",
    ]
    done = run(words, cache, "from qc.measure.precompile import other_process; other_process()")
    assert (done.returncode, done.stderr) == (0, "")


def test_nothing_in_the_folder_that_it_runs_in_is_imported(precompiled):
    """A delivery may hold anything, also a file called as a library is."""
    first, folder, _ = precompiled
    assert first.returncode == 0
    assert not (folder / "run").exists()
