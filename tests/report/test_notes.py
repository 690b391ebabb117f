"""What a check notes is in every report, whatever the outcome, and the text stays short."""

import types

import pytest

from qc import Check, Model, hookimpl
from qc.model.errors import NotApplicableError
from qc.plugin_host.host import Host
from qc.report.html.renderer import Html
from qc.report.junit import JUnit
from qc.report.text.report import SCREEN, Text
from qc.report.views.glance import FEW_NOTES
from qc.testing.cases import load, run

CASE = """\
why: A tone.
sides:
  - audio: [sine: {frequency: 1 kHz, level: -18 dBFS, lasts: 1 s}]
"""


class NotingLimits(Model):
    pass


class Noting(Check[NotingLimits]):
    """Notes two things, whatever it finds."""

    id, title, why, how, remedy = "house.notes", "It notes", "To be read.", "It writes.", "None."
    Limits = NotingLimits
    outcome = "pass"

    def evaluate(self, ctx):
        ctx.note("track 3 is the loudest")
        ctx.note("It is the innermost.")
        if self.outcome == "not_applicable":
            raise NotApplicableError("there is nothing to judge")
        if self.outcome != "pass":
            yield ctx.found(self.outcome, "it is so", measured="so")


@pytest.mark.parametrize(
    ("outcome", "reason"),
    [
        ("pass", "track 3 is the loudest; It is the innermost."),
        ("warn", "track 3 is the loudest; It is the innermost."),
        ("fail", "track 3 is the loudest; It is the innermost."),
        ("not_applicable", "there is nothing to judge; track 3 is the loudest; It is the innermost."),
    ],
)
def test_notes_are_the_reason_of_any_outcome(tmp_path, monkeypatch, outcome, reason):
    monkeypatch.setattr(Noting, "outcome", outcome)
    plugin = types.ModuleType("noting")
    plugin.qc_checks = hookimpl(lambda: [Noting], specname="qc_checks")
    path = tmp_path / "house.notes" / "pass-anything.yaml"
    path.parent.mkdir()
    path.write_text(CASE, encoding="utf-8")
    case = load(path).with_limits({"house.notes": {}})
    result = run(case, tmp_path / "run", Host.build(extra=[("noting", plugin)])).result("house.notes")
    assert (result["outcome"], result["reason"]) == (outcome, reason)


def noted(report, reasons, outcomes=("pass", "warn", "fail")):
    """The report with a reason for the first results of some outcomes."""
    left = list(reasons)
    results = tuple(
        result.model_copy(update={"reason": left.pop(0)}) if left and result.outcome in outcomes else result
        for result in report.results
    )
    assert not left
    return report.model_copy(update={"results": results})


@pytest.mark.parametrize("outcome", ["pass", "warn", "fail"])
def test_a_note_is_read_in_text_and_html(report, written, outcome):
    remark = "loudest track 3, innermost <b>"
    result = next(result for result in report.results if result.outcome == outcome)
    noticed = noted(report, [remark], (outcome,))
    for detail, named in (("usual", f"{result.side}:"), ("verbose", f"{result.check} ({result.side}):")):
        text = " ".join(written(Text(width=80, detail=detail), noticed).split())
        assert f"Noted {named} {remark}" in text
        assert text.count(remark) == 1
    assert remark not in written(Text(width=80, detail="quiet"), noticed)
    page = written(Html(), noticed)
    assert "<h3>Noted</h3>" in page
    assert (
        f"<li><b>{result.check}</b> (<bdi>{result.side}</bdi>): <bdi>loudest track 3, innermost &lt;b&gt;</bdi></li>"
        in page
    )
    assert "<h3>Noted</h3>" not in written(Html(), report)
    if outcome != "fail":
        assert remark.replace("<b>", "&lt;b&gt;") in written(JUnit(), noticed)


def test_many_long_notes_make_no_wall(report, written):
    reasons = [f"{number}: {'long ' * 200}" for number in range(8)]
    text = written(Text(width=80), noted(report, reasons))
    assert text.count("\n") <= SCREEN + 2 * FEW_NOTES
    assert text.count("Noted ") == FEW_NOTES
    assert f"Noted {8 - FEW_NOTES + 1} more; --verbose has them" in text
    assert "long " * 200 in " ".join(written(Text(width=80, detail="verbose"), noted(report, reasons)).split()) + " "


def test_a_note_that_sides_share_is_written_once(report, written):
    many = noted(report, ["no MD5"] * len(report.results), {result.outcome for result in report.results})
    check = next(
        check
        for check in {r.check for r in report.results}
        if sum(r.check == check for r in report.results) == len(report.sides) > 1
    )
    text = " ".join(written(Text(width=200, detail="verbose"), many).split())
    assert text.count(f"Noted {check} (") == 1
