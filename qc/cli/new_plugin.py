"""`sidegate new-plugin`: write a package with house rules to begin with, which passes its own tests."""

from __future__ import annotations

import argparse
import importlib.util
import keyword
import os
import shlex
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from packaging.version import Version

import qc
from qc.cli.streams import say
from qc.files.atomic_write import settle, unfinished_folder
from qc.model.errors import OutputError, UsageError
from qc.model.names import PLUGIN_NAME
from qc.plugin_host.finder import find
from qc.text.sanitize import shown

DRAFTED = "drafted_plugin"
"""Folder of the template files, each with ".txt" after its name."""
NAME, MODULE = "drafted-rules", "drafted_rules"
"""Placeholders for the name in the templates and their paths."""
PIN = "sidegate>=LOWEST,<BEYOND"
"""Placeholder for the versions of sidegate that a plugin written today fits."""
LONGEST = 32
"""Characters of a name."""


def new_plugin(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    name, folder = _usable(words.name), Path(words.out or words.name)
    _refuse(folder)
    _write(name, folder)
    install = f"pip install -e {shlex.quote(f'{folder}[test]')}"
    say(f"wrote {shown(str(folder))}: checks, a ruleset and tests; now {shown(install, 500)}, and run pytest in it")
    return 0


def module_of(name: str) -> str:
    """Return the name of a plugin's Python module."""
    return name.replace("-", "_")


def _usable(name: str) -> str:
    """Return the name if a package, module, plugin and area of checks can have it; raises UsageError if not."""
    prefix = f"new-plugin: {shown(name)}"
    if PLUGIN_NAME.fullmatch(name) is None or len(name) > LONGEST:
        raise UsageError(
            f"{prefix} is no name for a plugin; write small letters, digits and single hyphens, at most {LONGEST}, "
            "such as harbour-rules"
        )
    if keyword.iskeyword(name):
        raise UsageError(f"{prefix} is a word of Python itself; choose another name")
    for plugin in find():
        if name == plugin.name:
            raise UsageError(f"{prefix} is already the name of the {plugin.shown}; choose another name")
    if name == "sidegate" or importlib.util.find_spec(module_of(name)) is not None:
        raise UsageError(f"{prefix} would hide a Python module of that name; choose another name, such as {name}-rules")
    return name


def _refuse(folder: Path) -> None:
    """Raise UsageError if the folder exists or cannot be created."""
    if os.path.lexists(folder):
        raise UsageError(
            f"new-plugin: {shown(str(folder))} is there already and is left as it is; name another with --out"
        )
    parent = folder.absolute().parent
    if not parent.is_dir():
        raise UsageError(f"new-plugin: there is no folder {shown(str(folder.parent))}; make it first")
    if not os.access(parent, os.W_OK | os.X_OK):
        raise UsageError(
            f"new-plugin: the folder {shown(str(folder.parent))} may not be written; name another with --out"
        )


def _write(name: str, folder: Path) -> None:
    """Write a temporary folder and rename it; raises OutputError, and then leaves nothing behind."""
    try:
        with unfinished_folder(folder.absolute().parent) as unfinished:
            _copy(files("qc") / DRAFTED, unfinished, name)
            settle(unfinished)
            if os.path.lexists(folder):
                raise FileExistsError(0, "it exists by now")
            unfinished.rename(folder)
    except OSError as error:
        raise OutputError(f"{shown(str(folder))} cannot be written: {error.strerror}; name another place") from None


def _copy(drafted: Traversable, folder: Path, name: str) -> None:
    """Copy a folder of template files under the name of the plugin."""
    for entry in drafted.iterdir():
        to = folder / _named(entry.name, name).removesuffix(".txt")
        if entry.is_dir():
            to.mkdir()
            _copy(entry, to, name)
        elif entry.name.endswith(".txt"):
            to.write_text(_named(entry.read_text(encoding="utf-8"), name), encoding="utf-8")


def _named(text: str, name: str) -> str:
    return text.replace(NAME, name).replace(MODULE, module_of(name)).replace(PIN, pin(qc.__version__))


def pin(version: str) -> str:
    """Return the versions that a plugin written for one fits: what is public stays through the next minor version."""
    release = Version(version)
    return f"sidegate>={release.major}.{release.minor},<{release.major}.{release.minor + 2}"
