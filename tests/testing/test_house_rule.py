"""What plugins/README.md shows of testing a house rule runs as it stands."""

import re
import types
from pathlib import Path

import pytest

from qc import api
from qc.plugin_host.host import Host
from qc.testing.cases import cases_in, check

PAGE = Path(__file__).resolve().parents[2] / "plugins" / "README.md"


def shown(heading, language):
    part = PAGE.read_text(encoding="utf-8").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    (block,) = re.findall(rf"^```{language}\n(.*?)^```$", part, flags=re.MULTILINE | re.DOTALL)
    return block


@pytest.fixture
def house():
    plugin = types.ModuleType("house_plugin")
    exec(compile(shown("A whole plugin", "python"), str(PAGE), "exec"), plugin.__dict__)
    return Host.build(extra=[("house", plugin)])


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "cases" / "house.left-too-heavy"
    place.mkdir(parents=True)
    (place / "warn-left-leads.yaml").write_text(shown("Test a house rule", "yaml"), encoding="utf-8")
    return tmp_path


def test_the_documented_case_passes(folder, house, monkeypatch):
    monkeypatch.setattr(api, "build_host", lambda: house)  # as if the plugin were installed
    block = {"__file__": str(folder / "test_cases.py")}
    exec(compile(shown("Test a house rule", "python"), str(PAGE), "exec"), block)
    (case,) = cases_in(folder / "cases")
    block["test_case"](case, folder / "one")


def test_the_documented_case_fails_under_another_limit(folder, house):
    (case,) = cases_in(folder / "cases")
    easier = case.with_limits({"house.left-too-heavy": {"most": {"warn": "85 %", "source": "practice"}}})
    with pytest.raises(AssertionError, match=r"house\.left-too-heavy on side A is pass, not warn; it measured"):
        check(easier, folder / "one", house)


def test_the_documented_part_is_short():
    part = PAGE.read_text(encoding="utf-8").split("\n## Test a house rule\n")[1].split("\n## ")[0]
    assert len(part.strip().splitlines()) <= 25
