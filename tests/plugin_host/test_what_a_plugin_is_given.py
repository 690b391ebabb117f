"""What a plugin is given it may read: whatever it writes there, all else is measured and judged as without it."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading

import numpy as np
import pytest

from qc import api
from qc.dsp.samples.closed import closed
from qc.model.errors import TimedOutError
from qc.model.quantity import Quantity
from qc.plugin_base import LimitCheck, Renderer
from qc.plugin_host.runner import Runner, RunnerThread
from support.houses import SHIPPED_12IN_33
from support.misbehaving import house, limits
from support.plugin_runs import judged_as_without
from support.plugins import Plain, hosted, plugin, unplaced

NAME = "own"


def with_check(evaluate, name=NAME, **more):
    """The plugin that behaves, with another way to judge."""
    whole = house("", lambda: None, name)
    (own,) = whole.qc_checks()
    changed = type("Changed", (own,), {"evaluate": evaluate, "__module__": __name__, **more})
    return Plain({**vars(whole), **vars(plugin(qc_checks=[changed]))})


# -- what it writes --------------------------------------------------------------------------------------------


def opened(array):
    """Open an array, and whatever it is a view of, for writing, and spoil it."""
    while array is not None:
        with contextlib.suppress(ValueError, AttributeError):
            array.flags.writeable = True
            array[...] = 0.5
        with contextlib.suppress(TypeError, ValueError):
            memoryview(array).cast("B")[0] = 1
        array = getattr(array, "base", None)


class Writing:
    """An analysis that writes to all it is given."""

    def __init__(self, need):
        self.need = need

    def push(self, block):
        opened(block.samples)
        opened(block[self.need().taps()[0]])
        for name in ("samples", "start", "stream", "taps"):
            with contextlib.suppress(AttributeError, TypeError):
                setattr(block, name, np.zeros((2, 8)))
        with contextlib.suppress(AttributeError, TypeError):
            block.taps.clear()

    def finish(self):
        return 0.2


def writes(check, ctx):
    for given in (ctx.declared, ctx.delivery):
        given.clear()
        given["tracks"] = given["title"] = "spoiled"
    ctx.looked_at["level.true_peak"] = 3
    for need in check.needs:
        ctx[need]
    yield from LimitCheck.evaluate(check, ctx)


def advises(check, finding, look):
    opened(look(0.0, 0.1))
    finding.__dict__["message"] = "spoiled"
    return finding


class Spoils(Renderer):
    """A format that changes the report."""

    name = "spoils"

    def render(self, report, evidence, out):
        report.sides[0].measurements.clear()
        report.__dict__["verdict"] = "pass"
        evidence.words.clear()
        out.write(b"x")


def spoils(report):
    report.sides[0].measurements.clear()
    report.sides[0].declared.clear()
    report.__dict__["results"] = ()


def test_whatever_it_writes_everything_else_is_as_without_it(run, alone, tmp_path):
    whole = with_check(writes, advise=advises)
    need, derived, *_ = whole.qc_measures()
    writing = type("Writer", (need,), {"start": lambda _self, _stream: Writing(need), "__module__": __name__})
    more = plugin(qc_measures=[writing, derived], qc_renderers=[Spoils], qc_report_done=spoils)
    spoiling = Plain({**vars(whole), **vars(more)})
    report = run(hosted({NAME: spoiling}), limits([NAME]), "--out", f"spoils={tmp_path / 's'}")
    judged_as_without(report, {NAME}, alone)
    assert report.report["sides"][0]["declared"]["tracks"][0]["title"] == "No. 1"


def test_a_closed_array_can_be_opened_by_no_way_and_keeps_its_owner():
    owner = np.zeros((2, 3))
    owner[:] = [[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]]
    shared = closed(owner)
    before = sys.getrefcount(owner)
    opened(shared)
    opened(shared[:, 1:])
    assert shared.tolist() == owner.tolist() == [[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]]
    del shared
    assert sys.getrefcount(owner) < before


@pytest.mark.parametrize("of", ["U3", "M8[s]", ">f8"])
def test_an_array_of_another_type_is_copied_and_read_only(of):
    array = np.zeros(2, of)
    with pytest.raises(ValueError, match="read-only"):
        closed(array)[0] = array[1]


# -- what it returns -------------------------------------------------------------------------------------------


def changed(**values):
    """A finding that was changed without being validated."""

    def evaluate(_check, ctx):
        return [ctx.found("fail", "bad", measured="x").model_copy(update=values)]

    return evaluate


def of(measured=1.0, unit="1"):
    return Quantity.model_construct(value=measured, unit=unit, bound=None, accuracy=None, at=None)


def compared(quantity, op="<="):
    return lambda check, ctx: ctx.hold(quantity, check.limits.most, op=op, of="it")


def drops_it(check, ctx):
    """The `yield from` is forgotten."""
    ctx.judge("own.greatest", check.limits.most, op="<=")
    return []


def drops_an_error(check, ctx):
    ctx.judge("own.geratest", check.limits.most, op="<=")
    return []


def noted(_check, ctx):
    ctx.note(3)
    return []


def swallows(_check, ctx):
    with contextlib.suppress(Exception):
        ctx.measured("own.geratest")
        return []
    raise RuntimeError("it was no error")


RETURNED = {
    "an operator that is none": (
        lambda check, ctx: ctx.judge("own.greatest", check.limits.most, op="<"),
        'ValueError: the operator is "<"; write "<=" for a maximum or ">=" for a minimum',
    ),
    "no limit": (
        lambda _check, ctx: ctx.judge("own.greatest", None, op="<="),
        "TypeError: a number is compared with a Limit, not with a value of type NoneType",
    ),
    "a note that is no text": (noted, "TypeError: a note is a sentence, not a value of type int"),
    "a remedy that is no text": (changed(remedy=3), 'Finding: "remedy" is "3"; it must be a text'),
    "a margin that is no number": (changed(margin=float("nan")), 'Finding: "margin" is "nan"; it must be a number'),
    "another severity": (changed(severity="bad"), 'Finding: "severity" is "bad"; it must be warn or fail'),
    "under another check": (
        changed(check="groove.cut-too-deep"),
        'ValueError: it gave a finding of "groove.cut-too-deep", which is another check',
    ),
    "an unknown unit": (
        changed(measured=of(unit="furlong")),
        'ValueError: it gave a finding in the unit "furlong", which is not known',
    ),
    "a value that is no number": (compared(of(float("nan"))), 'Quantity: "value" is "nan"; it must be a number'),
    "a number in another dimension": (compared(of(3.0, "um")), 'ValueError: "0.001" has no unit, and um is needed'),
    "a name that nothing publishes": (
        lambda check, ctx: ctx.judge("own.geratest", check.limits.most, op="<="),
        'LookupError: nothing publishes "own.geratest"; did you mean "own.greatest"?',
    ),
    "a name that nothing publishes, and no finding": (
        drops_an_error,
        'LookupError: nothing publishes "own.geratest"; did you mean "own.greatest"?',
    ),
    "a finding that it drops": (
        drops_it,
        "ValueError: it compared a number with a limit and dropped the finding; write: yield from ctx.judge(...)",
    ),
    "a limit with a misspelt key": (
        lambda check, _ctx: [type(check.limits.most)(unit="1", source="x", wran=1.0)],
        'Limit: unknown key "wran"; did you mean "warn"?',
    ),
}


@pytest.mark.parametrize("case", RETURNED)
def test_what_no_report_can_hold_is_an_error_of_that_check(case, run, alone):
    evaluate, says = RETURNED[case]
    report = run(hosted({NAME: with_check(evaluate)}), limits([NAME]))
    assert report.code == 3
    judged_as_without(report, {NAME}, alone)
    (failure,) = report.report["plugin_failures"]
    assert (failure["plugin"], unplaced(failure["message"])) == (NAME, says)
    assert report.own(NAME)["outcome"] == "error"
    assert "pydantic" not in report.err + str(report.report)


def test_a_check_that_goes_on_without_a_broken_number_is_an_error_all_the_same(run, alone):
    def evaluate(_check, ctx):
        with contextlib.suppress(Exception):
            ctx.measured("own.greatest")
        return []

    need, derived, *_ = house("", lambda: None, NAME).qc_measures()
    breaks = type("Breaks", (need,), {"publish": lambda _self, _result: {}[0], "__module__": __name__})
    whole = with_check(evaluate, needs=(breaks,))
    both = Plain({**vars(whole), **vars(plugin(qc_measures=[breaks, derived]))})
    report = run(hosted({NAME: both}), limits([NAME]))
    judged_as_without(report, {NAME}, alone)
    assert (report.code, report.own(NAME)["outcome"]) == (3, "error")


@pytest.mark.parametrize("values", [{"waived_by": "me"}, {"baseline": "unchanged"}])
def test_only_the_run_says_what_is_waived_or_known_already(values, run):
    report = run(hosted({NAME: with_check(changed(**values))}), limits([NAME]))
    (finding,) = report.own(NAME)["findings"]
    assert (report.code, report.own(NAME)["outcome"]) == (1, "fail")
    assert (finding["waived_by"], finding["baseline"]) == (None, None)


def test_a_finding_about_a_key_of_the_delivery_has_its_line(run, delivery):
    def evaluate(_check, ctx):
        yield ctx.found("warn", "another number", measured="QH-001", field=("catalogue",))
        yield ctx.found("warn", "no such key", measured="x", field=())

    report = run(hosted({NAME: with_check(evaluate, scope="delivery")}), limits([NAME]))
    places = [(found["location"]["field"], found["location"]["line"]) for found in report.own(NAME)["findings"]]
    lines = (delivery / "delivery.yaml").read_text().splitlines()
    number = 1 + next(k for k, line in enumerate(lines) if line.startswith("catalogue:"))
    assert places == [("catalogue", number), (None, None)]


def test_the_whole_traceback_is_on_stderr_where_it_is_asked_for(monkeypatch, capsys):
    def breaks():
        raise LookupError("no table")

    monkeypatch.setenv("SIDEGATE_DEBUG", "1")
    Runner(5.0).each({"own": breaks})
    said = capsys.readouterr().err
    assert said.startswith("Traceback (most recent call last):")
    assert said.endswith("LookupError: no table\n")
    monkeypatch.delenv("SIDEGATE_DEBUG")
    Runner(5.0).each({"own": breaks})
    assert capsys.readouterr().err == ""


# -- what it prints --------------------------------------------------------------------------------------------


def test_what_it_prints_goes_to_stderr_and_leaves_the_report_on_stdout_as_it_is(run, delivery):
    def evaluate(check, ctx):
        print("a word of the plugin")
        return []

    report = run(hosted({NAME: with_check(evaluate)}), limits([NAME]), "--out", "text=-")
    assert b"a word" not in report.out
    assert "a word of the plugin" in report.err


def test_what_it_prints_goes_to_stderr_where_a_program_calls_the_tool(delivery, tmp_path, capsys):
    def evaluate(check, ctx):
        print("a word of the plugin")
        return []

    stream = sys.stdout
    host = hosted({NAME: with_check(evaluate)})
    path = tmp_path / "house.yaml"
    path.write_text(SHIPPED_12IN_33.read_text(encoding="utf-8").replace("limits:\n", f"limits:\n{limits([NAME])}\n", 1))
    report = api.check(delivery, api.Options(ruleset=str(path)), host)
    print("a word of the program")
    assert sys.stdout is stream
    assert report.plugin_failures == ()
    said = capsys.readouterr()
    assert (said.out, said.err.count("a word of the plugin")) == ("a word of the program\n", 1)


def test_a_program_prints_on_stdout_while_a_plugin_runs_and_after_one_that_never_ends(capsys):
    entered, ended = threading.Event(), threading.Event()

    def prints():
        entered.set()
        ended.wait()
        print("late")

    runner = Runner(0.2)
    with pytest.raises(TimedOutError):
        runner(prints)
    print("program")
    ended.set()
    for thread in [thread for thread in threading.enumerate() if isinstance(thread, RunnerThread)]:
        thread.join()
    said = capsys.readouterr()
    assert (said.out, said.err) == ("program\n", "late\n")


PRINTS = """
import os, subprocess, sys
from qc.cli.streams import apart, emit
with apart():
    print("python")
    os.write(1, b"descriptor\\n")
    subprocess.run([sys.executable, "-c", "print('child')"])
    emit(b"report\\n")
print("after")
"""


def test_what_is_written_below_python_goes_to_stderr_too():
    done = subprocess.run(
        [sys.executable, "-c", PRINTS], capture_output=True, check=True, text=True, env=dict(os.environ)
    )
    assert done.stdout == "report\nafter\n"
    assert sorted(done.stderr.split()) == ["child", "descriptor", "python"]
