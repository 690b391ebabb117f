"""What stdout is decides how wide a report is and whether it has colours; the words decide how much is told."""

from __future__ import annotations

import argparse
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from qc.cli import terminal
from support.command import COMMAND


class Out:
    def __init__(self, tty):
        self.isatty = lambda: tty


def words(**more):
    return argparse.Namespace(**({"quiet": False, "verbose": False, "ascii": False, "only_new": False} | more))


@pytest.fixture
def out(monkeypatch):
    def be(*, tty, columns="", **env):
        monkeypatch.setattr(terminal, "requested", lambda: Out(tty))
        monkeypatch.setenv("TERM", "xterm")
        monkeypatch.delenv("NO_COLOR", raising=False)
        for name, value in (env | {"COLUMNS": columns}).items():
            monkeypatch.setenv(name, value)

    return be


def test_a_terminal_is_as_wide_as_it_is(out):
    out(tty=True, columns="77")
    text = terminal.text(words(), None)
    assert (text.width, text.colour, text.detail) == (77, True, "usual")
    out(tty=True, columns="20")
    assert terminal.text(words(), None).width == 60
    out(tty=True, columns="400")
    assert terminal.text(words(), None).width == 120


def test_no_colour_where_nobody_wants_it(out):
    for env in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
        out(tty=True, columns="80", **env)
        assert not terminal.text(words(), None).colour
    out(tty=True, columns="80", NO_COLOR="")
    assert terminal.text(words(), None).colour


def test_a_pipe_and_a_file_are_plain_pages(out):
    out(tty=False, columns="77")
    text = terminal.text(words(), None)
    assert (text.width, text.colour) == (96, False)
    out(tty=True, columns="77")
    text = terminal.text(words(quiet=True, ascii=True), Path("report.txt"))
    assert (text.width, text.colour, text.detail, text.ascii_only) == (96, False, "quiet", True)


def test_rich_is_not_imported_before_somebody_reads():
    line = "import sys, qc.cli.check, qc.report.text.report, qc.report.sheet.renderer; sys.exit('rich' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", line], check=False, timeout=60).returncode == 0


def test_colour_on_a_real_terminal():
    ours, theirs = pty.openpty()
    env = {**os.environ, "TERM": "xterm", "COLUMNS": "80"} | {"NO_COLOR": ""}
    with subprocess.Popen([*COMMAND, "explain", "level.true_peak"], stdout=theirs, env=env) as running:
        assert running.wait(timeout=60) == 0
    os.close(theirs)
    said = os.read(ours, 65536).decode()
    os.close(ours)
    assert "\x1b[1m" in said


def test_how_much_is_told(bench):
    bench.deliver()
    usual = bench.run("check", bench.folder).out.decode()
    quiet = bench.run("check", bench.folder, "--quiet").out.decode()
    verbose = bench.run("check", bench.folder, "--verbose").out.decode()
    assert len(quiet.splitlines()) < len(usual.splitlines()) < len(verbose.splitlines())
    assert quiet.splitlines()[0] == usual.splitlines()[0] == verbose.splitlines()[0]
    assert "loudness.momentary_max" in verbose
    assert bench.run("check", bench.folder, "--ascii", "--verbose").out.isascii()


def test_the_sheet_goes_by_its_suffix(bench):
    bench.deliver()
    for name, begins in (("sheet.md", "# Quiet Harbour, side A"), ("sheet.html", "<!DOCTYPE html>")):
        ran = bench.run("check", bench.folder, "--out", f"sheet={bench.output / name}")
        assert ran.out == b""
        assert (bench.output / name).read_text(encoding="utf-8").startswith(begins)
    assert bench.run("check", bench.folder, "--out", "sheet=-").out.startswith(b"# Quiet Harbour, side A")
