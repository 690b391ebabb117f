"""Times are exact, and what is no time is said in one sentence."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from qc.delivery.timecode import read_time, to_seconds_float, write_time


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("0", "0"), ("62.5", "62.5"), (" 7 ", "7"), (62.5, "62.5"), (3, "3"), (0.1, "0.1"), ("0:02.0", "2"),
        ("4:31.480", "271.48"), ("4:31", "271"), ("65:02.5", "3902.5"), ("1:02:03.0", "3723"),
        ("1:02:03.25", "3723.25"), ("0:00.000000000000000001", "1e-18"), (Fraction(1, 75), "1/75"),
    ],
)  # fmt: skip
def test_a_time_is_read_exactly(written: str | float | Fraction, seconds: str):
    assert read_time(written) == Fraction(seconds)


@pytest.mark.parametrize(
    ("written", "part"),
    [
        ("-1", "cannot be negative"), ("-0:02.0", "cannot be negative"), (-1.5, "cannot be negative"),
        (Fraction(-1, 2), "cannot be negative"),
        ("1:02:03", "as in a CUE sheet"), ("74:59:74", "as in a CUE sheet"),
        ("4:60", "below 60"), ("4:5", "two digits"), ("4:5.0", "two digits"), ("1:02:60.0", "below 60"),
        ("1:99.5", "below 60"), ("4:31,5", "with a point"), ("0,5", "with a point"),
        ("1:60:00.0", "is not a time"), ("1:2:03.0", "is not a time"), ("", "is not a time"),
        ("x", "is not a time"),
        ("1e3", "is not a time"), ("nan", "is not a time"), ("inf", "is not a time"),
        (float("inf"), "is not a time"),
        (True, "is not a time"), (".5", "is not a time"), ("5.", "is not a time"),
        ("1:2:3:4.0", "is not a time"),
        ("9" * 10, "is not a time"), ("٣", "is not a time"), ("3 s", "is not a time"),
    ],
)  # fmt: skip
def test_what_is_no_time_is_said(written: str | float | Fraction, part: str):
    with pytest.raises(ValueError, match=part) as caught:
        read_time(written)
    assert "\n" not in str(caught.value)


@given(st.integers(0, 10**11), st.integers(0, 18))
def test_what_is_written_reads_back_exactly(digits: int, places: int):
    seconds = Fraction(digits, 10**places)
    if seconds < 60 * 10**6:
        assert read_time(write_time(seconds)) == seconds


@given(st.decimals(0, 10**7, places=6))
def test_seconds_and_minutes_agree(seconds: Decimal):
    text = f"{seconds:f}"
    minutes, rest = divmod(Fraction(text), 60)
    assert read_time(text) == read_time(f"{minutes}:{int(rest):02d}.{text.partition('.')[2]}")


@given(st.floats(0, 10**6))
@example(0.0003605802339980609)
@example(1e-5)
def test_a_float_stands_for_its_shortest_decimal(seconds: float):
    assert read_time(seconds) == Fraction(Decimal(repr(seconds)))
    assert to_seconds_float(read_time(seconds)) == seconds


@pytest.mark.parametrize("seconds", [-0.5, 1e9, float("inf"), float("nan")])
def test_a_float_that_is_no_time_is_refused(seconds: float):
    with pytest.raises(ValueError, match=r"is not a time|before the beginning"):
        read_time(seconds)


@pytest.mark.parametrize(
    ("seconds", "written"),
    [("0", "0:00.000"), ("271.48", "4:31.480"), ("3723", "62:03.000"), ("1/3", "0:00.333333333333333333"),
     ("0.0005", "0:00.0005")],
)  # fmt: skip
def test_a_time_is_written_as_papers_have_it(seconds: str, written: str):
    assert write_time(Fraction(seconds)) == written


def test_rounding_carries_into_the_minute():
    assert write_time(60 - Fraction(1, 10**20)) == "1:00.000"
