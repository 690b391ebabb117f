"""One small invented report, made from the demo delivery, for every format to be written from."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from qc.contract import Evidence
from qc.report.model import Report

REPORT = Path(__file__).with_name("report.json")


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
