"""A redelivery with waivers, as it is told: golden pages, and what no width or detail leaves out.

`SIDEGATE_GOLDEN=renew` writes the golden pages anew; look at the difference before it goes with a change.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from rich.cells import cell_len

from qc.judge.baseline.compare import Earlier, compared
from qc.model.report import Run, Stretch, WaiverFacts
from qc.report.sheet.renderer import Sheet
from qc.report.text.report import Text

GOLDEN = Path(__file__).with_name("golden")
PAGES = [(60, "usual"), (80, "usual"), (120, "usual"), (80, "quiet"), (80, "verbose")]
DETAILS = ("quiet", "usual", "verbose")
USED = WaiverFacts(
    key="waivers.yaml:3", check="groove.top-width-too-narrow", side="B", tracks=(1,), from_s=4.0, to_s=8.0, findings=1,
    reason="the tape stop is the song", owner="the mastering house", expires="2026-12-31", state="used",
)  # fmt: skip
WHOLE = USED.model_copy(update={"tracks": (), "from_s": None, "to_s": None})
EXPIRED = WaiverFacts(
    key="delivery.yaml:31", check="stereo.low-end-out-of-phase", side="B", reason="listened to, it tracks",
    owner="the producer", expires="2026-02-28", state="expired", findings=1,
)  # fmt: skip
UNUSED = WaiverFacts(
    key="waivers.yaml:9", check="level.clipped", reason="the fuzz", owner="the producer", state="unused",
)  # fmt: skip


def changed(report, change):
    """A report with each result's findings replaced by those that `change` gives."""
    results = []
    for result in report.results:
        findings = tuple(new for one in result.findings for new in change(one))
        waived = sum(one.waived_by is not None for one in findings)
        outcome = "waived" if findings and waived == len(findings) else result.outcome if findings else "pass"
        update = {"findings": findings, "findings_waived": waived, "outcome": outcome}
        results.append(result if findings == result.findings else result.model_copy(update=update))
    return report.model_copy(update={"results": tuple(results)})


def moved(finding, by):
    at = finding.location
    place = at.model_copy(update={"start_s": at.start_s + by, "end_s": at.end_s + by})
    measured = finding.measured.model_copy(update={"at": None})
    return finding.model_copy(update={"location": place, "measured": measured})


@pytest.fixture(scope="session")
def redelivered(report):
    """What was too narrow is waived; the drive of the earlier delivery lay elsewhere; a check is off now."""

    def waive(one):
        return [one.model_copy(update={"waived_by": USED.key}) if one.check == USED.check else one]

    def earlier(one):
        if one.check == "groove.drive-too-high" and one.severity == "fail":
            return [moved(one, -30.0)]
        return [one]

    now = changed(report, waive).model_copy(update={"waivers": (EXPIRED, USED, UNUSED)})
    run = Run(started="2026-03-02T09:30:00+00:00", seconds=1.0, workers=1)
    deep = next(one for one in report.results if one.check == "groove.cut-too-deep" and one.findings)
    off = deep.model_copy(update={"check": "house.depth"})
    then = changed(report, earlier)
    then = then.model_copy(update={"run": run, "results": (*then.results, off)})
    return compared(now, Earlier(then, "first.json"))


@pytest.mark.parametrize(("width", "detail"), PAGES)
def test_golden(redelivered, written, width, detail):
    text = written(Text(width=width, detail=detail, only_new="fail"), redelivered)
    path = GOLDEN / f"redelivered-{detail}-{width}.txt"
    if os.environ.get("SIDEGATE_GOLDEN") == "renew":
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8"), f"see {path.name}; SIDEGATE_GOLDEN=renew writes it anew"


def words(text):
    return " ".join(text.split())


@pytest.mark.parametrize("detail", DETAILS)
def test_who_answers_why_and_until_when_is_in_every_detail(redelivered, written, detail):
    text = words(written(Text(width=120, detail=detail), redelivered))
    for part in ("1 finding waived, 1 waiver expired, 1 waiver covers nothing", USED.owner, USED.reason, USED.expires):
        assert part in text
    for part in (EXPIRED.key, "expired after 2026-02-28, so 1 finding remains", UNUSED.key, "covers nothing"):
        assert part in text
    mended, new = len(redelivered.baseline.gone), redelivered.baseline.new
    assert f"Since the report of 2026-03-02 (first.json): {mended} fixed, {new} new" in text


def test_nothing_waived_is_to_be_mended(redelivered, written):
    for detail in DETAILS:
        lines = written(Text(width=120, detail=detail), redelivered).splitlines()
        mend = [line for line in lines if line.startswith(("FAIL  ", "WARN  "))]
        assert not any(USED.check in line for line in mend)
    quiet = written(Text(width=120, detail="quiet"), redelivered).splitlines()
    assert not any(USED.check in line and "waived" not in line for line in quiet)


def test_a_limit_that_only_waived_findings_break_is_not_to_be_mended(redelivered, report, written):
    def row(one):
        text = written(Text(width=120, detail="verbose"), one)
        block = text[text.index("LIMITS OF B") :]
        lines = block[block.index("groove.top-width-too-narrow") :].splitlines()
        return lines[1]

    assert " FAIL " in row(report)
    assert " waived " in row(redelivered)


def test_every_change_has_its_second(redelivered, written):
    text = words(written(Text(width=120, detail="verbose"), redelivered))
    facts = redelivered.baseline
    now = [one for result in redelivered.results for one in result.findings]
    assert facts.new == sum(one.baseline == "new" for one in now)
    since = text[text.index("Since the report") : text.index(" FAIL ")]
    for word, count in (("fixed", len(facts.gone)), ("new", facts.new), ("not judged", len(facts.not_judged))):
        assert count > 0
        assert f"{word} B 0:" in since or f"{word} B 1:" in since
    for one in facts.gone:
        assert one.check in since


def test_what_is_new_says_so_where_it_stands(redelivered, written):
    lines = written(Text(width=120), redelivered).splitlines()
    (drive,) = [line for line in lines if line.startswith("FAIL  ") and "drive-too-high" in line]
    assert drive.endswith(", new")
    assert sum(line.startswith("FAIL  ") and line.endswith(", new") for line in lines) == 1


def test_what_counted_is_said_below_the_verdict(redelivered, report, written):
    text = written(Text(only_new="fail"), redelivered).splitlines()
    assert text[0].startswith("FAIL: ")
    assert text[1] == "only what is new counts: 2 new findings fail"
    quiet = compared(report, Earlier(report, "first.json"))
    assert written(Text(only_new="fail or warn"), quiet).splitlines()[1] == (
        "only what is new counts: nothing new fails or warns"
    )


def test_findings_that_were_left_out_are_said_to_be_uncompared(report, written):
    first = next(result for result in report.results if len(result.findings) > 1)
    short = first.model_copy(update={"findings": first.findings[:1], "findings_omitted": 60})
    now = report.model_copy(update={"results": tuple(short if one is first else one for one in report.results)})
    text = words(written(Text(width=120), compared(now, Earlier(report, "first.json"))))
    assert f"{first.check} on {first.side}: the less serious findings were left out, 0 then and 60 now" in text
    assert "cannot be decided" in text


def test_who_waives_a_place_of_a_number_of_all_the_side_is_told_why_it_stands(redelivered, written):
    """A true peak may be as high elsewhere: its place is only where it is highest."""
    note = "covers nothing: this is one number of the whole side"
    unused = USED.model_copy(update={"state": "unused", "findings": 0})
    bare = changed(redelivered, lambda one: [one.model_copy(update={"waived_by": None})])
    numbers = changed(bare, lambda one: [one.model_copy(update={"measure": "level.x", "stretch": None})])
    event = changed(numbers, lambda one: [one.model_copy(update={"stretch": Stretch(start_s=6.0, end_s=7.0)})])
    whole = unused.model_copy(update={"tracks": (), "from_s": None, "to_s": None})
    for waiver, one, said in ((unused, numbers, True), (unused, event, False), (whole, numbers, False)):
        text = words(written(Text(width=120), one.model_copy(update={"waivers": (waiver,)})))
        assert (note in text) == said


def test_who_waives_too_little_is_told_how_far_the_finding_reaches(redelivered, written):
    unused = USED.model_copy(update={"state": "unused", "findings": 0})
    bare = changed(redelivered, lambda one: [one.model_copy(update={"waived_by": None, "measure": "level.x"})])
    event = changed(bare, lambda one: [one.model_copy(update={"stretch": Stretch(start_s=129.506, end_s=133.428)})])
    text = words(written(Text(width=120), event.model_copy(update={"waivers": (unused,)})))
    assert "no finding lies wholly inside it; the most serious one reaches from 2:09.506 to 2:13.428" in text


def test_many_findings_of_one_waiver_are_a_few_lines(redelivered, written):
    def many(one):
        return [one] * (40 if one.waived_by else 1)

    waivers = (USED.model_copy(update={"findings": 250}),)
    one = changed(redelivered, many).model_copy(update={"waivers": waivers})
    assert "and 247 more" in written(Text(width=120), one)
    assert "and 210 more" in written(Text(width=120, detail="verbose"), one)
    assert "250 of groove.top-width-too-narrow" in written(Text(width=120, detail="quiet"), one)


HOSTILE = ("\u6c34\u306e\u4e0a\u306e\u5149 " * 40, "[bold red]x[/] \x1b[31mred\r\nmore\ttabs", "W" * 900)


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("detail", DETAILS)
def test_no_word_of_others_breaks_the_page(redelivered, written, width, detail):
    for said in HOSTILE:
        more = {"owner": said, "reason": said, "key": said}
        waivers = tuple(one.model_copy(update=more) for one in redelivered.waivers)
        facts = redelivered.baseline.model_copy(update={"file": said, "started": said, "ruleset": said})
        one = redelivered.model_copy(update={"waivers": waivers, "baseline": facts})
        for ascii_only in (False, True):
            text = written(Text(width=width, detail=detail, ascii_only=ascii_only), one)
            assert all(cell_len(line) <= width and line.isprintable() for line in text.split("\n"))
            assert text.isascii() or not ascii_only
        for html in (False, True):
            text = written(Sheet(html=html), one)
            assert "\x1b" not in text
            assert "\r" not in text


@pytest.mark.parametrize("html", [False, True])
def test_the_sheet_says_who_answers_and_what_changed(redelivered, written, html):
    text = words(written(Sheet(html=html), redelivered))
    assert "0:06.133, by the mastering house until 2026-12-31: the tape stop is the song" in text
    assert "not any more: expired after 2026-02-28" in text
    assert "first.json of 2026-03-02: 2 new (1:16.067), 2 fixed (0:46.040, 0:40.440), 1 not judged (0:06.133)" in text


def test_the_stylus_still_meets_what_is_waived(redelivered, written):
    rows = [line for line in written(Sheet(), redelivered).splitlines() if line.startswith("| 0:06.133")]
    assert any("least top width" in row for row in rows)
