"""Whatever a plugin does at whatever place: it is named with file and line, and everything else is as without it."""

from __future__ import annotations

import re
from importlib.metadata import EntryPoint

import pytest

from qc import api
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.host import Host
from qc.plugin_host.names import GROUP
from support.misbehaving import DEEDS, PLACES, WRITING, Impatient, house, limits, name_of
from support.plugin_runs import judged_as_without
from support.plugins import hosted

LINE = re.compile(r" \(([a-z_]+/)?misbehaving\.py:\d+\)")
LATE = {"advise", "curves", "qc_read_delivery", "qc_report_done", *WRITING}
"""places at which the house's check has been judged, or is not concerned"""
UNLOADED = {"qc_checks", "qc_measures", "qc_rulesets", "qc_renderers"}


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
