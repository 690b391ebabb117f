"""The page of units has what limits and measurements may be given in, and what it says of them holds."""

from __future__ import annotations

import re

import pytest

from qc.model.quantity import convert, dimensions, is_unit, margin, meets, parse, show
from qc.rulebook.project.units import NAMES, units_page

ROWS = {
    match[1]: [cell.strip() for cell in match[2].split("|")]
    for match in re.finditer(r"^\| `(\S+)` +\|(.*)\|$", units_page(), flags=re.MULTILINE)
}
"""unit -> what it is, its dimension, what it is the same as, 2 of it in a report"""
METRES = {"in": 0.0254, "cm": 0.01, "mm": 1e-3, "um": 1e-6}
"""The SI Brochure, 9th edition, table 7; the inch is 25.4 mm by the agreement of 1959 (NIST SP 811, appendix B.6)."""


def test_every_unit_has_a_row_and_no_other():
    assert list(ROWS) == [unit for units in dimensions().values() for unit in units]
    assert list(ROWS) == list(NAMES)
    assert all(is_unit(unit) for unit in ROWS)


@pytest.mark.parametrize("unit", ROWS)
def test_a_row_says_what_converting_does(unit):
    _, _, same, shown = ROWS[unit]
    assert shown == show(2.0, unit)
    if same:
        value, other = parse(same)
        assert convert(1.0, unit, other) == pytest.approx(value, rel=1e-5)


def test_lengths_are_those_of_the_si():
    for unit, metres in METRES.items():
        assert convert(1.0, unit, "m") == pytest.approx(metres, rel=1e-12)


def test_units_of_different_rows_do_not_convert_where_their_dimensions_differ():
    for unit, row in ROWS.items():
        for other, another in ROWS.items():
            if row[1] == another[1]:
                convert(1.0, unit, other)
            else:
                with pytest.raises(ValueError, match=r"is needed"):
                    convert(1.0, unit, other)


def test_what_the_page_says_of_tolerances_the_micro_sign_and_plurals_holds():
    page = " ".join(units_page().split())
    assert "up to 0.01 mm or 0.01 um beyond it" in page
    assert meets(14.0099, 14.0, "<=", "um")
    assert not meets(14.0101, 14.0, "<=", "um")
    assert margin(14.0099, 14.0, "<=") < 0.0
    assert not meets(14.0001, 14.0, "<=", "s")
    assert parse("14 µm") == (14.0, "um")
    assert not is_unit("µm")
    assert parse("3 turns") == (3.0, "turn")
    assert not is_unit("turns")
    assert (show(3.0, "turn"), show(-0.84, "turn"), show(1.0, "bit")) == ("3 turns", "-0.84 turns", "1 bit")
