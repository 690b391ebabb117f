"""Where rulesets lie, told without loading any check."""

from importlib.metadata import EntryPoint
from pathlib import Path

import qc_rulesets
from qc.plugin_host.finder import InstalledPlugin, find
from qc.plugin_host.folders import ruleset_folders
from qc.plugin_host.host import Host


def entry(name, module, package="acme"):
    return InstalledPlugin(name, package, "1.0", EntryPoint(name, module, "sidegate.plugins"))


def plugin(folder, name, code):
    (folder / f"{name}.py").write_text(f"from pathlib import Path\nfrom qc import hookimpl\n{code}")


def test_the_folders_are_those_that_a_run_has():
    assert ruleset_folders() == Host.build().ruleset_folders
    assert Path(str(qc_rulesets.qc_rulesets())) in ruleset_folders()


def test_they_come_in_the_order_of_the_plugins_and_a_broken_one_brings_none(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    for name in ("zed", "abc"):
        (tmp_path / name).mkdir()
        folder = f"    return [Path({str(tmp_path / name)!r})]\n"
        plugin(tmp_path, f"folders_{name}", f"@hookimpl\ndef qc_rulesets():\n{folder}")
    plugin(tmp_path, "folders_raises", "raise RuntimeError('no')\n")
    plugin(tmp_path, "folders_misspelt", "@hookimpl\ndef qc_ruleset():\n    return []\n")
    names = ("zed", "raises", "abc", "misspelt")
    found = [entry(name, f"folders_{name}") for name in names] + [entry("zed", "folders_abc", "other")]
    assert ruleset_folders(found) == (tmp_path / "abc", tmp_path / "zed")
    assert Host.build(found).ruleset_folders == (tmp_path / "abc", tmp_path / "zed")


def test_every_installed_plugin_is_asked():
    assert {one.name for one in find()} >= {"standard", "rulesets"}
