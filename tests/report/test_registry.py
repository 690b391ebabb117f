"""The one list of formats: what it says of each is true of the format's own module, and nothing else lists them."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path
from typing import get_args

import pytest

import qc
from qc import api
from qc.plugin_api import FolderRenderer, Renderer
from qc.report import registry
from support.command import COMMAND

SOURCES = Path(qc.__file__).parent
README = Path(__file__).parents[2] / "README.md"
each = pytest.mark.parametrize("found", registry.FORMATS, ids=lambda found: found.name)


@each
def test_a_format_is_as_its_own_module_says(found):
    kind = found.load()
    assert issubclass(kind, Renderer)
    assert kind.name == found.name
    assert kind.suffixes == found.endings
    assert kind.folder == found.folder == issubclass(kind, FolderRenderer)


@each
def test_the_functions_of_a_format_are_there(found):
    for command in get_args(registry.Command):
        if command != "check" and found.name in registry.formats(command):
            assert callable(found.writer(command))


def test_names_are_given_once():
    assert len(registry.formats()) == len(registry.FORMATS)
    assert list(registry.formats()) == list(api.FORMATS)


def test_reading_the_list_imports_no_format():
    code = "import sys, qc.report.registry; print(*(name for name in sys.modules if name.startswith('qc')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True, timeout=60)
    of_the_version = {"qc", "qc.model", "qc.model.version"}
    assert set(done.stdout.split()) == of_the_version | {"qc.report", "qc.report.registry"}


@pytest.mark.parametrize("command", get_args(registry.Command))
def test_help_names_every_format_of_a_command(command):
    words = [command, *(["diff"] if command == "rulesets" else []), "--help"]
    done = subprocess.run([*COMMAND, *words], capture_output=True, check=True, text=True, timeout=60)
    assert " ".join(registry.choices(command).split()) in " ".join(done.stdout.split())
    if command == "check":
        assert registry.described() in done.stdout


def test_the_readme_shows_every_format():
    text = README.read_text(encoding="utf-8")
    for name in registry.formats():
        assert f"`--out {name}=" in text


def test_no_other_module_lists_the_formats():
    """A text with three names of formats, or a collection of three, is a second list."""
    names = set(registry.formats())
    for path in SOURCES.rglob("*.py"):
        if path == Path(registry.__file__):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Tuple | ast.List | ast.Set):
                keys = node.elts
            elif isinstance(node, ast.Dict):
                keys = node.keys
            else:
                continue
            texts = {
                key.value.rstrip("=") for key in keys if isinstance(key, ast.Constant) and isinstance(key.value, str)
            }
            assert len(texts & names) < 3, f"{path}:{node.lineno}"


def test_formats_of_plugins_stand_beside_the_cores():
    class Beacon(Renderer):
        """Lights a beacon."""

        name = "beacon"
        suffixes = (".light",)

        def render(self, report, evidence, out):
            out.write(b"light")

    found = registry.with_plugins({"beacon": Beacon})
    assert list(found) == [*registry.formats(), "beacon"]
    assert (found["beacon"].load(), found["beacon"].about) == (Beacon, "Lights a beacon.")


def test_building_the_parser_imports_no_format():
    code = "import sys, qc.cli.main as m; m.parser(); print(*(n for n in sys.modules if n.startswith('qc.report')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True, timeout=60)
    assert set(done.stdout.split()) == {"qc.report", "qc.report.registry"}
