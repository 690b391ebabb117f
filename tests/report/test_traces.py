"""Traces as tables: every number comes back to the last bit, with the units of the header, nothing where nothing is."""

from __future__ import annotations

import builtins
import csv
import io
import math

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.groove.figures.curves import COLUMNS
from qc.groove.geometry.cut import MEASURES
from qc.model.errors import UsageError
from qc.plugin_api import Evidence
from qc.report.traces.csv_file import digits
from qc.report.traces.renderer import Traces
from support.reports import report, side, traced, written

ONE = report([side(), side("B")], [])
EVIDENCE = traced(ONE)
LONG = 99_000


@pytest.fixture(scope="module")
def rows():
    text = written(Traces(), ONE, EVIDENCE).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_every_number_comes_back_to_the_last_bit(rows):
    for name, side_rows in (("A", rows[:300]), ("B", rows[300:])):
        assert {row["side"] for row in side_rows} == {name}
        for header, trace in COLUMNS.items():
            read = np.array([float(row[header] or "nan") for row in side_rows])
            np.testing.assert_array_equal(read, EVIDENCE.traces[name][trace])


@given(st.lists(st.floats(allow_infinity=False), min_size=1) | st.lists(st.floats(1e-4, 1e308), min_size=1))
def test_digits_are_those_that_python_writes(values):
    assert digits(np.array(values)) == ["" if math.isnan(value) else repr(value) for value in values]


def test_seconds_are_those_of_the_file_and_tracks_change_where_they_begin(rows):
    start = ONE.sides[0].geometry.span_start_s
    assert float(rows[0]["file second [s]"]) == start
    assert float(rows[75]["file second [s]"]) == pytest.approx(start + 1.0, abs=1e-12)
    later = report(
        [side().model_copy(update={"geometry": side().geometry.model_copy(update={"span_start_s": 91.0})})], []
    )
    found = list(csv.DictReader(io.StringIO(written(Traces(), later, traced(later)).decode(), newline="")))
    first = next(float(row["file second [s]"]) for row in found if row["track"] == "2")
    assert first <= 92.0 < first + 1 / 75 + 1e-9
    assert {row["track"] for row in found} == {"1", "2"}


def test_units_are_those_of_the_measurements():
    for header, name in COLUMNS.items():
        unit = header.partition("[")[2].rstrip("]")
        assert name not in MEASURES or MEASURES[name].unit == unit


def test_parquet_has_the_same_values_and_the_units():
    table = pq.read_table(io.BytesIO(written(Traces(parquet=True), ONE, EVIDENCE)))
    text = written(Traces(), ONE, EVIDENCE).decode()
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert table.column_names == read[0]
    columns = [column.to_pylist() for column in table.columns]
    again = [["" if cell is None else str(cell) for cell in row] for row in zip(*columns, strict=True)]
    assert again == read[1:]
    assert table.schema.field("land [um]").metadata == {b"unit": b"um"}


def test_a_side_that_was_not_worked_out_has_no_rows():
    one = report([side(measured=False)], [])
    for parquet in (False, True):
        text = written(Traces(parquet=parquet), one, Evidence())
        assert parquet or text.decode().count("\r\n") == 1


def test_it_is_the_same_each_time_and_comes_in_parts():
    class Parts(io.BytesIO):
        most = 0

        def writelines(self, lines):
            for line in lines:
                self.write(line)

        def write(self, data):
            self.most = max(self.most, len(data))
            return super().write(data)

    evidence = traced(report([side()], []), LONG)
    outs = []
    for _ in range(2):
        outs.append(Parts())
        Traces().render(report([side()], []), evidence, outs[-1])
    assert outs[0].getvalue() == outs[1].getvalue()
    assert outs[0].most < len(outs[0].getvalue()) / 10


def test_names_that_are_out_for_something_stay_in_their_cell():
    for name in ("=1+1", 'a,"b"', "x\ny", "+A"):
        one = report([side(name)], [])
        read = list(csv.reader(io.StringIO(written(Traces(), one, traced(one, 3)).decode(), newline="")))
        assert {len(row) for row in read} == {len(COLUMNS) + 3}
        assert not read[1][0].startswith(("=", "+"))


def test_the_suffix_says_which(tmp_path):
    assert not Traces.for_path(None).parquet
    assert not Traces.for_path(tmp_path / "t.CSV").parquet
    assert Traces.for_path(tmp_path / "t.parquet").parquet
    with pytest.raises(UsageError, match=r"t\.xlsx is neither \.csv nor \.parquet"):
        Traces.for_path(tmp_path / "t.xlsx")


def test_without_pyarrow_it_says_how_to_install_it(tmp_path, monkeypatch):
    monkeypatch.setattr("qc.report.traces.renderer.find_spec", lambda _: None)
    with pytest.raises(UsageError, match=r"pip install 'sidegate\[parquet\]'"):
        Traces.for_path(tmp_path / "t.parquet")
    assert not Traces.for_path(tmp_path / "t.csv").parquet


def test_csv_does_without_pyarrow(monkeypatch):
    real = builtins.__import__

    def no_pyarrow(name, *args, **more):
        assert not name.startswith("pyarrow")
        return real(name, *args, **more)

    monkeypatch.setattr(builtins, "__import__", no_pyarrow)
    assert written(Traces(), ONE, EVIDENCE).startswith(b"side,")
