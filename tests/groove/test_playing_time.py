"""The studio's chart of minutes a side (5a, S13): its rows, straight lines between them, the ends held."""

import pytest

from qc.groove.geometry.playing_time import minutes_for

CHART = [  # r/min, dB, minutes for 7, 10 and 12 inch, as printed
    ("33", 0.0, (6.5, 13.0, 20.0)),
    ("33", -3.0, (7.5, 17.0, 24.0)),
    ("33", -6.0, (9.5, 19.0, 28.0)),
    ("45", 3.0, (4.0, 8.0, 10.5)),
    ("45", 0.0, (5.0, 10.0, 13.5)),
    ("45", -3.0, (6.0, 12.0, 16.0)),
]


@pytest.mark.parametrize(("speed", "level", "minutes"), CHART)
def test_every_row_of_the_chart(speed, level, minutes):
    assert tuple(minutes_for(size, speed, level) for size in ("7in", "10in", "12in")) == minutes


def test_between_and_beyond_the_rows():
    assert minutes_for("12in", "33", -1.0) == pytest.approx(20.0 + 4.0 / 3.0)
    assert minutes_for("12in", "33", 9.0) == 20.0
    assert minutes_for("12in", "33", -30.0) == 28.0
    assert minutes_for("7in", "45", 1.5) == pytest.approx(4.5)


def test_a_disc_that_the_chart_does_not_know():
    assert minutes_for("16in", "33", 0.0) is None
