"""`sidegate new-plugin`: write a package with a house's rules to begin with, one that passes its own tests."""

from __future__ import annotations

import argparse
import importlib.util
import keyword
import os
import shlex
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from qc.cli.streams import say
from qc.files.atomic_write import settle, unfinished_folder
from qc.model.errors import OutputError, UsageError
from qc.model.names import PLUGIN_NAME
from qc.plugin_host.finder import find
from qc.text.sanitize import shown

DRAFTED = "drafted_plugin"
"""Folder of this package that holds the files, each with ".txt" behind its name."""
NAME, MODULE = "drafted-rules", "drafted_rules"
"""What stands for the name in them, in paths too."""
LONGEST = 32
"""Characters of a name."""


def new_plugin(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for what cannot be used, and then nothing is written."""
    name, folder = _usable(words.name), Path(words.out or words.name)
    _refuse(folder)
    _write(name, folder)
    install = f"pip install -e {shlex.quote(f'{folder}[test]')}"
    say(f"wrote {shown(str(folder))}: a check, a ruleset and tests; now {shown(install, 500)}, and run pytest in it")
    return 0


def module_of(name: str) -> str:
    """Give the Python module of a plugin."""
    return name.replace("-", "_")


def _usable(name: str) -> str:
    """Give the name if it can be that of a package, a module, a plugin and the area of a check; else UsageError."""
    told = f"new-plugin: {shown(name)}"
    if PLUGIN_NAME.fullmatch(name) is None or len(name) > LONGEST:
        raise UsageError(
            f"{told} is no name for a plugin; write small letters, digits and single hyphens, at most {LONGEST}, "
            "such as harbour-rules"
        )
    if keyword.iskeyword(name):
        raise UsageError(f"{told} is a word of Python itself; choose another name")
    for plugin in find():
        if name == plugin.name:
            raise UsageError(f"{told} is already the name of the {plugin.shown}; choose another name")
    if name == "sidegate" or importlib.util.find_spec(module_of(name)) is not None:
        raise UsageError(f"{told} would hide a Python module of that name; choose another name, such as {name}-rules")
    return name


def _refuse(folder: Path) -> None:
    """Raise UsageError for a place where nothing can be written, or something is."""
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
    """Write everything beside the folder, then put it there; raises OutputError, and nothing is left."""
    try:
        with unfinished_folder(folder.absolute().parent) as unfinished:
            _copy(files("qc") / DRAFTED, unfinished, name)
            settle(unfinished)
            if os.path.lexists(folder):
                raise FileExistsError(0, "it is there already by now")
            unfinished.rename(folder)
    except OSError as error:
        raise OutputError(f"{shown(str(folder))} cannot be written: {error.strerror}; name another place") from None


def _copy(drafted: Traversable, folder: Path, name: str) -> None:
    """Write what is in a folder of drafted files, under the plugin's own name."""
    for one in drafted.iterdir():
        to = folder / _named(one.name, name).removesuffix(".txt")
        if one.is_dir():
            to.mkdir()
            _copy(one, to, name)
        elif one.name.endswith(".txt"):
            to.write_text(_named(one.read_text(encoding="utf-8"), name), encoding="utf-8")


def _named(text: str, name: str) -> str:
    return text.replace(NAME, name).replace(MODULE, module_of(name))
