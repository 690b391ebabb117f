"""A bench to run the command at, and its kernels compiled before the first timed run."""

from __future__ import annotations

import subprocess
from importlib.resources import files

import pytest

from support.command import COMMAND, Bench


@pytest.fixture(scope="session")
def warm(tmp_path_factory):
    """Run one tiny check first, so that the kernels are compiled and a run's time is its own."""
    bench = Bench(tmp_path_factory.mktemp("warm"))
    bench.deliver()
    words = ["check", str(bench.folder), "--out", f"json={bench.report}"]
    done = subprocess.run([*COMMAND, *words], check=False, capture_output=True, timeout=600)
    assert done.returncode == 0, done.stderr.decode()


@pytest.fixture
def bench(warm, tmp_path):
    return Bench(tmp_path)


@pytest.fixture(scope="session")
def shipped():
    return (files("qc_rulesets") / "disc-12in-33" / "1.0.0.yaml").read_bytes()
