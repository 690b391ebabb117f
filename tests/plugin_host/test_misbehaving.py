"""Whatever a plugin does at whatever place: it is named with file and line, and everything else is as without it."""

from __future__ import annotations

import json
import re
from importlib.metadata import EntryPoint

import numpy as np
import pytest
from lxml import etree

from qc import api
from qc.cli.main import main
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.host import Host
from qc.plugin_host.names import GROUP
from qc.testing.deliveries import Sent, deliver
from support.command import SCHEMA
from support.houses import SHIPPED_12IN_33
from support.misbehaving import DEEDS, PLACES, WRITING, Impatient, hosted, house, limits, name_of, own_check

LINE = re.compile(r" \(([a-z_]+/)?misbehaving\.py:\d+\)")
LATE = {"advise", "curves", "qc_read_delivery", "qc_report_done", *WRITING}
"""places at which the house's check has been judged, or is not concerned"""
UNLOADED = {"qc_checks", "qc_measures", "qc_rulesets", "qc_renderers"}
FORMATS = {"json": "r.json", "junit": "r.xml", "sarif": "r.sarif"}


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    t = np.arange(14_400) / 48_000.0
    x = 0.1 * np.vstack([np.sin(2 * np.pi * 440.0 * t), np.sin(2 * np.pi * 550.0 * t)])
    return deliver(tmp_path_factory.mktemp("d") / "delivery", {"A": Sent(x)})


class Ran:
    """One run of the command: exit code, streams, and the reports that were written."""

    def __init__(self, code, out, err, folder):
        self.code, self.out, self.err, self.folder = code, out, err, folder
        self.report = json.loads((folder / "r.json").read_text())

    def own(self, name):
        return next(r for r in self.report["results"] if r["check"] == own_check(name))

    def numbers(self, names):
        """Every outcome, finding and number that is none of some plugins'."""

        def is_other(key):
            return key.partition(".")[0] not in names

        (side,) = self.report["sides"]
        measured = {key: value for key, value in side["measurements"].items() if is_other(key)}
        results = {r["check"]: (r["outcome"], r["measured"], found(r)) for r in self.report["results"]}
        return measured, {key: value for key, value in results.items() if is_other(key)}, side["levels"]


def found(result):
    """The findings of a check; the line of the limit depends on the lines above it."""
    return [finding | {"limit": {**(finding["limit"] or {}), "origin": ""}} for finding in result["findings"]]


def ran(host, delivery, folder, lines, capsysbinary, *words):
    """Judge the delivery with a host, by the shipped ruleset and some more limits, and write reports."""
    path = folder / "house.yaml"
    path.write_text(SHIPPED_12IN_33.read_text(encoding="utf-8").replace("limits:\n", f"limits:\n{lines}\n", 1))
    outs = [word for name, file in FORMATS.items() for word in ("--out", f"{name}={folder / file}")]
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(api, "build_host", lambda *_: host)
        code = main(["check", str(delivery), "--ruleset", str(path), "--no-cache", *outs, *words])
    out, err = capsysbinary.readouterr()
    assert b"Traceback" not in err
    assert b"the tool itself failed" not in err
    return Ran(code, out, err.decode(), folder)


@pytest.fixture
def run(delivery, tmp_path, capsysbinary):
    return lambda host, lines, *words: ran(host, delivery, tmp_path, lines, capsysbinary, *words)


@pytest.fixture
def alone(run):
    """What is judged without any plugin of a house."""
    return run(hosted({}), "").numbers(())


def judged_as_without(report, names, alone):
    """The reports are valid, and whatever is none of some plugins' is as without them."""
    assert SCHEMA.is_valid(report.report)
    assert report.numbers(names) == alone
    etree.parse(report.folder / "r.xml")
    assert json.loads((report.folder / "r.sarif").read_text())["version"] == "2.1.0"


@pytest.fixture
def impatient():
    runner = Impatient()
    yield runner
    runner.release()


@pytest.mark.parametrize("deed", [*DEEDS, "never ends"])
def test_a_plugin_for_each_place_is_named_with_its_line_and_all_else_is_judged(deed, run, alone, tmp_path, impatient):
    places = {name_of(place): place for place in PLACES}
    does, runner = (impatient.hang, impatient) if deed == "never ends" else (DEEDS[deed], None)
    host = hosted({name: house(place, does) for name, place in places.items()}, runner)
    words = [word for place in WRITING for word in ("--out", f"{name_of(place)}={tmp_path / name_of(place)}")]
    report = run(host, limits(places), *words)
    assert report.code == 3
    judged_as_without(report, places, alone)
    failures = {failure["plugin"]: failure["message"] for failure in report.report["plugin_failures"]}
    assert set(places) == set(failures)
    assert {name: message for name, message in failures.items() if not LINE.search(message)} == {}
    for name, place in places.items():
        assert report.own(name)["outcome"] == ("warn" if place in LATE else "error"), place
        assert re.search(f"{name}.*misbehaving.py", report.err)
    for place in WRITING:
        assert (tmp_path / name_of(place)).exists() == (place == "remark")


def test_a_plugin_that_misbehaves_while_it_is_imported_is_named_with_its_line(run, alone, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    entries = {}
    for number, deed in enumerate(DEEDS):
        module, name = f"imported_{number}", f"imported-{number}"
        (tmp_path / f"{module}.py").write_text(
            f"from support.misbehaving import RAISED\nraise RAISED[{deed!r}]('of its own')\n"
            "@hookimpl\ndef qc_checks(): return []\n"
        )
        entries[name] = InstalledPlugin(name, "", "", EntryPoint(name, module, GROUP))
    host = Host.build([*find(), *entries.values()], core=api.units(()), formats=api.FORMATS)
    report = run(host, limits(entries))
    assert report.code == 3
    judged_as_without(report, entries, alone)
    failures = {failure["plugin"]: failure["message"] for failure in report.report["plugin_failures"]}
    for number, name in enumerate(entries):
        assert f"of its own (imported_{number}.py:2)" in failures[name]
        assert report.own(name)["outcome"] == "error"


def test_houses_that_behave_are_judged_like_the_others(run, alone):
    report = run(hosted({"own": house("", DEEDS["SystemExit"], "own")}), limits(["own"]))
    assert (report.code, report.own("own")["outcome"]) == (0, "warn")
    judged_as_without(report, {"own"}, alone)
