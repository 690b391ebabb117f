"""A bench to run the command at."""

from __future__ import annotations

from importlib.resources import files

import pytest

from support.command import Bench, called


@pytest.fixture(scope="session")
def warm(tmp_path_factory):
    """Run one tiny check first, so that the kernels are compiled and a run's time is its own."""
    bench = Bench(tmp_path_factory.mktemp("warm"))
    bench.deliver()
    code, _, err = called(["check", str(bench.folder), "--out", f"json={bench.report}"], at_most=600.0)
    assert code == 0, err


@pytest.fixture
def bench(warm, tmp_path):
    return Bench(tmp_path)


@pytest.fixture(scope="session")
def shared_store(tmp_path_factory):
    """A store for tests that may meet a side measured before: whatever several of them deliver is measured once."""
    return str(tmp_path_factory.mktemp("shared") / "store")


@pytest.fixture(scope="session")
def shipped():
    return (files("qc_rulesets") / "disc-12in-33" / "1.0.0.yaml").read_bytes()
