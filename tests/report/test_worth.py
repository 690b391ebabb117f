"""What rules the level and what a repair is worth, in words; and findings by the dozen that stay readable."""

import pytest

from qc.model.quantity import Quantity
from qc.model.report import Passage, Repair
from qc.report.text.report import Text
from qc.report.views.worth import limit_words, ruled


def db(value):
    return Quantity(value=value, unit="dB")


def repair(wins, *passages):
    told = tuple(Passage(start_s=start, end_s=end, track=1) for start, end in passages)
    return Repair(passages=told, recommended=db(-3.0 + wins), wins=db(wins), ruling="x/y")


def with_budget(report, **changes):
    side = report.sides[0]
    budget = side.levels.budget.model_copy(update=changes)
    side = side.model_copy(update={"levels": side.levels.model_copy(update={"budget": budget})})
    return report.model_copy(update={"sides": (side, *report.sides[1:])})


ONE, TWO = (843.2, 844.9), (12.0, 13.0)
DIAMETER = "groove.last-diameter-too-small/least"


@pytest.mark.parametrize(
    ("repairs", "words"),
    [
        ([repair(1.2, ONE)], "limited by the last diameter; reducing 14:03-14:05 gains 1.2 dB"),
        ([repair(1.2, ONE), repair(1.2, ONE, TWO)], "limited by the last diameter; reducing 14:03-14:05 gains 1.2 dB"),
        (
            [repair(1.2, ONE), repair(2.0, ONE, TWO)],
            "limited by the last diameter; reducing 14:03-14:05 gains 1.2 dB, 2 passages 2.0 dB",
        ),
        ([repair(0.0, ONE), repair(0.1, ONE, TWO)], "limited by the last diameter; reducing 2 passages gains 0.1 dB"),
        ([repair(0.0, ONE)], "limited by the last diameter; reducing its worst passages gains nothing"),
        (
            [repair(0.7, TWO)],
            "limited by the last diameter; reducing 0:12-0:13 gains 0.7 dB",
        ),  # whole seconds as they are
        ([], "limited by the last diameter"),
    ],
)
def test_a_repair_in_words(report, repairs, words):
    report = with_budget(report, ruling=DIAMETER, repairs=tuple(repairs))
    assert ruled(report, report.sides[0]) == words


@pytest.mark.parametrize(
    ("measure", "words"),
    [
        ("groove.lateral_speed_ratio_peak", "fastest swing to the side"),
        ("layout.minutes_over_chart", "minutes beyond the playing-time table"),
        ("groove.last_diameter", "last diameter"),
    ],
)
def test_a_limit_is_named_in_words_that_can_be_said(report, measure, words):
    assert limit_words(report, measure) == words


def test_nothing_is_said_where_nothing_rules(report):
    report = with_budget(report, ruling=None, repairs=())
    assert ruled(report, report.sides[0]) == ""


def test_the_usual_report_says_it_where_there_is_room(report, written):
    report = with_budget(report, ruling=DIAMETER, repairs=(repair(1.2, ONE),))
    passed = report.model_copy(update={"results": (), "verdict": "pass"})
    assert "limited by the last diameter; reducing 14:03-14:05 gains 1.2 dB" in written(Text(width=80), passed)


def grown(report, count):
    """The first failing check of a side with so many findings more, each a little less grave."""
    index, result = next(
        (i, one) for i, one in enumerate(report.results)
        if one.outcome == "fail" and len({found.measured.unit for found in one.findings}) == 1
        and len([found for found in one.findings if found.severity == "fail"]) == 2
    )  # fmt: skip
    first, second = (found.model_copy(update={"measure": name}) for found, name in zip(
        (found for found in result.findings if found.severity == "fail"), result.measured, strict=False
    ))  # fmt: skip
    more = tuple(
        first.model_copy(update={"margin": 0.9 * first.margin - 0.01 * n, "message": f"No. {n}"}) for n in range(count)
    )
    result = result.model_copy(update={"findings": (first, second, *more), "findings_omitted": 7})
    return report.model_copy(update={"results": (*report.results[:index], result, *report.results[index + 1 :])})


def test_of_many_findings_the_worst_of_each_limit_are_told_and_the_rest_counted(report, written):
    many = grown(report, 60)
    usual = written(Text(width=120), many)
    assert "And 66 more of this kind." in usual  # 69 in all, three of them told
    assert usual.count("\n") <= 50
    check = next(one for one in many.results if one.findings_omitted)
    assert check.findings[1].message in " ".join(usual.split())  # the only one of its limit
    assert usual.count(": No. ") <= 1
    quiet = written(Text(width=120, detail="quiet"), many)
    assert f"B {check.check}: and 66 more" in quiet
    assert quiet.count("\n") < 15
