"""Plugins that did not load or are switched off: what their source shows, and that none of their code runs."""

from importlib.metadata import EntryPoint

import pytest

from qc.plugin_host.finder import InstalledPlugin
from qc.plugin_host.host import Host, Plugin
from qc.plugin_host.names import PROJECT
from qc.plugin_host.outline import outlined_hooks
from support.plugins import check, plugin

CHECKS = "@hookimpl\ndef qc_checks():\n    return []\n"


def entry(value):
    return EntryPoint("acme", value, "sidegate.plugins")


def installed(value, package="acme-rules"):
    return InstalledPlugin("acme", package, "1.0", entry(value))


@pytest.mark.parametrize(
    ("name", "code", "hooks"),
    [
        ("plain", CHECKS + "raise RuntimeError", ("qc_checks",)),
        ("imported", "from elsewhere import qc_report_done, gone as qc_rulesets\n", ("qc_rulesets", "qc_report_done")),
        ("renamed", "@hookimpl(specname='qc_read_delivery')\ndef read(path): ...\n", ("qc_read_delivery",)),
        ("assigned", "qc_renderers = hookimpl(print)\n", ("qc_renderers",)),
        ("none", "x = 1\n", ()),
        ("star", "from elsewhere import *\n", None),
        ("dynamic", "setattr(here, 'qc_' + 'checks', 1)\n", None),
        ("misspelt", "def qc_report_dnoe(report): ...\n", None),
        ("unreadable", "def (:\n", None),
    ],
)
def test_the_source_shows_the_hooks_without_being_run(name, code, hooks, tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / f"outlined_{name}.py").write_text(code)
    assert outlined_hooks(entry(f"outlined_{name}")) == hooks


def test_a_module_in_a_package_is_found_without_importing_the_package(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "outlined_package").mkdir()
    (tmp_path / "outlined_package" / "__init__.py").write_text("raise SystemExit\n")
    (tmp_path / "outlined_package" / "hooks.py").write_text(CHECKS)
    assert outlined_hooks(entry("outlined_package.hooks")) == ("qc_checks",)
    assert outlined_hooks(entry("outlined_package.gone")) is None
    assert outlined_hooks(entry("outlined_package.hooks:object")) is None
    assert outlined_hooks(entry("no_such_module_at_all")) is None


def test_no_code_of_a_plugin_that_is_switched_off_runs(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "switched_off.py").write_text(CHECKS + "raise SystemExit('it ran')\n")
    host = Host.build([installed("switched_off")], without=["acme"])
    assert (host.plugins, host.failures) == ((), [])
    assert host.without == (Plugin("acme", "acme-rules", "1.0", ("qc_checks",)),)


def test_a_plugin_that_does_not_import_is_described_by_its_source(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "does_not_import.py").write_text("def qc_rulesets(): ...\nraise RuntimeError('no')\n")
    (left_out,) = Host.build([installed("does_not_import")]).plugins
    assert (left_out.hooks, left_out.folders) == (("qc_rulesets",), None)
    assert left_out.error is not None


def test_the_rulesets_of_a_plugin_with_a_broken_check_are_known_and_not_among_the_others(tmp_path):
    acme = plugin(qc_checks=[check("")], qc_rulesets=tmp_path)
    host = Host.build((), extra=[("acme", acme)])
    assert host.ruleset_folders == ()
    (left_out,) = host.plugins
    assert (left_out.folders, left_out.hooks) == ((tmp_path,), ("qc_checks", "qc_rulesets"))


@pytest.mark.parametrize("breaking", ["qc_checks", "qc_rulesets", "qc_renderers"])
def test_a_plugin_is_asked_for_its_rulesets_once(breaking, tmp_path):
    calls = []

    def qc_rulesets():
        calls.append(1)
        return tmp_path

    hooks = {"qc_rulesets": qc_rulesets}
    if breaking == "qc_rulesets":
        tmp_path = 3
    else:
        hooks[breaking] = 3
    (left_out,) = Host.build((), extra=[("acme", plugin(**hooks))]).plugins
    assert left_out.error is not None
    assert (left_out.folders, calls) == (None if breaking == "qc_rulesets" else (tmp_path,), [1])


def test_the_folders_of_the_tool_itself_come_first(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    for name in ("abc", "own"):
        (tmp_path / name).mkdir()
        code = "from pathlib import Path\nfrom qc import hookimpl\n@hookimpl\ndef qc_rulesets():\n    return "
        (tmp_path / f"folder_first_{name}.py").write_text(f"{code}Path({str(tmp_path / name)!r})\n")
    found = [
        InstalledPlugin("abc", "acme", "1.0", entry("folder_first_abc")),
        InstalledPlugin("own", PROJECT, "1.0", entry("folder_first_own")),
    ]
    assert Host.build(found).ruleset_folders == (tmp_path / "own", tmp_path / "abc")
