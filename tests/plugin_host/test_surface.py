"""What a plugin may import: these names with these signatures, and no others."""

from __future__ import annotations

import tomllib
import warnings
from pathlib import Path

import pytest

import qc
from qc import plugin_api
from qc.cli.new_plugin import pin
from qc.rulebook.project.pages import shipped_host
from support.surface import LIST, surface

ROOT = Path(__file__).resolve().parents[2]


def test_names_and_signatures_are_those_of_the_committed_list():
    assert surface() == LIST.read_text(encoding="utf-8"), (
        "the interface of plugins has changed; what goes must first warn for one minor version; "
        "python tests/support/surface.py writes the list"
    )


def test_dir_shows_the_public_names_alone():
    assert dir(plugin_api) == sorted(plugin_api.__all__)
    assert not {"np", "Any", "annotations", "field", "R"} & set(dir(plugin_api))


def test_every_public_name_is_there_and_handed_on_without_a_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for name in dir(plugin_api):
            assert getattr(qc, name) is getattr(plugin_api, name)


@pytest.mark.parametrize(
    ("version", "fits"),
    [("0.1.0", "sidegate>=0.1,<0.3"), ("0.9.4", "sidegate>=0.9,<0.11"), ("1.4.0rc1", "sidegate>=1.4,<1.6")],
)
def test_a_plugin_is_pinned_to_the_minor_version_it_is_written_for_and_the_next(version, fits):
    assert pin(version) == fits


def test_the_example_is_pinned_as_a_new_plugin_is():
    project = tomllib.loads((ROOT / "examples" / "house_rules" / "pyproject.toml").read_text(encoding="utf-8"))
    assert pin(qc.__version__) in project["project"]["dependencies"]


def test_every_need_of_the_tool_is_in_the_table_of_results_with_its_import():
    page = (ROOT / "plugins" / "README.md").read_text(encoding="utf-8")
    table = page[page.index("\n## Read results of others\n") : page.index("\n## When a plugin fails\n")]
    missing = [
        need.__name__
        for need in shipped_host().needs
        if f"`{need.__name__}`" not in table or f"from {need.__module__} import " not in table
    ]
    assert not missing, f"plugins/README.md, Read results of others: add {', '.join(missing)}"
