"""Plugins that break before the run, or are switched off: what is asked of them is named, and the rest is judged."""

from __future__ import annotations

import itertools
import json
from types import SimpleNamespace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from qc.cli.main import main
from qc.testing.deliveries import Sent, deliver
from support.houses import SHIPPED_12IN_33
from support.installed import install
from support.plugins import unplaced

HUM = 0.1 * np.tile(np.sin(np.arange(9600.0) / 8.0), (2, 1))
"""0.2 s of a tone in both channels."""
DISC = "disc-12in-33@3.2.0"
NUMBERS = itertools.count()

HEAD = """
from pathlib import Path
from qc import Check, Model, Renderer, hookimpl
HERE = Path(__file__).parent
"""
RULESETS = """
@hookimpl
def qc_rulesets():
    return HERE / "rulesets"
"""
BROKEN_CHECKS = """
@hookimpl
def qc_checks():
    raise LookupError("no table")
"""
QUIET = """
class Quiet(Check):
    id, title, why, how, remedy = "acme.quiet", "Quiet", "It is.", "So.", "Louder."
    class Limits(Model): pass
    def evaluate(self, ctx): return []

@hookimpl
def qc_checks():
    return [Quiet]
"""
BROKEN_FORMATS = """
@hookimpl
def qc_renderers():
    raise LookupError("no pen")
"""
HOUSE = """
schema: 1
name: acme-12in-33
version: 1.0.0
extends: disc-12in-33@3.2.0
limits:
  acme.quiet: {}
"""


@pytest.fixture
def site(tmp_path, monkeypatch):
    """Install a plugin "acme" of acme-rules 1.0 with this code."""

    def put(*code, name="acme"):
        module = f"left_out_{name}_{next(NUMBERS)}"
        folder = tmp_path / f"site-{module}"
        install(folder, f"{name}-rules", "1.0", f"{name} = {module}")
        (folder / f"{module}.py").write_text(HEAD + "".join(code))
        (folder / "rulesets").mkdir()
        monkeypatch.syspath_prepend(folder)
        return folder

    return put


@pytest.fixture
def run(tmp_path, capsys):
    """Judge a tiny side; gives exit code, report and stderr."""

    def judge(*words, ruleset=None):
        folder = tmp_path / "delivery"
        if not folder.exists():
            deliver(folder, {"A": Sent(HUM)})
        if ruleset is not None:
            paper = folder / "delivery.yaml"
            paper.write_text(paper.read_text().replace("disc:", f"ruleset: {ruleset}\ndisc:", 1))
        out = tmp_path / "report.json"
        out.unlink(missing_ok=True)
        code = main(["check", str(folder), "--out", f"json={out}", *words])
        report = json.loads(out.read_text()) if out.exists() else {}
        return SimpleNamespace(code=code, report=report, err=capsys.readouterr().err)

    return judge


def put_ruleset(folder, text=HOUSE, place="acme-12in-33/1.0.0.yaml"):
    path = folder / "rulesets" / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


def outcomes(report):
    return {result["check"]: result["outcome"] for result in report["results"]}


def said_first(ran):
    return next(line for line in ran.err.splitlines() if "plugin" in line)


# -- its own ruleset is asked for --------------------------------------------------------------------------------


@pytest.mark.parametrize("asked_in", ["option", "delivery"])
def test_where_its_ruleset_cannot_be_read_the_discs_own_judges(site, run, asked_in):
    put_ruleset(site(RULESETS, "raise RuntimeError('gone')\n"))
    words = ["--ruleset", "acme-12in-33"] if asked_in == "option" else []
    ran = run(*words, ruleset=None if words else "acme-12in-33@1.0.0")
    assert ran.code == 3
    assert f"{ran.report['ruleset']['name']}@{ran.report['ruleset']['version']}" == DISC
    first, second = ran.report["plugin_failures"]
    assert (first["plugin"], first["stage"]) == ("acme", "load")
    assert 'plugin "acme" of acme-rules 1.0: it raised RuntimeError: gone' in first["message"]
    assert (second["plugin"], second["stage"]) == ("acme", "qc_rulesets")
    assert '"acme-12in-33' in second["message"]
    assert f"judged by {DISC} instead" in second["message"]
    assert ran.report["verdict"] == "error"
    assert set(outcomes(ran.report).values()) - {"error"}
    assert said_first(ran).startswith("sidegate: plugin acme failed at load: ")


def test_where_its_ruleset_was_read_it_judges_and_the_missing_check_is_an_error(site, run):
    put_ruleset(site(RULESETS, BROKEN_CHECKS))
    ran = run("--ruleset", "acme-12in-33")
    assert (ran.code, ran.report["ruleset"]["name"]) == (3, "acme-12in-33")
    (failure,) = ran.report["plugin_failures"]
    assert "qc_checks raised LookupError: no table" in failure["message"]
    plain = run()
    expected = outcomes(plain.report) | {"acme.quiet": "error"}
    assert outcomes(ran.report) == expected
    assert plain.code in {0, 1}


def test_a_check_like_one_of_ours_is_an_error_too_in_the_plugins_own_ruleset(site, run):
    folder = site(RULESETS, BROKEN_CHECKS)
    put_ruleset(folder, HOUSE.replace("acme.quiet", "groove.cut-to-deep"))
    ran = run("--ruleset", "acme-12in-33")
    assert (ran.code, outcomes(ran.report)["groove.cut-to-deep"]) == (3, "error")
    (result,) = [row for row in ran.report["results"] if row["check"] == "groove.cut-to-deep"]
    assert 'if "groove.cut-too-deep" is meant' in result["reason"]


def test_a_limit_without_code_on_a_number_of_the_plugin_is_an_error(site, run):
    entry = (
        "\n  acme.hum: {measure: acme.hum_level, why: W., remedy: R., "
        'at_most: {warn: 1 dB, source: "house: desk"}}\n'
        "off:\n  acme.quiet: not here\n"
    )
    measures = "@hookimpl\ndef qc_measures():\n    return []\n"
    put_ruleset(site(RULESETS, BROKEN_CHECKS, measures), HOUSE.partition("limits:")[0] + "measures:" + entry)
    ran = run("--ruleset", "acme-12in-33")
    assert (ran.code, outcomes(ran.report)["acme.hum"]) == (3, "error")
    assert "acme.quiet" not in outcomes(ran.report)


def test_a_ruleset_that_requires_the_broken_plugin_judges(site, run, tmp_path):
    site(BROKEN_CHECKS)
    path = tmp_path / "required.yaml"
    path.write_text(
        HOUSE.replace("acme-12in-33", "required").partition("limits:")[0] + 'requires: {Acme_Rules: ">=1"}\n'
    )
    ran = run("--ruleset", str(path))
    assert (ran.code, ran.report["ruleset"]["name"]) == (3, "required")
    assert [failure["plugin"] for failure in ran.report["plugin_failures"]] == ["acme"]


def test_without_a_disc_to_go_by_the_plugin_is_named_and_nothing_is_judged(site, run, capsys):
    site(RULESETS, "raise RuntimeError('gone')\n")
    assert main(["explain", "level.clipped", "--ruleset", "acme-12in-33"]) == 3
    said = capsys.readouterr().err
    assert said.startswith('sidegate: plugin "acme" of acme-rules 1.0: it raised RuntimeError: gone (left_out_acme_')
    assert 'no ruleset is called "acme-12in-33"' in said


def test_a_misspelt_ruleset_is_exit_2_where_no_broken_plugin_can_have_it(site, run):
    site(BROKEN_CHECKS)
    ran = run("--ruleset", "acme-12in-33")
    assert (ran.code, ran.report) == (2, {})
    assert 'no ruleset is called "acme-12in-33"' in ran.err


# -- two files of one name and version ---------------------------------------------------------------------------


def test_of_two_files_of_one_version_the_later_is_left_out_and_its_plugin_named(site, run):
    other = SHIPPED_12IN_33.with_name("3.2.0.yaml").read_text(encoding="utf-8").replace("groove.cut-too-deep", "x.y")
    path = put_ruleset(site(RULESETS), other, "disc-12in-33/3.2.0.yaml")
    ran = run()
    assert ran.code == 3
    (failure,) = ran.report["plugin_failures"]
    assert (failure["plugin"], failure["stage"]) == ("acme", "qc_rulesets")
    assert failure["message"].startswith(f"{DISC} is there already, in ")
    assert f"{path} is left out" in failure["message"]
    assert "x.y" not in outcomes(ran.report)
    assert "groove.cut-too-deep" in outcomes(ran.report)


# -- formats -----------------------------------------------------------------------------------------------------


def test_a_format_of_a_broken_plugin_is_a_failure_and_the_others_are_written(site, run, tmp_path):
    site(BROKEN_FORMATS)
    lines = tmp_path / "lines.txt"
    ran = run("--out", f"lines={lines}")
    assert (ran.code, lines.exists()) == (3, False)
    first, second = ran.report["plugin_failures"]
    assert "qc_renderers raised LookupError: no pen" in first["message"]
    assert (second["plugin"], second["stage"]) == ("acme", "qc_renderers")
    assert second["message"].startswith('the format "lines" is not there')
    assert said_first(ran).startswith("sidegate: plugin acme failed at qc_renderers: ")


FAILING = """
class Lines(Renderer):
    name = "lines"
    {}

@hookimpl
def qc_renderers():
    return [Lines]
"""
FOR_PATH = """@classmethod
    def for_path(cls, path): raise LookupError("no pen")
    def render(self, report, evidence, out): out.write(b"x")"""
RENDER = """def render(self, report, evidence, out): raise LookupError("no pen")"""


@pytest.mark.parametrize("body", [FOR_PATH, RENDER])
def test_a_format_that_breaks_is_in_the_reports_with_its_plugin(site, run, tmp_path, body):
    site(FAILING.format(body))
    lines, junit = tmp_path / "lines.txt", tmp_path / "report.xml"
    ran = run("--out", f"lines={lines}", "--out", f"junit={junit}")
    assert (ran.code, lines.exists()) == (3, False)
    says = 'the format "lines" broke: LookupError: no pen; nothing was written'
    (failure,) = ran.report["plugin_failures"]
    assert (failure["plugin"], failure["stage"], unplaced(failure["message"])) == ("acme", "lines", says)
    assert ran.report["verdict"] == run().report["verdict"]
    assert failure["message"] in junit.read_text()
    assert f"plugin acme failed at lines: {failure['message']}" in ran.err


USAGE = """def render(self, report, evidence, out): raise UsageError("not so")"""
USAGE_FOR_PATH = FOR_PATH.replace("LookupError", "UsageError")


@pytest.mark.parametrize("body", [USAGE, USAGE_FOR_PATH])
def test_a_usage_error_of_a_plugins_format_is_a_failure_of_that_plugin(site, run, tmp_path, body):
    site("from qc.model.errors import UsageError\n" + FAILING.format(body))
    ran = run("--out", f"lines={tmp_path / 'lines.txt'}")
    (failure,) = ran.report["plugin_failures"]
    assert (ran.code, failure["plugin"], failure["stage"]) == (3, "acme", "lines")
    assert failure["message"].endswith("; nothing was written")


REMARK = """def render(self, report, evidence, out): out.write(b"whole")
    @property
    def remark(self): raise LookupError("no word")"""


def test_a_format_of_which_only_the_remark_breaks_has_written_its_report(site, run, tmp_path):
    site(FAILING.format(REMARK))
    lines = tmp_path / "lines.txt"
    ran = run("--out", f"lines={lines}")
    (failure,) = ran.report["plugin_failures"]
    assert (ran.code, lines.read_bytes()) == (3, b"whole")
    says = 'the format "lines" broke: LookupError: no word; the report itself was written'
    assert unplaced(failure["message"]) == says


def test_a_curve_that_breaks_is_in_the_report_with_its_plugin(site, run, tmp_path):
    site("""
from dataclasses import dataclass
from typing import ClassVar
from qc import Derived

@dataclass(frozen=True)
class Bent(Derived[float]):
    id: ClassVar[str] = "acme.bent"
    @classmethod
    def of(cls, chain): return cls()
    def needs(self): return ()
    def work(self, measured): return 1.0
    def curves(self, result): raise LookupError("no ink")

@hookimpl
def qc_measures():
    return [Bent]
""")
    page = tmp_path / "page.html"
    ran = run("--out", f"html={page}")
    assert ran.code == 3
    (failure,) = ran.report["plugin_failures"]
    assert (failure["plugin"], failure["stage"], failure["side"]) == ("acme", "acme.bent", "A")
    assert "no ink" in failure["message"]
    assert "no ink" in page.read_text()


# -- a plugin that is not needed ---------------------------------------------------------------------------------


def test_a_broken_plugin_that_is_not_needed_is_a_warning_in_every_report(site, run, tmp_path):
    plain = run()
    site(QUIET, BROKEN_FORMATS)
    outs = {name: tmp_path / f"page.{name}" for name in ("text", "html", "junit", "sarif", "sheet")}
    ran = run(*(word for name, path in outs.items() for word in ("--out", f"{name}={path}")))
    assert ran.code == plain.code
    assert (ran.report["verdict"], ran.report["plugin_failures"]) == (plain.report["verdict"], [])
    (warning,) = ran.report["plugin_warnings"]
    assert (warning["plugin"], warning["stage"]) == ("acme", "qc_renderers")
    assert plain.report["plugin_warnings"] == []
    pages = {name: " ".join(path.read_text().split()) for name, path in outs.items()}
    for name in ("text", "html", "junit", "sarif"):
        assert "plugin acme did not load, and nothing here needs it" in pages[name], name
    assert "plugin acme, which did not load and is not needed here" in pages["sheet"]
    (suite,) = [one for one in ET.parse(outs["junit"]).getroot() if one.get("name") == "plugins that are not needed"]
    assert (suite.get("errors"), suite.get("failures")) == ("0", "0")
    (run_,) = json.loads(outs["sarif"].read_text())["runs"]
    assert [row["level"] for row in run_["invocations"][0]["toolExecutionNotifications"]] == ["warning"]
    assert run_["invocations"][0]["executionSuccessful"] is True
    assert "plugin acme did not load, and nothing here needs it" in ran.err


NEEDED = {
    "a check under limits": (QUIET + BROKEN_FORMATS, HOUSE),
    "a check that is off": (
        QUIET + BROKEN_FORMATS,
        HOUSE.replace("limits:\n  acme.quiet: {}", "off: {acme.quiet: no need}"),
    ),
    "its package is required": (
        BROKEN_FORMATS,
        HOUSE.replace("limits:\n  acme.quiet: {}", 'requires: {acme-rules: ">=1"}'),
    ),
    "it takes the report": (BROKEN_FORMATS + "@hookimpl\ndef qc_report_done(report): pass\n", None),
    "it reads deliveries": (BROKEN_FORMATS + "@hookimpl\ndef qc_read_delivery(path): return None\n", None),
    "its hooks are unknown": ("from left_out_gone import *\n", None),
}


@pytest.mark.parametrize("case", NEEDED)
def test_a_broken_plugin_that_is_needed_is_a_failure(case, site, run, tmp_path):
    code, text = NEEDED[case]
    words = []
    if text is not None:
        path = tmp_path / "house.yaml"
        path.write_text(text.replace("acme-12in-33", "house"))
        words = ["--ruleset", str(path)]
    site(code)
    ran = run(*words)
    assert (ran.code, ran.report["plugin_warnings"]) == (3, [])
    assert [failure["plugin"] for failure in ran.report["plugin_failures"]] == ["acme"]


@pytest.mark.parametrize("case", NEEDED)
def test_a_plugin_that_is_needed_cannot_be_switched_off(case, site, run, tmp_path):
    code, text = NEEDED[case]
    words = []
    if text is not None:
        path = tmp_path / "house.yaml"
        path.write_text(text.replace("acme-12in-33", "house"))
        words = ["--ruleset", str(path)]
    site(code)
    ran = run("--without", "acme", *words)
    assert (ran.code, ran.report) == (2, {})
    (line,) = ran.err.splitlines()
    assert line.startswith('sidegate: the plugin "acme" is switched off by --without or SIDEGATE_WITHOUT, and this run')


def test_a_plugin_that_fails_while_it_runs_is_always_a_failure(site, run):
    site("""
from dataclasses import dataclass
from typing import ClassVar
from qc import Derived

@dataclass(frozen=True)
class Bent(Derived[float]):
    id: ClassVar[str] = "acme.bent"
    @classmethod
    def of(cls, chain): return cls()
    def needs(self): return ()
    def work(self, measured): raise LookupError("no table")

@hookimpl
def qc_measures():
    return [Bent]
""")
    ran = run()
    assert (ran.code, [row["stage"] for row in ran.report["plugin_failures"]]) == (3, ["acme.bent"])


# -- switching off -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", ["option", "environment"])
def test_a_plugin_that_is_switched_off_is_not_run(by, site, run, monkeypatch):
    plain = run()
    site(QUIET, "raise RuntimeError('it ran')\n")
    site(QUIET, "raise RuntimeError('it ran')\n", name="bcme")
    if by == "environment":
        monkeypatch.setenv("SIDEGATE_WITHOUT", "acme, bcme")
    ran = run(*(["--without", "acme", "--without", "bcme"] if by == "option" else []))
    assert (ran.code, ran.report["plugin_failures"], ran.report["plugin_warnings"]) == (plain.code, [], [])
    assert outcomes(ran.report) == outcomes(plain.report)
    assert ran.report["plugins"] == plain.report["plugins"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["--without", "acne"],
            'no plugin is called "acne", which --without or SIDEGATE_WITHOUT switches off; did you',
        ),
        (["--without", "standard"], "it is part of sidegate itself"),
        (["--without", "acme", "--ruleset", "acme-12in-33"], 'no ruleset is called "acme-12in-33"'),
        (["--without", "acme", "--out", "lines=lines.txt"], 'the format "lines" may be of this plugin'),
    ],
)
def test_what_cannot_be_switched_off_is_one_sentence_and_exit_2(words, says, site, run):
    put_ruleset(site(RULESETS, FAILING.format(RENDER)))
    ran = run(*words)
    assert (ran.code, ran.report) == (2, {})
    (line,) = ran.err.splitlines()
    assert says in line


@pytest.mark.parametrize("command", ["plan", "explain"])
def test_other_commands_can_do_without_a_plugin_too(command, site, run, tmp_path, capsys):
    run()
    site(QUIET, "raise RuntimeError('it ran')\n")
    words = ["plan", str(tmp_path / "delivery")] if command == "plan" else ["explain", "level.clipped"]
    assert main([*words, "--without", "acme"]) == 0
    assert "acme" not in capsys.readouterr().out


def test_a_plan_warns_of_a_broken_plugin_and_names_one_that_is_asked_for(site, run, tmp_path, capsys):
    run()
    put_ruleset(site(RULESETS, "raise RuntimeError('gone')\n"))
    plan = ["plan", str(tmp_path / "delivery")]
    assert main(plan) == 0
    assert "nothing here needs it" in capsys.readouterr().out
    assert main([*plan, "--ruleset", "acme-12in-33"]) == 3
    assert f"judged by {DISC} instead" in " ".join(capsys.readouterr().out.split())
