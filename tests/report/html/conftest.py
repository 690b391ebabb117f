"""The page of the side that is judged and drawn for these tests."""

import io

import pytest

from qc.plugin_api import Evidence
from qc.report.html.renderer import Html


@pytest.fixture(scope="session")
def page():
    """Write the page: page(report, evidence)."""

    def write(report, evidence=None):
        out = io.BytesIO()
        Html().render(report, evidence or Evidence(), out)
        return out.getvalue().decode("utf-8")

    return write


@pytest.fixture(scope="session")
def drawn_page(checked, page):
    return page(checked.report, checked.evidence)
