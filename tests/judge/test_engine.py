"""Judging one side: what becomes of a check, whatever it does, and what the whole comes to."""

from __future__ import annotations

import pytest

from qc.audio.received import AsReceived
from qc.judge.context import SideEvidence
from qc.judge.engine import MOST_FINDINGS, CheckRunner, exit_code, judge_side, verdict
from qc.model.cutting_chain import Chain
from qc.model.errors import NotApplicableError, NotMeasuredError
from qc.model.report import DeliveryFacts, Finding, PluginFailure, Report, RulesetFacts
from qc.plugin_api import At, Check, CheckResult, Limit, LimitCheck, Model, Quantity
from qc.plugin_api import Judged as Held
from support.plugins import PLACE, unplaced

MOST = Limit(warn=1.0, fail=2.0, unit="dB", source="S13; practice", origin="house.yaml:3")


class One(Model):
    most: Limit = MOST


class House(Check[One]):
    """A check that does what it is told."""

    id, title, why, how, remedy = "house.own", "t", "w", "h", "Turn it down."
    Limits = One

    def __init__(self, does, **changes):
        super().__init__(One())
        self.does = does
        self.__dict__.update(changes)

    def evaluate(self, ctx):
        return self.does(ctx)


def evidence(**known):
    quantities = {name: Quantity(value=value, unit="dB") for name, value in known.pop("values", {}).items()}
    return SideEvidence("A", Chain(), {"cut_level": -1.0}, quantities=quantities, **known)


def judged(check, known=None):
    results, failures = judge_side([check], known or evidence(), CheckRunner({check.id: "acme"}))
    (result,) = results
    return result, failures


def finds(*severities):
    return lambda ctx: [ctx.found(severity, f"no. {i}", measured="x") for i, severity in enumerate(severities)]


def raises(error, *before):
    def does(ctx):
        yield from finds(*before)(ctx)
        raise error

    return does


@pytest.mark.parametrize(
    ("severities", "outcome"),
    [((), "pass"), (("warn",), "warn"), (("fail",), "fail"), (("warn", "fail", "warn"), "fail")],
)
def test_the_gravest_finding_is_the_outcome(severities, outcome):
    result, failures = judged(House(finds(*severities)))
    assert (result.outcome, len(result.findings), result.reason, failures) == (outcome, len(severities), "", [])
    assert (result.check, result.side, result.scope) == ("house.own", "A", "side")
    graver = [f.severity for f in result.findings]
    assert graver == sorted(graver)  # "fail" comes first


@pytest.mark.parametrize(
    ("error", "outcome"),
    [(NotApplicableError("no level is asked for"), "not_applicable"), (NotMeasuredError("no bass"), "not_measured")],
)
def test_a_check_may_have_nothing_to_judge(error, outcome):
    result, failures = judged(House(raises(error)))
    assert (result.outcome, result.reason, result.findings, failures) == (outcome, str(error), (), [])


@pytest.mark.parametrize("error", [NotApplicableError("that is all"), NotMeasuredError("no bass")])
@pytest.mark.parametrize("severity", ["warn", "fail"])
def test_findings_before_a_missing_number_are_kept(error, severity):
    """One number fails, the next has no value here: the failure is not lost."""
    result, failures = judged(House(raises(error, severity)))
    assert (result.outcome, len(result.findings), result.reason, failures) == (severity, 1, str(error), [])


class Mute(Exception):  # noqa: N818
    def __str__(self):
        raise ValueError("no text")


@pytest.mark.parametrize(
    ("does", "says"),
    [
        (raises(KeyError("no such\ntable")), "KeyError: 'no such\\ntable'"),
        (raises(ValueError("two\nlines"), "fail"), "ValueError: two lines"),
        (raises(SystemExit(0)), "SystemExit: 0"),
        (raises(Mute()), "Mute"),
        (raises(RecursionError()), "RecursionError"),
        (lambda _ctx: None, "TypeError: 'NoneType' object is not iterable"),
        (lambda _ctx: ["too loud"], "TypeError: house.own gave a str, not a Finding"),
        (lambda _ctx: [{"severity": "fail"}], "TypeError: house.own gave a dict, not a Finding"),
        (lambda ctx: [*finds("fail")(ctx), None], "TypeError: house.own gave a NoneType, not a Finding"),
        (lambda ctx: [ctx.found("bad", "x", measured="x")], 'Finding: "severity" is "bad"; it must be warn or fail'),
    ],
)  # fmt: skip
def test_a_check_that_breaks_is_an_error_that_names_its_plugin(does, says):
    result, failures = judged(House(does))
    assert (result.outcome, result.findings) == ("error", ())
    assert result.reason.startswith(says)
    assert failures == [PluginFailure(plugin="acme", stage="house.own", message=result.reason, side="A")]
    assert "\n" not in result.reason


def test_an_interrupt_that_a_check_raises_itself_is_its_fault():
    result, failures = judged(House(raises(KeyboardInterrupt())))
    assert (result.outcome, unplaced(result.reason)) == ("error", "KeyboardInterrupt")
    assert len(failures) == 1


def test_a_check_of_an_unsupported_scope_is_an_error():
    result, failures = judged(House(finds(), scope="pressing"))
    assert (result.outcome, result.scope) == ("error", "pressing")
    says = 'ValueError: its scope is "pressing", and only sides and deliveries are judged'
    assert PLACE.sub("", result.reason) == says
    assert len(failures) == 1


def test_other_checks_run_after_one_that_breaks():
    checks = [House(raises(ValueError("x")), id="a.a"), House(finds("warn"), id="b.b"), House(finds(), id="c.c")]
    results, failures = judge_side(checks, evidence(), CheckRunner({"a.a": "acme"}))
    assert [r.outcome for r in results] == ["error", "warn", "pass"]
    assert [f.stage for f in failures] == ["a.a"]


def test_findings_beyond_the_hundredth_are_counted():
    result, _ = judged(House(finds(*["warn"] * MOST_FINDINGS, "fail", "fail", "fail")))
    assert (len(result.findings), result.findings_omitted) == (MOST_FINDINGS, 3)
    assert [f.severity for f in result.findings[:4]] == ["fail", "fail", "fail", "warn"]


# -- numbers ---------------------------------------------------------------------------------------------------


class Loud(LimitCheck[One]):
    id, title, why, how, remedy = "house.loud", "t", "w", "h", "Turn it down."
    Limits = One
    judges = {"most": Held("house.level", "<=", "the level"), "most.other": Held("house.other", "<=")}  # noqa: RUF012


def loud(known):
    return judged(Loud(One()), known)


@pytest.mark.parametrize(
    ("value", "outcome", "over", "says"),
    [
        (1.0, "pass", None, ""),
        (1.04, "warn", -0.04, "The level is 1.04 dB, above +1.0 dB"),
        (1.5, "warn", -0.5, "The level is +1.5 dB, above +1.0 dB"),
        (2.0, "warn", -1.0, "The level is +2.0 dB, above +1.0 dB"),
        (2.000001, "fail", -0.000001, "The level is 2.000001 dB, above +2.0 dB"),
        (5.0, "fail", -3.0, "The level is +5.0 dB, above +2.0 dB"),
    ],
)
def test_a_value_on_its_limit_keeps_to_it(value, outcome, over, says):
    result, _ = loud(evidence(values={"house.level": value, "house.other": 0.0}))
    assert result.outcome == outcome
    assert {name: q.value for name, q in result.measured.items()} == {"house.level": value, "house.other": 0.0}
    if outcome == "pass":
        assert result.findings == ()
        return
    (found,) = result.findings
    assert (found.severity, found.message, found.limit) == (outcome, says, MOST)
    assert found.margin == pytest.approx(over)
    assert (found.remedy, found.sources) == ("Turn it down.", ("S13", "practice"))
    assert found.location.side == "A"


def test_the_finding_lies_where_the_number_does():
    at = At(start_s=4.0, end_s=4.1, track=2, channel="left")
    known = SideEvidence(
        "A", Chain(), {}, quantities={n: Quantity(value=9.0, unit="dB", at=at) for n in ("house.level", "house.other")},
        windows={"house.other": At(start_s=1.0, end_s=11.0)},
        place=lambda at: at.model_copy(update={"radius_mm": 140.0}),
    )  # fmt: skip
    one, other = sorted(loud(known)[0].findings, key=lambda f: -f.location.start_s)
    assert one.location.model_dump(exclude_none=True) == {
        "side": "A", "track": 2, "channel": "left", "start_s": 4.0, "end_s": 4.1, "radius_mm": 140.0,
    }  # fmt: skip
    assert (other.location.start_s, other.location.end_s, other.location.radius_mm) == (1.0, 11.0, 140.0)
    assert one.fingerprint != other.fingerprint
    assert len({f.fingerprint for _ in range(2) for f in loud(known)[0].findings}) == 2


def test_a_number_that_the_side_does_not_have_is_not_measured():
    result, failures = loud(evidence(values={"house.level": 0.0}))
    assert (result.outcome, result.reason, failures) == ("not_measured", "house.other has no value on this side", [])
    result, _ = loud(evidence(values={"house.level": 9.0}))
    assert (result.outcome, result.reason) == ("fail", "house.other has no value on this side")
    result, _ = loud(evidence(missing="the audio is at fault: a.wav is cut off"))
    assert (result.outcome, result.reason) == ("not_measured", "the audio is at fault: a.wav is cut off")


class Need(AsReceived):
    id = "house.need"


def test_a_number_whose_plugin_broke_is_an_error_and_no_fault_of_the_check():
    known = evidence(broken={Need: "ValueError: x"}, publishers={"house.level": Need})
    result, failures = loud(known)
    assert (result.outcome, result.reason, failures) == ("error", "house.need: ValueError: x", [])
    result, failures = judged(House(lambda ctx: [ctx[Need]]), known)
    assert (result.outcome, result.reason, failures) == ("error", "house.need: ValueError: x", [])


def test_a_check_sees_its_side_and_the_chain():
    seen = []

    def looks(ctx):
        seen.append((ctx.side, ctx.chain, ctx.declared, ctx[Need], ctx.measured("house.level").value))
        return ()

    known = evidence(results={Need: 7}, values={"house.level": 3.0})
    result, _ = judged(House(looks), known)
    assert seen == [("A", Chain(), {"cut_level": -1.0}, 7, 3.0)]
    assert list(result.measured) == ["house.level"]
    assert judged(House(lambda ctx: [ctx[Need]]))[0].reason == "house.need was not measured"


# -- the whole -------------------------------------------------------------------------------------------------


def result(outcome):
    return CheckResult(check="a.a", scope="side", side="A", outcome=outcome)


BROKEN = PluginFailure(plugin="acme", stage="load", message="it broke")
TABLE = [
    ((), (), "pass", 0, 0),
    (("pass",), (), "pass", 0, 0),
    (("waived", "not_applicable", "not_measured"), (), "pass", 0, 0),
    (("pass", "warn"), (), "warn", 0, 1),
    (("fail", "warn", "pass"), (), "fail", 1, 1),
    (("fail", "error"), (), "error", 3, 3),
    (("pass",), (BROKEN,), "error", 3, 3),
    (("fail",), (BROKEN,), "error", 3, 3),
]


@pytest.mark.parametrize(("outcomes", "failures", "whole", "code", "strictly"), TABLE)
def test_the_verdict_decides_the_exit_code(outcomes, failures, whole, code, strictly):
    results = tuple(map(result, outcomes))
    assert verdict(results, failures) == whole
    report = Report(
        tool="t", plugins=(), ruleset=RulesetFacts(name="r", version="1", sha256=""),
        delivery=DeliveryFacts(file="d", sha256="", title="t"), sides=(), results=results,
        plugin_failures=failures, verdict=whole,
    )  # fmt: skip
    assert exit_code(report) == code
    assert exit_code(report, strict=True) == strictly


def test_a_finding_is_a_finding_of_the_report():
    assert isinstance(judged(House(finds("fail")))[0].findings[0], Finding)
