"""Completion scripts: they parse, and bash offers what there is."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest

from qc import Renderer, api
from qc.cli.completion import commands
from qc.cli.main import main
from qc.report import registry
from support.command import COMMAND, called
from support.installed import install
from support.plugins import hosted, plugin

SHELLS = {"bash": ["-n"], "zsh": ["-n"], "fish": ["--no-execute"]}


def script(shell):
    code, out, err = called(["completion", shell])
    assert (code, err) == (0, "")
    return out.decode()


@pytest.mark.parametrize("shell", SHELLS)
def test_a_script_names_every_command_and_option(shell):
    text = script(shell)
    assert {one.name for one in commands()} >= {"check", "explain", "completion", "rulesets", "plugins", "schema"}
    for one in commands():
        assert one.name in text
        for option, _ in one.options:
            assert (option if shell != "fish" else f"-l {option[2:]}") in text
    assert "--list" not in [option for one in commands() for option, _ in one.options]


@pytest.mark.parametrize("shell", SHELLS)
def test_a_script_parses(shell, tmp_path):
    path = tmp_path / f"completion.{shell}"
    path.write_text(script(shell))
    if shutil.which(shell) is None:
        pytest.skip(f"there is no {shell}")
    done = subprocess.run([shell, *SHELLS[shell], path], capture_output=True, check=False, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.fixture(scope="module")
def offered(tmp_path_factory):
    """Ask bash what it offers after some words: offered("check", "--st")."""
    if shutil.which("bash") is None:
        pytest.skip("there is no bash")
    folder = tmp_path_factory.mktemp("completion")
    (folder / "script").write_text(script("bash"))
    command = folder / "sidegate"
    command.write_text(f'#!/bin/sh\nexec {" ".join(COMMAND)} "$@"\n')
    command.chmod(0o755)

    def ask(*words):
        quoted = " ".join(f"'{word}'" for word in ("sidegate", *words))
        line = (
            f"source {folder / 'script'}; COMP_WORDS=({quoted}); COMP_CWORD={len(words)}; "
            '_sidegate; printf "%s\\n" "${COMPREPLY[@]}"'
        )
        path = os.pathsep.join([str(folder), os.environ["PATH"]])
        done = subprocess.run(
            ["bash", "-c", line],
            capture_output=True,
            check=False,
            text=True,
            timeout=60,
            env={**os.environ, "PATH": path},
        )
        return done.stdout.split()

    return ask


def test_bash_offers_what_there_is(offered):
    assert {"check", "explain", "--version"} <= set(offered(""))
    assert offered("ch") == ["check"]
    assert offered("check", "--st") == ["--strict"]
    assert sorted(offered("check", "--out", "")) == sorted(f"{name}=" for name in registry.formats())
    assert offered("plan", "--out", "") == ["text=", "json="]
    assert offered("plan", "x", "--disc", "7in") == ["7in-45", "7in-33"]
    assert offered("plan", "--spl") == ["--split"]
    assert "cut.land=" in offered("check", "x", "--chain", "cut.")
    assert offered("schema", "re") == ["report"]
    assert "disc-12in-33" in offered("check", "x", "--ruleset", "disc-12")
    assert offered("rulesets", "di") == ["diff"]
    assert "disc-12in-33@1.0.0" in offered("rulesets", "diff", "disc-12")
    assert "disc-7in-45" in offered("rulesets", "diff", "disc-12in-33", "disc-7")
    assert offered("rulesets", "diff", "a", "b", "--o") == ["--on", "--out"]
    assert offered("rulesets", "diff", "a", "b", "--out", "") == ["text=", "json="]
    assert offered("explain", "groove.drive-too-h") == ["groove.drive-too-high"]
    assert offered("explain", "--asc") == ["--ascii"]


def test_lists_are_plain(tmp_path):
    for what, name in (("rulesets", "disc-12in-33@1.0.0"), ("names", "loudness.integrated"), ("chain", "cut.land=")):
        done = subprocess.run([*COMMAND, "completion", "--list", what], capture_output=True, check=False, timeout=60)
        assert (done.returncode, done.stderr) == (0, b"")
        assert name in done.stdout.decode().splitlines()


def test_a_shell_is_named():
    code, out, err = called(["completion"])
    assert (code, out) == (2, b"")
    assert err == "sidegate: completion: name the shell; there are bash, zsh, fish\n"


def test_plugins_that_can_be_switched_off_are_offered(tmp_path, monkeypatch, capsysbinary):
    install(tmp_path, "acme-rules", "1.0", "acme = acme_that_is_not_imported")
    monkeypatch.syspath_prepend(tmp_path)
    assert main(["completion", "--list", "plugins"]) == 0
    assert "acme" in capsysbinary.readouterr().out.decode().split()
    monkeypatch.setenv("SIDEGATE_WITHOUT", "acme")
    assert main(["completion", "--list", "names"]) == 0
    assert "sarif" in capsysbinary.readouterr().out.decode().split()


class Chart(Renderer):
    """A format of a house."""

    name = "acme-chart"

    def render(self, report, evidence, out):
        out.write(b"")


def test_the_formats_of_plugins_are_offered(monkeypatch, capsysbinary):
    host = hosted({"acme": plugin(qc_renderers=[Chart])})
    monkeypatch.setattr(api, "build_host", lambda *_: host)
    assert main(["completion", "--list", "formats"]) == 0
    formats = capsysbinary.readouterr().out.decode().split()
    assert formats == [*(f"{name}=" for name in registry.formats()), "acme-chart="]
    for shell in SHELLS:
        assert "sidegate completion --list formats" in script(shell)
