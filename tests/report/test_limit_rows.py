"""The number beside a limit where a check compares a part of a measurement alone: the one that was judged."""

import numpy as np

from qc.model.report import Report
from qc.report.html.tables import limits
from qc.testing.deliveries import Sent

RATE, SECONDS = 48_000, 12.0
CHECK, MEASURE = "stereo.low-end-out-of-phase", "stereo.low_correlation"


def bass(middle, side):
    """12 s at 100 Hz of two peak values, both channels alike and opposed, a quarter turn apart; faded at both ends."""
    t = np.arange(round(SECONDS * RATE)) / RATE
    fade = np.clip(np.minimum(t, t[::-1]), 0.0, 1.0)
    alike, opposed = middle * np.sin(2.0 * np.pi * 100.0 * t), side * np.cos(2.0 * np.pi * 100.0 * t)
    return fade * np.vstack([alike + opposed, alike - opposed])


def judged_row(judged, *parts):
    report = judged({"A": Sent(np.concatenate(parts, axis=1), RATE, more={"cut_level": "0 dB"})})
    whole = Report.model_validate(report.report)
    (row,) = [row for row in limits(whole, whole.sides[0]) if row.name == f"{CHECK}/correlation_where_deep"]
    return report, row


def test_a_least_correlation_of_quiet_bass_does_not_count(judged):
    report, row = judged_row(judged, bass(0.2, 0.0), bass(0.0, 0.03))
    assert report.outcome(CHECK) == "pass"
    assert report.value(MEASURE) < -0.9
    assert row.word == ""
    assert row.value.endswith(", does not count")


def test_a_correlation_that_warns_is_shown_where_the_bass_moves_far(judged):
    """There S is a little more than M, which makes the correlation negative; the quiet bass before it has -1."""
    report, row = judged_row(judged, bass(0.0, 0.03), bass(0.24 * 10.0 ** (-0.42 / 20.0), 0.24))
    (found,) = [finding for finding in report.result(CHECK)["findings"] if finding["measure"] == MEASURE]
    assert report.value(MEASURE) < -0.9
    assert row.word == "warn"
    assert float(row.value) == round(found["measured"]["value"], 3)
    assert report.value(MEASURE) + 0.5 < float(row.value) < 0.0
