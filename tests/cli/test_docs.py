"""`sidegate docs`: the pages for authors, from the sources and from a wheel."""

from __future__ import annotations

import tomllib

import pytest

from qc.cli import docs
from qc.cli.main import main
from qc.model.errors import PluginError
from qc.testing.case_file import CaseFile, Expected
from qc.testing.steps import Step


@pytest.mark.parametrize("name", docs.PAGES)
def test_a_page_is_printed_as_it_is_in_the_sources(name, capsysbinary):
    assert main(["docs", name]) == 0
    assert capsysbinary.readouterr().out == (docs.SOURCES / docs.PAGES[name].place).read_bytes()


def test_without_a_page_the_pages_are_listed(capsysbinary):
    assert main(["docs"]) == 0
    rows = capsysbinary.readouterr().out.decode().splitlines()
    assert [row.split()[:3] for row in rows] == [["sidegate", "docs", name] for name in docs.PAGES]


def test_the_command_line_knows_the_pages(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["docs", "plugin"])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert all(f"'{name}'" in said for name in docs.PAGES)


def test_the_wheel_has_every_page():
    project = tomllib.loads((docs.SOURCES / "pyproject.toml").read_text(encoding="utf-8"))
    included = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert included == {page.place: f"qc/{docs.FOLDER}/{name}.md" for name, page in docs.PAGES.items()}


def test_away_from_the_sources_the_page_of_the_package_is_printed(tmp_path, monkeypatch, capsysbinary):
    monkeypatch.setattr(docs, "SOURCES", tmp_path)
    monkeypatch.setattr(docs, "files", lambda _: tmp_path)
    (tmp_path / docs.FOLDER).mkdir()
    (tmp_path / docs.FOLDER / "hooks.md").write_text("# Hooks\n")
    assert main(["docs", "hooks"]) == 0
    assert capsysbinary.readouterr().out == b"# Hooks\n"
    with pytest.raises(PluginError, match="the page rulesets is not in this installation"):
        docs.text_of("rulesets")


def test_the_page_on_cases_has_every_signal_fault_and_expectation():
    page = docs.text_of("cases")
    steps = {name: kind.annotation.__args__[0] for name, kind in Step.model_fields.items()}
    parameters = {field.alias or name for step in steps.values() for name, field in step.model_fields.items()}
    for name in (*steps, *parameters, *Expected.model_fields, *CaseFile.model_fields):
        assert f"`{name}`" in page, name


def test_a_pager_is_used_on_a_terminal_only(monkeypatch, capsysbinary):
    pages = []
    monkeypatch.setattr(docs.pydoc, "pager", pages.append)
    assert main(["docs", "hooks"]) == 0
    assert (pages, capsysbinary.readouterr().out.decode()) == ([], docs.text_of("hooks"))
    monkeypatch.setattr(docs, "on_terminal", lambda: True)
    assert main(["docs", "hooks"]) == 0
    assert (pages, capsysbinary.readouterr().out) == ([docs.text_of("hooks")], b"")
