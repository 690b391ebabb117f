"""Plugins that never end, through the command: each is named, the rest is judged, and the process ends with 3."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import threading
import time
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest

from qc import api
from qc.plugin_api import Derived
from qc.plugin_host.runner import Runner
from qc.testing.deliveries import Sent, deliver
from support.command import COMMAND, called, heed_interrupts
from support.house_plugin import Loudest, TooLoud, built
from support.houses import SHIPPED_12IN_33
from support.installed import environment, install
from support.plugins import plugin, unplaced

PATIENCE = "1.5"
MODULE = """
import threading, time
from dataclasses import dataclass
from qc import Analysis, Check, Limit, LimitCheck, Judged, Model, Quantity, Renderer, hookimpl

def forever():
    while True:
        time.sleep(3600.0)

class Most(Model):
    most: Limit

class Nothing(Model):
    pass

def analysis(name, step):
    @dataclass(frozen=True)
    class Hangs(Analysis):
        id = f"house.{name}"
        publishes = {f"house.{name}": "1"}
        @classmethod
        def of(cls, chain):
            return cls()
        def start(self, stream):
            return Running()
        def publish(self, result):
            return {f"house.{name}": Quantity(value=result, unit="1")}
    class Running:
        def push(self, block):
            if step == "push" and block.start > 0:
                forever()
            if step == "busy" and block.start > 0:
                end = time.monotonic() + 4.0  # beyond every patience here; from then on it leaves the processor alone
                while time.monotonic() < end:
                    pass
                forever()
        def finish(self):
            if step == "finish":
                forever()
            return 0.25
    return Hangs

def check(name, measure, hangs=False):
    class Own(LimitCheck):
        id, title, why, how, remedy = f"house.{name}", "t", "w", "h", "r"
        Limits = Most
        judges = {"most": Judged(measure, "<=", "it")}
        def evaluate(self, ctx):
            if hangs:
                yield from super().evaluate(ctx)
                forever()
            yield from super().evaluate(ctx)
    return Own

class Hung(Renderer):
    name = "hung"
    def render(self, report, evidence, out):
        out.write(b"half of it")
        threading.Thread(target=forever, daemon=False).start()
        forever()

@hookimpl
def qc_measures():
    return [analysis(name, name) for name in ("push", "busy", "finish", "good")]

@hookimpl
def qc_checks():
    names = ("push", "busy", "finish", "good")
    return [*(check(f"on-{name}", f"house.{name}") for name in names), check("endless", "house.good", True)]

@hookimpl
def qc_renderers():
    return [Hung]

@hookimpl
def qc_report_done(report):
    forever()
"""
CHECKS = ("on-push", "on-busy", "on-finish", "on-good", "endless")


def with_limits(folder, *limits):
    """Write the shipped ruleset with limits of the house, a line each, into a folder; return its path."""
    lines = "".join(f"  {limit}\n" for limit in limits)
    path = folder / "house.yaml"
    path.write_text(SHIPPED_12IN_33.read_text(encoding="utf-8").replace("limits:\n", f"limits:\n{lines}", 1))
    return path


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    x = 0.1 * np.random.default_rng(3).standard_normal((2, 400_000))
    return deliver(tmp_path_factory.mktemp("d") / "delivery", {"A": Sent(x)})


@pytest.fixture
def house(tmp_path):
    """A plugin that hangs wherever it can, and a ruleset that asks for it; gives its site and the ruleset."""
    site = tmp_path / "site"
    install(site, "acme-rules", "1.2", "acme = acme_hangs")
    (site / "acme_hangs.py").write_text(MODULE)
    limits = [f"house.{name}: {{most: {{warn: 0.1, source: practice}}}}" for name in CHECKS]
    return site, with_limits(tmp_path, *limits)


def ran(site, *words):
    began = time.monotonic()
    done = subprocess.run(
        [*COMMAND, *map(str, words)], capture_output=True, check=False, text=True, timeout=120, env=environment(site),
        stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    return done, time.monotonic() - began


def test_every_plugin_that_hangs_is_named_and_the_rest_is_judged(house, delivery, tmp_path):
    site, ruleset = house
    out = tmp_path / "out"
    out.mkdir()
    words = ("check", delivery, "--ruleset", ruleset, "--patience", PATIENCE)
    done, _ = ran(site, *words, "--out", f"json={out / 'r.json'}", "--out", f"hung={out / 'h'}", "--out", "text=-")
    assert done.returncode == 3
    assert [path.name for path in out.iterdir()] == ["r.json"]
    report = json.loads((out / "r.json").read_text())
    after = f"after {PATIENCE} s, and timed out"
    at = "it was still at the block from 2.7 s on"  # 131,072 frames at 48 kHz
    assert [
        (one["plugin"], one["stage"], one.get("side"), unplaced(one["message"])) for one in report["plugin_failures"]
    ] == [
        ("acme", "house.endless", "A", f"it had not ended {after}"),
        ("acme", "house.push", "A", f"{at} {after}"),
        ("acme", "house.busy", "A", f"{at} {after}"),
        ("acme", "house.finish", "A", f"finish() had not ended {after}"),
        ("acme", "qc_report_done", None, f'plugin "acme" of acme-rules 1.2: qc_report_done had not ended {after}'),
        ("acme", "hung", None, f'the format "hung" broke: it had not ended {after}; nothing was written'),
    ]
    for failure in report["plugin_failures"]:
        assert f"sidegate: plugin acme failed at {failure['stage']}: {failure['message']}" in done.stderr
    outcomes = {result["check"]: result["outcome"] for result in report["results"]}
    own = {name: outcomes.pop(f"house.{name}") for name in CHECKS}
    assert own == dict.fromkeys(CHECKS, "error") | {"on-good": "warn"}
    assert "error" not in outcomes.values()
    assert len(outcomes) == 13
    assert report["verdict"] == "error"
    assert done.stdout.endswith("\n")
    assert "house.on-good" in done.stdout


def test_a_plugin_that_hangs_while_it_is_loaded_is_left_out(delivery, tmp_path):
    site = tmp_path / "site"
    install(site, "acme-rules", "1.2", "acme = acme_never", "beta = acme_hook")
    (site / "acme_never.py").write_text("import time\nwhile True:\n    time.sleep(3600)\n")
    hook = "import time\nfrom qc import hookimpl\n@hookimpl\ndef qc_checks():\n    time.sleep(3600)\n"
    (site / "acme_hook.py").write_text(hook)
    done, _ = ran(site, "check", delivery, "--patience", PATIENCE, "--out", f"json={tmp_path / 'r.json'}")
    assert done.returncode == 0  # nothing here needs them
    report = json.loads((tmp_path / "r.json").read_text())
    timed_out = f"had not ended after {PATIENCE} s, and timed out"
    assert [(one["plugin"], one["stage"], unplaced(one["message"])) for one in report["plugin_warnings"]] == [
        ("acme", "load", f'plugin "acme" of acme-rules 1.2: it {timed_out}'),
        ("beta", "qc_checks", f'plugin "beta" of acme-rules 1.2: qc_checks {timed_out}'),
    ]
    assert "error" not in {result["outcome"] for result in report["results"]}


@pytest.mark.parametrize("where", ["hearing", "loading"])
def test_an_interrupt_ends_it_at_once_while_a_plugin_hangs(where, house, delivery, tmp_path):
    site, ruleset = house
    began = tmp_path / "began"
    says = f"open({str(began)!r}, 'w').close()"
    if where == "loading":
        (site / "acme_hangs.py").write_text(f"import time\n{says}\nwhile True:\n    time.sleep(3600)\n")
    else:
        (site / "acme_hangs.py").write_text(MODULE.replace("def forever():", f"def forever():\n    {says}"))
    words = [*COMMAND, "check", str(delivery), "--ruleset", str(ruleset), "--out", f"json={tmp_path / 'r.json'}"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "env": environment(site)}
    with subprocess.Popen(words, preexec_fn=heed_interrupts, **pipes) as running:  # noqa: PLW1509
        deadline = time.monotonic() + 100.0
        while not began.exists():
            assert time.monotonic() < deadline
            assert running.poll() is None
            time.sleep(0.05)
        sent = time.monotonic()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
        assert time.monotonic() - sent < 10.0
    assert (running.returncode, out) == (130, "")
    assert err.endswith("sidegate: stopped; nothing more was written\n")
    assert "Traceback" not in err
    assert not (tmp_path / "r.json").exists()


@pytest.mark.parametrize("patience", ["0", "-1", "nan", "inf", "soon", "0.05", "1e9", ""])
def test_patience_is_a_number_of_seconds(patience, delivery):
    code, _, err = called(["check", str(delivery), "--patience", patience])
    assert code == 2
    assert "is not a number of seconds from 0.1 to 86400" in err
    assert len(err.splitlines()) == 1


# -- anywhere else ---------------------------------------------------------------------------------------------


def hanging(step, endless):
    """Loudest that does not end at a step; "work" is worked out from it."""

    class Hangs(Loudest):
        @classmethod
        def of(cls, chain):
            if step == "of":
                endless()
            return super().of(chain)

        def taps(self):
            if step == "taps":
                endless()
            return ()

        def publish(self, result):
            if step == "publish":
                endless()
            return super().publish(result)

    @dataclass(frozen=True)
    class Works(Derived):
        id = "house.loudest"
        publishes: ClassVar = {"house.loudest": "1"}

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            return cls()

        def needs(self):
            return (Loudest(),)

        def work(self, measured):
            endless()

    return Works if step == "work" else Hangs


@pytest.mark.parametrize("step", ["of", "taps", "publish", "work"])
def test_a_need_that_hangs_is_an_error_of_the_checks_that_read_it(step, endless, delivery, tmp_path):
    ruleset = with_limits(tmp_path, "house.too-loud: {most: {warn: 0.5, source: practice}}")
    host = built(("acme", plugin(qc_measures=[hanging(step, endless)], qc_checks=[TooLoud])))
    report = api.check(delivery, api.Options(str(ruleset), patience=1.5), host)
    (failure,) = report.plugin_failures
    says = "it had not ended after 1.5 s, and timed out"
    assert (failure.plugin, failure.stage, failure.side) == ("acme", "house.loudest", "A")
    assert unplaced(failure.message) == says
    errors = [(one.check, one.reason) for one in report.results if one.outcome == "error"]
    assert errors == [("house.too-loud", f"house.loudest: {failure.message}")]


def test_taps_that_are_asked_for_again_may_not_end_the_process(delivery, tmp_path):
    """The needs of a side are planned once more when all of them are known."""
    asked = []

    class Changes(Loudest):
        def taps(self):
            asked.append(True)
            if len(asked) > 1:
                raise SystemExit(0)
            return ()

    ruleset = with_limits(tmp_path, "house.too-loud: {most: {warn: 0.5, source: practice}}")
    host = built(("acme", plugin(qc_measures=[Changes], qc_checks=[TooLoud])))
    report = api.check(delivery, api.Options(str(ruleset)), host)
    assert [(one.plugin, unplaced(one.message)) for one in report.plugin_failures] == [("acme", "SystemExit: 0")]
    assert [one.check for one in report.results if one.outcome == "error"] == ["house.too-loud"]


@pytest.mark.parametrize("where", ["hangs", "exits"])
def test_a_check_that_cannot_be_made_is_an_error_and_the_rest_is_judged(where, endless, delivery, tmp_path):
    class Refuses(TooLoud):
        def __init__(self, limits):
            if where == "exits":
                raise SystemExit(0)
            endless()

    ruleset = with_limits(tmp_path, "house.too-loud: {most: {warn: 0.5, source: practice}}")
    host = built(("acme", plugin(qc_measures=[Loudest], qc_checks=[Refuses])))
    says = "it had not ended after 0.5 s, and timed out" if where == "hangs" else "SystemExit: 0"
    report = api.check(delivery, api.Options(str(ruleset), patience=0.5), host)
    (failure,) = report.plugin_failures
    assert (failure.plugin, failure.stage, failure.side) == ("acme", "house.too-loud", None)
    assert unplaced(failure.message) == f"it cannot be made: {says}"
    errors = [(one.check, one.side, one.reason) for one in report.results if one.outcome == "error"]
    assert errors == [("house.too-loud", "A", failure.message)]


def test_an_exit_during_a_command_is_an_error(monkeypatch):
    def exits(words):
        raise SystemExit(0)

    monkeypatch.setattr("qc.cli.rulesets.rulesets", exits)
    code, out, err = called(["rulesets"])
    assert (code, out) == (3, b"")
    assert err.startswith("sidegate: a plugin ended the command (SystemExit), and nothing more was written")
    assert len(err.splitlines()) == 1


def test_advice_that_hangs_leaves_the_finding(endless, delivery, tmp_path):
    heard_again, woken = [], threading.Event()

    class Advises(TooLoud):
        def advise(self, finding, look):
            look(0.0, 0.1)
            endless()
            try:
                heard_again.append(look(0.0, 0.2))
            finally:
                woken.set()

    ruleset = with_limits(tmp_path, "house.too-loud: {most: {warn: 0.1, source: practice}}")
    host = built(("acme", plugin(qc_measures=[Loudest], qc_checks=[Advises])))
    report = api.check(delivery, api.Options(str(ruleset), patience=1.5), host)
    (failure,) = report.plugin_failures
    assert (failure.plugin, failure.stage) == ("acme", "house.too-loud")
    assert unplaced(failure.message) == "it had not ended after 1.5 s, and timed out"
    (result,) = [one for one in report.results if one.check == "house.too-loud"]
    assert (result.outcome, len(result.findings)) == ("warn", 1)
    assert result.findings[0].remedy == "Turn it down."
    endless.__self__.set()
    assert woken.wait(60.0)
    assert heard_again == []  # it came back, and there is nothing left for it to read


def test_a_delivery_reader_that_hangs_is_reported_and_the_next_is_tried(endless, tmp_path):
    def never(path):
        endless()

    host = api.Host.build(
        (), extra=[("a", plugin(qc_read_delivery=never)), ("b", plugin(qc_read_delivery="text"))], runner=Runner(0.5)
    )
    assert host.read_delivery(tmp_path) == "text"
    says = 'plugin "a": qc_read_delivery had not ended after 0.5 s, and timed out'
    assert [unplaced(failure.message) for failure in host.failures] == [says]


def test_a_need_that_hangs_in_a_ruleset_comparison_leaves_its_check_undecided(endless, delivery, tmp_path):
    """Whether a number stays under another chain is asked of the need that publishes it."""
    hangs = []

    class Hangs(Loudest):
        @classmethod
        def of(cls, chain):
            if hangs:
                endless()
            return super().of(chain)

    host = built(("acme", plugin(qc_measures=[Hangs], qc_checks=[TooLoud])))
    before, after = (
        with_limits(tmp_path, "house.too-loud: {most: {warn: 0.5, source: practice}}"),
        tmp_path / "after.yaml",
    )
    text = before.read_text()
    changed = re.sub(r"(subsonic: *\{ *value: *)[^,}]+", r"\g<1>25 Hz", text)
    assert changed != text
    after.write_text(changed)
    report = tmp_path / "report.json"
    report.write_text(api.check(delivery, api.Options(str(before)), host).model_dump_json())

    def unsaid():
        found = api.rulesets_diff(str(before), str(after), report, api.Options(patience=0.5), host).compared
        return {left.what: left.why for left in found.unsaid}

    assert "house.too-loud" not in unsaid()
    hangs.append(True)
    assert unsaid()["house.too-loud"].startswith("house.loudest depends on the chain, of which signal.subsonic differs")
