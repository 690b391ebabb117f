"""A house's plugin in the same pass as everything else; whatever it gets wrong, it is named and the others go on."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import pytest

from qc import api
from qc.groove.signal.wall_motion import Motion
from qc.judge.engine import exit_code
from qc.model.errors import NotApplicableError
from qc.plugin_api import (
    Check,
    Derived,
    Evidence,
    Quantity,
    Remedy,
    Renderer,
    Tap,
)
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.spec import hookimpl
from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.music import Song, song
from support.house_plugin import Listening, Loudest, Most, TooLoud, built
from support.houses import SHIPPED_12IN_33
from support.plugins import Plain, plugin, unplaced

RATE = 48_000
LIMIT = '  house.too-loud: {most: {warn: 0.5, fail: 0.8, source: "house: what we like"}}\n'
AFTER = "  delivery.audio-disagrees: {}"


# -- what a house might write ----------------------------------------------------------------------------------


class Lines(Renderer):
    """A line a check."""

    name = "lines"

    def render(self, report, evidence, out):
        out.write("".join(f"{r.check}={r.outcome}\n" for r in report.results).encode())


# -- the run ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    x = 0.6 * song(Song(4.0, RATE, seed=2, cymbals=0.5))
    side = Sent(x, tracks=[(0.0, 2.0), (2.0, 4.0)], more={"cut_level": "-4 dB"})
    folder = deliver(tmp_path_factory.mktemp("house") / "delivery", {"A": side})
    paper = folder / "delivery.yaml"  # one version, so that the number of checks is known
    paper.write_text(paper.read_text().replace("disc:", "ruleset: disc-12in-33@1.0.0\ndisc:", 1))
    return folder


@pytest.fixture(scope="module")
def ruled(tmp_path_factory):
    """The shipped ruleset with the house's check."""
    text = SHIPPED_12IN_33.read_text(encoding="utf-8")
    assert text.count(AFTER) == 1
    path = tmp_path_factory.mktemp("rules") / "house.yaml"
    path.write_text(text.replace(AFTER, LIMIT + AFTER), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def alone(delivery):
    """The report without any plugin of a house."""
    return api.check(delivery, api.Options(), built())


@pytest.fixture
def command(delivery, tmp_path, monkeypatch):
    """Run the command with a host; gives the report read back with the exit code."""

    def run(host, *words):
        monkeypatch.setattr(api, "build_host", lambda *_: host)
        return judge(delivery, tmp_path / "report.json", *words)

    return run


def outcomes(report):
    return {result.check: result.outcome for result in report.results}


def numbers(report, without=()):
    (side,) = report.sides
    return {name: q for name, q in side.measurements.items() if name not in without}


# -- it works --------------------------------------------------------------------------------------------------


def test_an_analysis_a_check_and_a_format_in_the_same_pass(command, ruled, alone, delivery, tmp_path):
    done = []

    def filed(report):
        done.append(report)

    house = plugin(
        qc_measures=[Loudest],
        qc_checks=[TooLoud],
        qc_renderers=[Lines],
        qc_report_done=filed,
    )
    lines = tmp_path / "report.lines"
    run = command(built(("house", house)), "--ruleset", str(ruled), "--out", f"lines={lines}")
    assert run.code == 0
    assert run.report["plugin_failures"] == []
    assert run.side()["passes"] == 1
    assert run.report["verdict"] == "warn"
    x = 0.6 * song(Song(4.0, RATE, seed=2, cymbals=0.5)).astype(np.float32).astype(float)
    where = int(np.abs(x).max(axis=0).argmax())
    (finding,) = run.result("house.too-loud")["findings"]
    assert finding["measured"]["value"] == pytest.approx(np.abs(x).max(), rel=1e-6)
    assert finding["location"]["start_s"] == pytest.approx(where / RATE)
    assert finding["location"]["track"] == 1 + (where >= 2 * RATE)
    assert finding["location"]["radius_mm"] == pytest.approx(145.9, abs=0.5)
    assert (finding["limit"]["warn"], finding["limit"]["source"]) == (0.5, "house: what we like")
    assert finding["limit"]["origin"].startswith("house.yaml:")
    written = dict(line.split("=") for line in lines.read_text().splitlines())
    assert written == outcomes(alone) | {"house.too-loud": "warn"}
    assert [report.verdict for report in done] == ["warn"]


class Advising(TooLoud):
    """Looks at the loudest millisecond again, by itself and through the motion of the walls."""

    def advise(self, finding, look):
        at = finding.measured.at.start_s
        peak = float(np.abs(look(at, at + 0.001)).max())
        moved = look(at, at + 0.001, Motion(look.chain.signal))
        assert moved.shape == (4, round(0.001 * Motion(look.chain.signal).rate(look.stream)))
        level = Quantity(value=look[Loudest][0] - peak, unit="1")
        remedies = (Remedy(kind="house", numbers={"apart": level}),)
        return finding.model_copy(update={"remedy": f"{look.side}: {finding.remedy}", "remedies": remedies})


def test_its_advice_is_in_the_report(command, ruled):
    run = command(built(("house", plugin(qc_measures=[Loudest], qc_checks=[Advising]))), "--ruleset", str(ruled))
    (finding,) = run.result("house.too-loud")["findings"]
    assert finding["remedy"] == "A: Turn it down."
    (remedy,) = finding["remedies"]
    assert (remedy["kind"], remedy["numbers"]["apart"]["value"]) == ("house", 0.0)
    assert 0.2 < run.side()["second_look_s"] < 0.5
    assert run.side()["passes"] == 1


def test_advice_that_raises_ends_with_3_and_the_finding_stays(command, ruled):
    def advise(_self, _finding, _look):
        raise ZeroDivisionError("no advice")

    raising = type("Raising", (TooLoud,), {"advise": advise})
    run = command(built(("house", plugin(qc_measures=[Loudest], qc_checks=[raising]))), "--ruleset", str(ruled))
    assert run.code == 3
    (failure,) = run.report["plugin_failures"]
    assert (failure["plugin"], failure["stage"], failure["side"]) == ("house", "house.too-loud", "A")
    assert "no advice" in failure["message"]
    assert run.result("house.too-loud")["outcome"] == "warn"
    assert run.result("house.too-loud")["findings"][0]["remedy"] == "Turn it down."


def test_its_check_can_fail_and_its_warning_counts_when_strict(command, ruled):
    class Double(Loudest):
        def publish(self, result):
            return {"house.loudest": Quantity(value=2.0 * result[0], unit="1")}

    house = plugin(qc_measures=[Double], qc_checks=[TooLoud])
    assert command(built(("house", house)), "--ruleset", str(ruled)).code == 1
    house = plugin(qc_measures=[Loudest], qc_checks=[TooLoud])
    assert command(built(("house", house)), "--ruleset", str(ruled), "--strict").code == 1


def test_a_plugin_changes_no_other_number(delivery, ruled, alone):
    report = api.check(
        delivery, api.Options(str(ruled)), built(("house", plugin(qc_measures=[Loudest], qc_checks=[TooLoud])))
    )
    assert numbers(report, without=["house.loudest"]) == numbers(alone)
    assert outcomes(report) == outcomes(alone) | {"house.too-loud": "warn"}


def test_a_check_may_have_nothing_to_judge(delivery, ruled):
    class Never(TooLoud):
        def evaluate(self, ctx):
            raise NotApplicableError("no brass on this side")

    house = plugin(qc_measures=[Loudest], qc_checks=[Never])
    report = api.check(delivery, api.Options(str(ruled)), built(("house", house)))
    (result,) = [r for r in report.results if r.check == "house.too-loud"]
    assert (result.outcome, result.reason) == ("not_applicable", "no brass on this side")
    assert exit_code(report) == 0


def test_a_number_without_a_meaning_is_not_measured(delivery, ruled):
    class Silent(Loudest):
        def publish(self, result):
            return {}

    house = plugin(qc_measures=[Silent], qc_checks=[TooLoud])
    report = api.check(delivery, api.Options(str(ruled)), built(("house", house)))
    (result,) = [r for r in report.results if r.check == "house.too-loud"]
    assert (result.outcome, result.reason) == ("not_measured", "house.loudest has no value on this side")
    assert exit_code(report) == 0


# -- it breaks while it measures -------------------------------------------------------------------------------


def breaking(error, *steps):
    """Loudest that raises in a step."""

    def at(step):
        if step in steps:
            raise error

    class Running(Listening):
        def push(self, block):
            if block.start > RATE:
                at("push")
            super().push(block)

        def finish(self):
            at("finish")
            return super().finish()

    class Breaks(Loudest):
        @classmethod
        def of(cls, chain):
            at("of")
            return super().of(chain)

        def taps(self):
            at("taps")
            return ()

        def start(self, stream):
            at("start")
            return Running(stream)

        def publish(self, result):
            at("publish")
            return super().publish(result)

    return Breaks


def publishing(**quantities):
    class Publishes(Loudest):
        def publish(self, result):
            return {name.replace("__", "."): quantity for name, quantity in quantities.items()}

    return Publishes


class Writes(Loudest):
    """Turns the side down where it lies, as plain numpy code well may."""

    def start(self, stream):
        class Running(Listening):
            def push(self, block):
                samples = block.samples
                samples *= 0.5
                super().push(block)

        return Running(stream)


def tapped(step):
    @dataclass(frozen=True)
    class BadTap(Tap):
        def start(self, stream):
            if step == "start":
                raise OSError("no table")
            return self

        def push(self, x):
            if step == "push":
                raise OSError("no table")
            return x

        def flush(self):
            raise OSError("no table")

    class Listens(Loudest):
        def taps(self):
            return (BadTap(),)

        def start(self, stream):
            class Running(Listening):
                def push(self, block):
                    block[BadTap()]

            return Running(stream)

    return Listens


@dataclass(frozen=True)
class Works(Derived[float]):
    id: ClassVar[str] = "house.loudest"
    publishes: ClassVar[Mapping[str, str]] = {"house.loudest": "1"}

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def needs(self):
        return (Loudest(),)

    def work(self, measured):
        raise ZeroDivisionError("by nought")


class Rings(Works):
    def needs(self):
        return (self,)


class Mutable(Loudest):
    __hash__ = None


class Mute(Exception):  # noqa: N818
    def __str__(self):
        raise ValueError("no text")


MEASURING: dict[str, tuple[type[Any], str]] = {
    "of raises": (breaking(KeyError("x"), "of"), "KeyError: 'x'"),
    "taps raises": (breaking(KeyError("x"), "taps"), "KeyError: 'x'"),
    "start raises": (breaking(ValueError("two\nlines"), "start"), "ValueError: two lines"),
    "push raises": (breaking(IndexError("out"), "push"), "IndexError: out"),
    "push exits": (breaking(SystemExit(0), "push"), "SystemExit: 0"),
    "push raises without a text": (breaking(Mute(), "push"), "Mute"),
    "finish raises": (breaking(ZeroDivisionError("by nought"), "finish"), "ZeroDivisionError: by nought"),
    "publish raises": (breaking(TypeError("x"), "publish"), "TypeError: x"),
    "publish exits": (breaking(SystemExit("bye"), "publish"), "SystemExit: bye"),
    "a name it did not announce": (
        publishing(house__lodest=Quantity(value=1.0, unit="1")),
        "ValueError: it publishes house.lodest, which it did not announce",
    ),
    "the name of another": (
        publishing(level__true_peak=Quantity(value=-9.0, unit="dBTP")),
        "ValueError: it publishes level.true_peak, which it did not announce",
    ),
    "another unit": (
        publishing(house__loudest=Quantity(value=1.0, unit="%")),
        "ValueError: it publishes house.loudest in % and announced 1",
    ),
    "a bare number": (
        publishing(house__loudest=1.0),
        "TypeError: it publishes house.loudest as a float, not a Quantity",
    ),
    "writes into the samples": (Writes, "ValueError: output array is read-only"),
    "a tap does not start": (tapped("start"), "OSError: no table"),
    "a tap raises": (tapped("push"), "OSError: no table"),
    "a tap raises at the end": (tapped("flush"), "OSError: no table"),
    "work raises": (Works, "ZeroDivisionError: by nought"),
    "it waits for itself": (Rings, "ValueError: house.loudest needs itself by way of house.loudest"),
    "it cannot be a key": (Mutable, "TypeError: unhashable type: 'Mutable'"),
}


@pytest.mark.parametrize("case", MEASURING)
def test_measuring_that_breaks_is_named_and_never_a_pass(case, command, ruled, alone):
    need, says = MEASURING[case]
    run = command(built(("acme", plugin(qc_measures=[need], qc_checks=[TooLoud]))), "--ruleset", str(ruled))
    assert run.code == 3
    assert run.report["verdict"] == "error"
    (failure,) = run.report["plugin_failures"]
    assert failure | {"message": ""} == {"plugin": "acme", "stage": "house.loudest", "message": "", "side": "A"}
    assert unplaced(failure["message"]) == says
    result = run.result("house.too-loud")
    assert (result["outcome"], result["findings"]) == ("error", [])
    assert result["reason"] == f"house.loudest: {failure['message']}"
    others = {r["check"]: r["outcome"] for r in run.report["results"] if r["check"] != "house.too-loud"}
    assert others == outcomes(alone)
    assert set(run.side()["measurements"]) == set(numbers(alone))
    assert {name: q["value"] for name, q in run.side()["measurements"].items()} == {
        name: q.value for name, q in numbers(alone).items()
    }
    assert run.side()["passes"] == 1


def test_measuring_that_breaks_is_named_also_where_no_check_asks_for_it(command, alone):
    run = command(built(("acme", plugin(qc_measures=[breaking(ValueError("x"), "push")]))))
    assert run.code == 3
    assert [f["plugin"] for f in run.report["plugin_failures"]] == ["acme"]
    assert {r["check"]: r["outcome"] for r in run.report["results"]} == outcomes(alone)


# -- it breaks while it judges ---------------------------------------------------------------------------------


def judging(does):
    class Breaks(Check[Most]):
        id, title, why, how, remedy = "house.too-loud", "Too loud", "It is.", "How.", "Turn it down."
        Limits = Most

        def evaluate(self, ctx):
            return does(self, ctx)

    return Breaks


def one(_check, ctx):
    yield ctx.found("fail", "far too loud", measured="x")
    raise LookupError("no such number")


def leaves(_check, _ctx):
    raise SystemExit(0)


JUDGING = {
    "raises": (one, "LookupError: no such number"),
    "exits": (leaves, "SystemExit: 0"),
    "gives text": (lambda _check, _ctx: ["too loud"], "TypeError: house.too-loud gave a str, not a Finding"),
    "forgets to return": (lambda _check, _ctx: None, "TypeError: 'NoneType' object is not iterable"),
    "a misspelt limit": (
        lambda check, ctx: ctx.judge("level.true_peak", check.limits.mots, op="<="),
        "AttributeError: 'Most' object has no attribute 'mots'",
    ),
}


@pytest.mark.parametrize("case", JUDGING)
def test_a_check_that_breaks_is_named_and_never_a_pass(case, command, ruled, alone):
    does, says = JUDGING[case]
    run = command(built(("acme", plugin(qc_checks=[judging(does)]))), "--ruleset", str(ruled))
    assert run.code == 3
    assert run.report["verdict"] == "error"
    (failure,) = run.report["plugin_failures"]
    assert failure | {"message": ""} == {"plugin": "acme", "stage": "house.too-loud", "message": "", "side": "A"}
    assert unplaced(failure["message"]) == says
    assert (run.outcome("house.too-loud"), run.result("house.too-loud")["reason"]) == ("error", failure["message"])
    assert {r["check"]: r["outcome"] for r in run.report["results"]} == outcomes(alone) | {"house.too-loud": "error"}


# -- it breaks before or after ---------------------------------------------------------------------------------


class Entry:
    def __init__(self, load):
        self.load = load


def does_not_import():
    raise ImportError("no module named acme_tables")


def fails(report):
    raise OSError("the share is gone")


def misspelt():
    @hookimpl
    def qc_chekcs():
        return []

    return Plain({"qc_chekcs": qc_chekcs})


class Again(TooLoud):
    id = "groove.cut-too-deep"


AROUND = {
    "misspelt hook": (lambda: built(("acme", misspelt())), "hooks", 'did you mean "qc_checks"?'),
    "duplicate check": (
        lambda: built(("acme", plugin(qc_checks=[Again]))),
        "names",
        'the check "groove.cut-too-deep" is already given by plugin "standard"',
    ),
    "no import": (
        lambda: built(found=[*find(), InstalledPlugin("acme", "acme-rules", "2.1", Entry(does_not_import))]),
        "load",
        'plugin "acme" of acme-rules 2.1: it raised ImportError: no module named acme_tables',
    ),
    "a check that is no class": (
        lambda: built(("acme", plugin(qc_checks=["house.too-loud"]))),
        "qc_checks",
        "qc_checks gave a value of type str in its list, and not a class made from Check",
    ),
    "no list": (
        lambda: built(("acme", plugin(qc_measures=Loudest))),
        "qc_measures",
        "qc_measures gave the class Loudest, and not a list of classes made from Need",
    ),
    "a forgotten return": (
        lambda: built(("acme", plugin(qc_renderers=None))),
        "qc_renderers",
        "gave nothing; return a",
    ),
    "no folder": (
        lambda: built(("acme", plugin(qc_rulesets="/no/such/folder"))),
        "qc_rulesets",
        "qc_rulesets gave /no/such/folder, which is no folder",
    ),
    "report_done": (
        lambda: built(("acme", plugin(qc_report_done=fails))),
        "qc_report_done",
        "qc_report_done raised OSError: the share is gone",
    ),
}

NOT_NEEDED = {"duplicate check", "a check that is no class", "no list", "a forgotten return", "no folder"}
"""Plugins that were imported, so that their hooks are listed, and that this delivery does not need."""


@pytest.mark.parametrize("case", AROUND)
def test_a_plugin_that_breaks_in_a_hook_is_named_and_all_is_judged(case, command, alone):
    build, stage, says = AROUND[case]
    run = command(build())
    if case in NOT_NEEDED:
        assert (run.code, run.report["verdict"], run.report["plugin_failures"]) == (0, alone.verdict, [])
    else:
        assert (run.code, run.report["plugin_warnings"]) == (3, [])
    # where the judgement was done, the verdict remains whatever happens after it
    remains = case == "report_done" or case in NOT_NEEDED
    assert run.report["verdict"] == (alone.verdict if remains else "error")
    (failure,) = [*run.report["plugin_failures"], *run.report["plugin_warnings"]]
    assert (failure["plugin"], failure["stage"]) == ("acme", stage)
    assert says in failure["message"]
    assert {r["check"]: r["outcome"] for r in run.report["results"]} == outcomes(alone)
    assert len(run.report["results"]) == 13
    assert not any(name.startswith("acme") for name in run.report["plugins"]) or case == "report_done"


def test_a_plugin_failure_is_in_every_report(delivery):
    report = api.check(delivery, api.Options(), built(("acme", misspelt())))
    host = built(("house", plugin(qc_renderers=[Lines])))
    out = io.BytesIO()
    host.renderers["lines"]().render(report, Evidence(), out)
    assert len(out.getvalue().splitlines()) == 13
    from qc.report.json import Json
    from qc.report.text.report import Text

    texts = []
    for renderer in (Json, Text):
        held = io.BytesIO()
        renderer().render(report, Evidence(), held)
        texts.append(held.getvalue().decode())
    assert json.loads(texts[0])["plugin_failures"][0]["plugin"] == "acme"
    assert "acme" in texts[1]
    assert exit_code(report) == exit_code(report, strict=True) == 3
