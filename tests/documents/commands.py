"""Every command that a page shows: run, or read by the parser that it has, or named with where CI runs it.

To teach it another programme, add a function to PROGRAMMES. To have a command left to CI, add it to LEFT_TO_CI.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import io
import re
import runpy
import shlex
import sys
from importlib.util import find_spec
from itertools import pairwise
from unittest import mock

import pytest

from documents.bench import in_the_sources
from documents.pages import ROOT, read
from qc.cli.main import parser

LEFT_TO_CI = {
    "python3 -m venv .venv": "makes an environment",
    ".venv/bin/pip install -q -e .": "installs",
    ".venv/bin/sidegate demo": "takes half a minute",
    ".venv/bin/pip install -q -e '.[test]'": "installs",
    ".venv/bin/pip install -q -e '.[dev]'": "installs",
    '.venv/bin/python -m pytest -q -n auto --dist loadfile -m "not long"': "takes minutes",
    ".venv/bin/python -m pytest -q -n auto --dist worksteal -m long": "takes minutes",
    ".venv/bin/ruff check .": "looks at everything",
    ".venv/bin/ruff format --check .": "looks at everything",
    ".venv/bin/mypy": "looks at everything",
    "PYTHONPATH=tests .venv/bin/lint-imports": "looks at everything",
}
"""command -> why it is not run here; .ci/run has each of them word for word, or runs the README's block that has"""

LEFT_TO_PEOPLE = {
    ".venv/bin/python tests/benchmarks/stages.py /tmp/sides/wav-96000-22 1": "renders and hears 22 minutes of music",
    ".ci/run": "it is what CI runs",
    ".venv/bin/python tests/picture.py": "makes the picture; tests/demo/test_words.py holds it to what is printed",
}
"""command -> why nobody but people run it; what it runs is there"""

LEFT_TO_THE_EXAMPLE = {
    "pip install -e '.[test]'": ('"$clean/pip" install -q .ci/wheel/lowtide_rules-*.whl', "installs"),
    "pytest": ('cp -r examples/house_rules "$elsewhere/house_rules"', "needs the example installed"),
    "sidegate check DELIVERY --ruleset lowtide-12in-33 --out text=- --out timecodes=findings.tsv": (
        '"$clean/python" .ci/house_rules.py',
        "needs the example installed",
    ),
}
"""command of the example's page -> the line of .ci/run that does as much with its wheel, and why it is not run here"""

NOT_HERE = {
    "demo": "the tests of the demo run it",
    "listen": "tests/cli/test_listen.py runs it on a longer side",
    "where": "tests/cli/test_where.py runs it on a longer side",
}
"""command of sidegate -> why it is only read by the parser here"""


def ci():
    """Give what CI runs, with the README's blocks that it takes word for word."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    shown = [block.text for block in read("README.md").blocks if block.language == "sh"]
    return re.sub(r'"\$\(block (\d+)\)"', lambda match: shown[int(match[1]) - 1], script)


def try_line(line, bench):
    """Try a line of shell; gives a sentence for each of its commands."""
    return [_try(command, bench) for command in _commands(line)]


def _commands(line):
    """Split a line at && and ;, and leave its remark out."""
    words = shlex.shlex(line, posix=False, punctuation_chars="&;|<>")
    words.whitespace_split, words.commenters = True, "#"
    found = [[]]
    for word in words:
        if word in {"&&", ";"}:
            found.append([])
        else:
            assert not set(word) <= set("&;|<>"), f"{line}: {word} is not tried here; write a line without it"
            found[-1].append(word)
    return [" ".join(words) for words in found if words]


def _try(command, bench):
    if command in LEFT_TO_CI:
        found = re.search(rf"(^|&& |\s){re.escape(command)}(\s|$)", ci(), flags=re.MULTILINE)
        assert found, f"CI does not run {command} word for word"
        return f"left to CI, which runs it word for word: {command} ({LEFT_TO_CI[command]})"
    if command in LEFT_TO_THE_EXAMPLE:
        line, why = LEFT_TO_THE_EXAMPLE[command]
        assert line in ci(), f"CI does nothing for {command}"
        return f"left to CI, which does it with the example's wheel: {command} ({why})"
    words = shlex.split(command)
    while words and re.fullmatch(r"[A-Z_]+=.*", words[0]):
        words.pop(0)
    if command in LEFT_TO_PEOPLE:
        in_the_sources(next(word for word in words if "/" in word and not word.startswith(".venv/")))
        return f"left to people: {command} ({LEFT_TO_PEOPLE[command]})"
    programme = words[0].removeprefix(".venv/bin/")
    assert programme in PROGRAMMES, f"{programme} is not known; teach tests/documents/commands.py to try it"
    return PROGRAMMES[programme](words[1:], bench)


def sidegate(words, bench):
    """Run a command of the tool in the bench's folder, over the small delivery."""
    asked = parsed(parser(), words)
    shown = f"sidegate {' '.join(words)}"
    if asked.command in NOT_HERE:
        return f"read by the parser: {shown} ({NOT_HERE[asked.command]})"
    bench.run(words, asked)
    return f"run: {shown}"


def python(words, bench):
    """Read the words by the parser of the module or script, and run what writes into a folder that is named."""
    shown = f"python {' '.join(words)}"
    if words[:2] == ["-m", "pytest"]:
        return _tests_there(words[2:], shown)
    if words[0] == "-m":
        return _module(words[1], words[2:], bench, shown)
    script = in_the_sources(words[0])
    path = [str(script.parent), *sys.path]  # as python itself would have it
    with mock.patch.object(sys, "argv", words), mock.patch.object(sys, "path", path), _stopped_once_parsed():
        runpy.run_path(str(script), run_name="__main__")
        pytest.fail(f"{shown}: it has no parser that could be asked; name it in LEFT_TO_PEOPLE")
    return f"read by the parser of the script: {shown}"


def _tests_there(words, shown):
    """See that every file, folder and test that pytest is given is there."""
    options = {"-m", "-k", "-n"}
    named = [word for before, word in pairwise(["", *words]) if before not in options and not word.startswith("-")]
    assert named, f"{shown} is everything; leave it to CI"
    for name in named:
        path, _, test = name.partition("::")
        place = in_the_sources(path)
        text = place.read_text(encoding="utf-8") if test else ""
        assert not test or f"def {test.partition('[')[0]}(" in text, f"{path} has no {test}"
    return f"paths are there: {shown}"


def _module(name, words, bench, shown):
    assert find_spec(name), f"there is no module {name}"
    home = importlib.import_module(f"{name}.__main__" if find_spec(name).submodule_search_locations else name)
    if not hasattr(home, "parser"):
        assert not words, f"{shown}: the module takes no words"
        assert callable(home.main)
        return f"the module is there, and takes no words: {shown}"
    asked = parsed(home.parser(), words)
    if getattr(asked, "folder", None) is None:
        return f"read by the parser of the module: {shown}"
    with contextlib.chdir(bench.folder), contextlib.redirect_stderr(io.StringIO()) as err:
        assert home.main(words) == 0, err.getvalue()
    return f"run: {shown}"


def meter(words, _bench):
    """See that the benchmark runs the meter as the page says."""
    benchmark = (ROOT / "tests" / "benchmarks" / "run.py").read_text(encoding="utf-8")
    told = [word for word in words if word not in {"SIDE", "-i"}]
    assert all(f'"{word}"' in benchmark for word in told), told
    return f"as the benchmark runs it: ffmpeg {' '.join(words)}"


PROGRAMMES = {"sidegate": sidegate, "python": python, "python3": python, "ffmpeg": meter}
"""first word of a command -> how it is tried"""


class _ParsedError(Exception):
    """The script's parser was content, and the script goes no further."""


@contextlib.contextmanager
def _stopped_once_parsed():
    whole = argparse.ArgumentParser.parse_args

    def stop(by, *_):
        parsed(by, None, whole)
        raise _ParsedError

    with mock.patch.object(argparse.ArgumentParser, "parse_args", stop), contextlib.suppress(_ParsedError):
        yield


def parsed(by, words, parse=argparse.ArgumentParser.parse_args):
    """Read words by a parser; one that refuses them fails the test with its own sentence."""
    with contextlib.redirect_stderr(io.StringIO()) as err:
        try:
            return parse(by, words)
        except SystemExit:
            pytest.fail(err.getvalue() or f"{by.prog} ends at once")


# -- in the prose ----------------------------------------------------------------------------------------------


def try_span(span, bench):
    """Try what stands in fixed type in the prose; gives None for what is no command and no option."""
    first = span.split(maxsplit=1)[0] if span.strip() else ""
    if first == "sidegate" or (first.startswith("--") and len(first) > 2):
        words = shlex.split(span)
        return _option(words) if first != "sidegate" else _in_prose(words[1:], bench)
    if first.removeprefix(".venv/bin/") in PROGRAMMES and " " in span:
        return _try(span, bench)
    return None


def _in_prose(words, bench):
    commands = subcommands()
    if not words or words[0] == "--version":
        return "the tool itself"
    assert words[0] in commands, f"sidegate has no command {words[0]}"
    if len(words) == 1 and words[0] not in {"rulesets", "plugins"}:
        return f"a command there is: sidegate {words[0]}"
    asked = parsed(parser(), words)
    if words[0] == "init":
        with_audio = all((bench.folder / one).exists() for one in asked.audio)
        (bench.folder / "delivery.yaml").unlink(missing_ok=True)
        return sidegate(words, bench) if with_audio else f"read by the parser: sidegate {' '.join(words)}"
    if any(word.isupper() for word in words[1:]) and words[0] in {"explain", "rulesets", "test"}:
        return f"read by the parser: sidegate {' '.join(words)}"
    return sidegate(words, bench)


def _option(words):
    takes = [one for command in _all_commands() for one in command._actions if words[0] in one.option_strings]
    takes += [action for action in _module_options() if words[0] in action.option_strings]
    assert takes, f"no command has an option {words[0]}"
    values = words[1:]
    assert not values or any(action.nargs is None or action.nargs == 1 for action in takes), " ".join(words)
    return f"an option there is: {words[0]}"


def subcommands():
    (choices,) = [one.choices for one in parser()._actions if isinstance(one, argparse._SubParsersAction)]
    return choices


def _all_commands():
    """Every command, and those under one, as `rulesets diff`."""
    waiting = [parser()]
    while waiting:
        command = waiting.pop()
        yield command
        several = [one for one in command._actions if isinstance(one, argparse._SubParsersAction)]
        waiting += [under for one in several for under in one.choices.values()]


def _module_options():
    return importlib.import_module("qc.rulebook.__main__").parser()._actions
