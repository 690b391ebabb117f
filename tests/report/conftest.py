"""One small invented report for every format to be written from, and a side that is judged and drawn.

The side is half a minute with a groove that is too narrow, too deep and too bright in places.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from qc import api
from qc.model.report import Report
from qc.plugin_api import Evidence
from qc.testing.deliveries import Sent, deliver

REPORT = Path(__file__).with_name("report.json")
RATE = 48_000
SECONDS = 30


@pytest.fixture(scope="session")
def report():
    return Report.model_validate_json(REPORT.read_bytes())


@pytest.fixture(scope="session")
def written():
    """Write a report: written(renderer, report) gives the text."""

    def write(renderer, report):
        out = io.BytesIO()
        renderer.render(report, Evidence(), out)
        return out.getvalue().decode("utf-8")

    return write


def burst(hz, peak, start, end):
    """A tone between two seconds with ends of 0.1 s."""
    t = np.arange(SECONDS * RATE) / RATE
    ends = np.clip(np.minimum(t - start, end - t) / 0.1, 0.0, 1.0)
    return peak * ends * np.sin(2.0 * np.pi * hz * t)


def programme():
    both = burst(330.0, 0.1, 0.5, 14.0) + burst(440.0, 0.12, 15.0, 29.5)
    apart = burst(90.0, 0.46, 4.0, 6.0) + burst(60.0, 0.1, 20.0, 22.0)
    left, right = both + apart, both - apart
    return np.vstack([left + burst(12_000.0, 0.6, 10.0, 10.6), right]) + burst(50.0, 0.001, 0.0, SECONDS)


@pytest.fixture(scope="session")
def checked(tmp_path_factory):
    """The report and the evidence, as the command hands them to a format that draws."""
    tracks = [(0.5, 14.0), (15.0, 29.5)]
    side = Sent(programme(), RATE, tracks=tracks, more={"cut_level": "0 dB"})
    return api.checked(deliver(tmp_path_factory.mktemp("drawn"), {"A": side, "B": side}), draws=True)
