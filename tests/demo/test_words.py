"""What the command says: as the README shows it, and only of commands that there are."""

import re
import shlex
from pathlib import Path

import pytest

from picture import PAGE, PICTURE, comment_of, text_of, words_of
from qc.cli.main import parser

ROOT = Path(__file__).resolve().parents[2]


def test_the_readme_shows_what_the_demo_prints(demo):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"^```text\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    assert demo.out in shown


def test_the_picture_shows_what_check_prints(demo):
    """python tests/picture.py makes it anew."""
    assert comment_of(PICTURE.read_bytes()) == text_of(demo.made.report)


def test_the_picture_of_the_page_has_the_words_of_today(demo):
    """python tests/picture.py makes it anew."""
    assert comment_of(PAGE.read_bytes()) == words_of(demo.made.report)


def test_it_prints_where_each_fault_is(demo):
    lines = demo.out.splitlines()
    assert max(map(len, lines)) <= 96
    for fault in demo.made.planted:
        (line,) = [line for line in lines if line.endswith(fault.check)]
        assert line.strip().startswith("B ")
        if fault.start is not None:
            start = int(fault.start)
            assert f"{start // 60}:{start % 60:02d}" in line


def test_the_commands_it_names_are_understood(demo):
    named = [line.strip().split("  ")[0] for line in demo.out.splitlines() if line.strip().startswith("sidegate ")]
    assert len(named) >= 3
    for command in named:
        words = parser().parse_args(shlex.split(command)[1:])
        assert words.command in command


@pytest.mark.parametrize(("words", "folder"), [(["demo"], "sidegate-demo"), (["demo", "x"], "x")])
def test_the_folder_has_a_default(words, folder):
    assert parser().parse_args(words).folder == folder


def test_nothing_is_said_but_what_is_going_on(demo):
    assert [line.split(":")[0] for line in demo.err.splitlines()] == ["sidegate"] * len(demo.err.splitlines())
    assert "making a 7-inch single" in demo.err.splitlines()[0]
