"""A short delivery, and runs of the command on it."""

from __future__ import annotations

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver
from support.plugin_runs import ran
from support.plugins import hosted


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    t = np.arange(14_400) / 48_000.0
    x = 0.1 * np.vstack([np.sin(2 * np.pi * 440.0 * t), np.sin(2 * np.pi * 550.0 * t)])
    return deliver(tmp_path_factory.mktemp("d") / "delivery", {"A": Sent(x)})


@pytest.fixture
def run(delivery, tmp_path, capsysbinary):
    return lambda host, lines, *words: ran(host, delivery, tmp_path, lines, capsysbinary, *words)


@pytest.fixture
def alone(run):
    """What is judged without any plugin of a house."""
    return run(hosted({}), "").numbers(())
