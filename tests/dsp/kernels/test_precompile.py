"""Compiling before the first side: the folder is complete only when both parts ended, and no plugin can hold it up."""

import sys

import pytest

from qc.dsp.kernels.cache import KernelCache
from qc.measure import precompile
from qc.plugin_host.host import Host
from support.plugins import need, plugin


@pytest.fixture
def ended(tmp_path, monkeypatch):
    """Precompile with a script as the other process: whether the folder is complete, and its part done here too."""
    folder = KernelCache(tmp_path / "kernels", persistent=True)
    monkeypatch.setattr(precompile, "opened", lambda: folder)
    monkeypatch.setattr(precompile, "default_workers", lambda: 2)
    monkeypatch.setattr(precompile, "_groove", lambda: None)
    here = []
    monkeypatch.setattr(precompile, "_motion_and_needs", lambda *words: here.append(words))
    monkeypatch.setattr(precompile, "MOST_S", 1.0)

    def run(script):
        program = tmp_path / "python"
        program.write_text(f"#!/bin/sh\n{script}\n")
        program.chmod(0o700)
        monkeypatch.setattr(sys, "executable", str(program))
        precompile.precompile(Host.build(()))
        return KernelCache(folder.folder, persistent=True).complete, bool(here)

    return run


@pytest.mark.parametrize(("script", "complete"), [("exit 0", True), ("exit 1", False), ("exec sleep 100", False)])
def test_the_folder_is_complete_only_if_the_other_process_ended_well(ended, script, complete):
    assert ended(script) == (complete, True)


def test_needs_of_other_plugins_are_left_out():
    quietness = need(publishes={})
    host = Host.build(extra=[("house", plugin(qc_measures=[quietness]))])
    own = precompile.own_needs(host)
    assert quietness in host.needs
    assert own
    assert all(name.startswith("qc_standard.") for name in own)
