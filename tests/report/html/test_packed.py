"""Arrays on their way into the page: the worst value survives to the last digit, the others within their 16 bits."""

import base64

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from qc.report.html.packed import NOTHING, packed, thinned
from qc.report.html.svg import path

VALUES = arrays(np.float64, st.integers(1, 200), elements=st.floats(-1e4, 1e4) | st.just(np.nan))


def unpacked(data):
    steps = np.frombuffer(base64.b64decode(data["values"]), "<u2").astype(float)
    values = data["low"] + (data["high"] - data["low"]) * steps / (NOTHING - 1)
    return np.where(steps == NOTHING, np.nan, values)


@given(VALUES, st.integers(1, 250), st.booleans())
def test_thinning_keeps_the_worst(values, most, least):
    kept, each = thinned(values, most, least=least)
    assert len(kept) == -(-len(values) // each) <= most
    if np.isnan(values).all():
        assert np.isnan(kept).all()
    else:
        worst = np.nanmin if least else np.nanmax
        assert worst(kept) == worst(values)


@given(VALUES)
def test_packing_keeps_the_extremes_and_where_there_is_nothing(values):
    data = packed(values, 3.0, 0.5, least=False)
    found = unpacked(data)
    assert (np.isnan(found) == np.isnan(values)).all()
    assert (data["start"], data["step"]) == (3.0, 0.5)
    if not np.isnan(values).all():
        assert (data["low"], data["high"]) == (np.nanmin(values), np.nanmax(values))
        assert np.nanmax(np.abs(found - values)) <= (data["high"] - data["low"]) / NOTHING + 1e-9


@given(st.lists(st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)), min_size=1, max_size=50))
def test_path_data_leads_through_the_points(points):
    """Steps are rounded, and their errors do not add up."""
    steps = path(points).replace("-", " -").replace("m", "").split("l")
    at = np.cumsum([[float(number) for number in step.split()] for step in steps], axis=0)
    assert at == pytest.approx(np.array(points), abs=0.05 + 1e-6)
