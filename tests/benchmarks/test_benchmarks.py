"""The benchmark's own parts: what it watches is still there, and a command is timed as an install runs it."""

import sys
from pathlib import Path

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver
from support.signals import tone

sys.path.insert(0, str(Path(__file__).parent))
import costs
import stages


def test_every_stage_is_found_in_a_check(tmp_path):
    side = Sent(0.2 * np.vstack([tone(400.0, 4.0, 96_000)] * 2), 96_000)
    told = stages.measured(deliver(tmp_path / "d", {"A": side}), 1)
    assert set(stages.NAMES) <= set(told)
    assert "process groove.band-parts, groove.sectors" in told  # they share a tap
    assert any("level.peaks" in stage for stage in told)  # with others, in one thread
    assert all(spent > 0.0 for spent in told.values()), told
    assert len(stages.table(told)) == len(told) + 1


@pytest.mark.parametrize("name", costs.UNUSUAL)
def test_a_start_does_not_compile_its_sources_again(monkeypatch, name):
    monkeypatch.setenv(name, "1")
    ask = [sys.executable, "-c", f"import os, sys; sys.exit({name!r} in os.environ)"]
    assert costs.counted(ask, codes=(0,)).wall > 0.0


def test_the_ratio_is_the_middle_of_the_pairs():
    one, other = iter([9.0, 1.0, 2.0, 6.0]), iter([9.0, 1.0, 4.0, 2.0])  # the first runs count for nothing
    found = costs.paired(
        3, lambda: costs.Cost(next(one), 1.0, 1.0), lambda: costs.Cost(next(other), 2.0, 1.0)
    )  # fmt: skip
    assert found.ratio == costs.Cost(1.0, 0.5, 1.0)
    assert (found.one.wall, found.other.wall) == (2.0, 2.0)
