"""What pyproject.toml declares is what the sources import, no more and no less."""

from __future__ import annotations

import ast
import sys
import tomllib
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).parents[2]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
OWN = {"qc", "qc_standard", "qc_rulesets"}
SHIPPED = ("qc", "plugins/qc_standard", "rulesets/qc_rulesets")
NOT_IMPORTED = {
    "ruamel.yaml.clib",  # the compiled half of ruamel.yaml, which imports it
    "fontpkg-source-sans-3",  # a font, which is opened as a file
}
FOR_TYPES = {"_typeshed"}
OPTIONAL = {name: extra for extra in ("flac", "parquet", "png") for name in PROJECT["optional-dependencies"][extra]}


def declared(lines):
    return {canonicalize_name(Requirement(line).name): Requirement(line) for line in lines}


@cache
def imported():
    """Return what the shipped sources import from outside: distribution -> places, as "qc/audio/decode.py:20"."""
    known = packages_distributions()
    found = {}
    for folder in SHIPPED:
        for path in sorted((TOP / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    names = [alias.name for alias in node.names]
                elif isinstance(node, ast.ImportFrom) and not node.level:
                    names = [str(node.module)]
                else:
                    continue
                for name in names:
                    top = name.partition(".")[0]
                    if top in sys.stdlib_module_names or top in OWN | FOR_TYPES:
                        continue
                    (distribution,) = {"ruamel.yaml"} if top == "ruamel" else set(known.get(top, [f"? {top}"]))
                    found.setdefault(canonicalize_name(distribution), []).append(
                        f"{path.relative_to(TOP)}:{node.lineno}"
                    )
    return found


def test_every_import_is_declared():
    needed, optional = declared(PROJECT["dependencies"]), declared(OPTIONAL)
    undeclared = {name: places for name, places in imported().items() if name not in {**needed, **optional}}
    assert undeclared == {}


def test_everything_declared_is_imported():
    names = {canonicalize_name(name) for name in NOT_IMPORTED}
    assert set(declared(PROJECT["dependencies"])) | set(declared(OPTIONAL)) <= set(imported()) | names


def test_each_dependency_names_the_lowest_version_that_is_tested():
    for requirement in declared([*PROJECT["dependencies"], *OPTIONAL]).values():
        assert [one.operator for one in requirement.specifier if one.operator in {">=", "=="}] == [">="], requirement


def test_what_is_optional_is_imported_inside_functions_or_in_modules_of_its_own():
    """The command starts without it: nothing that the command line imports at its start needs an extra."""
    optional = set(declared(OPTIONAL)) - {canonicalize_name(name) for name in NOT_IMPORTED}
    places = {place.rpartition(":")[0] for name in optional for place in imported()[name]}
    for place in places - {"qc/report/traces/parquet.py"}:
        tops = [
            node for node in ast.parse((TOP / place).read_text(encoding="utf-8")).body if isinstance(node, ast.Import)
        ]
        names = {alias.name.partition(".")[0] for node in tops for alias in node.names}
        assert not names & {"miniaudio", "pyarrow", "resvg_py"}, place


def test_the_contract_of_the_standard_plugin_forbids_everything_but_the_page_for_plugins():
    linter = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    (contract,) = [contract for contract in linter["contracts"] if contract["id"] == "public"]
    inside = {f"qc.{path.stem}" for path in (TOP / "qc").glob("*.py")}
    inside |= {f"qc.{path.parent.name}" for path in (TOP / "qc").glob("*/__init__.py")}
    assert set(contract["forbidden_modules"]) == inside - {"qc.__init__", "qc.plugin_api"}
    assert "ignore_imports" not in contract


@pytest.mark.parametrize("extra", ["flac", "parquet", "png"])
def test_the_tests_install_every_extra(extra):
    assert any(extra in Requirement(line).extras for line in PROJECT["optional-dependencies"]["test"])
