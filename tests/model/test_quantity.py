"""Measured values with their units."""

import math

from qc.model.quantity import Quantity


def test_a_value_of_nought_has_no_sign():
    """A report that says -0.0 makes its reader look for what is below nought."""
    assert math.copysign(1.0, Quantity(value=-0.0, unit="um").value) == 1.0
    assert Quantity(value=-0.1, unit="um").value == -0.1
