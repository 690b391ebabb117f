"""A house's own rulebook: its plugin, its ruleset, its sources in its own words, in a folder of its own."""

import posixpath
import sys
import tomllib

import pytest

from qc import api
from qc.plugin_api import Judged
from qc.plugin_host.spec import hookimpl
from qc.rulebook import __main__ as command
from qc.rulebook.__main__ import ROOT, main
from qc.rulebook.pages import MARK
from support.houses import SHIPPED_12IN_33
from support.markdown_page import Read
from support.plugins import check, need

AWKWARD = "Quiet | sides * hiss_, <b>and</b>\n- 1. [no](link)"


class House:
    """A plugin in a house's own hands; some of its words would be markup."""

    def __init__(self, folder):
        self.folder = folder

    @hookimpl
    def qc_checks(self):
        judges = {"most": Judged("house.quietness", "<=")}
        return [check(why=AWKWARD, judges=judges, blind_to=""), check("house.never-named")]

    @hookimpl
    def qc_measures(self):
        return [need()]

    @hookimpl
    def qc_rulesets(self):
        return self.folder


@pytest.fixture(scope="module")
def host(tmp_path_factory):
    folder = tmp_path_factory.mktemp("house")
    (folder / "quiet").mkdir()
    text = SHIPPED_12IN_33.read_text(encoding="utf-8").replace("name: disc-12in-33", "name: quiet")
    own = "limits:\n  house.quiet-side:\n    most: {warn: 3 LU, source: 'house: desk notes, page | 4; X.1'}\n"
    (folder / "quiet" / "1.0.0.yaml").write_text(text.replace("limits:\n", own, 1), encoding="utf-8")
    (folder / "sources.yaml").write_text("X.1: {title: Ours, figure: 3 LU, confidence: practice}\n", encoding="utf-8")
    host = api.Host.build(extra=[("house", House(folder))], core=api.units(()), formats=api.FORMATS)
    assert host.failures == []
    return host


@pytest.fixture
def written(host, tmp_path):
    folder = tmp_path / "house-docs"
    assert main([str(folder)], host) == 0
    return folder


def pages(folder):
    return {str(path.relative_to(folder).as_posix()): Read(path.read_text("utf-8")) for path in folder.rglob("*.md")}


def test_a_check_of_the_house_has_its_page_with_its_words_as_they_are(written):
    page = pages(written)["checks/house.quiet-side.md"]
    assert " ".join(AWKWARD.split()) in page.words
    assert "Its plugin does not say." in page.words
    assert "Brought by the plugin house." in page.words
    assert [row for table in page.tables for row in table[1:]] == [
        ["most", "3 LU", "-", "no", "house: desk notes, page | 4, X.1"]
    ]
    assert "house: desk notes, page | 4" in page.words
    assert "X.1: Ours: 3 LU (confidence: custom of the trade)" in page.words


def test_a_check_that_no_ruleset_names_says_so(written):
    assert "It is not named, and so not judged." in pages(written)["checks/house.never-named.md"].words


def test_its_links_stay_in_the_folder_and_lead_somewhere(written):
    found = pages(written)
    for path, page in found.items():
        for link in page.links:
            target, _, anchor = link.partition("#")
            place = posixpath.normpath(posixpath.join(posixpath.dirname(path), target)) if target else path
            assert place in found
            assert not anchor or anchor in found[place].anchors, (path, link)


def test_words_of_its_own_are_told_among_the_sources(written):
    page = pages(written)["sources.md"]
    assert (2, "In a house's own words") in page.headings
    assert "house: desk notes, page | 4 - Cited by: house.quiet-side (most)" in page.words


def test_rulesets_can_be_chosen_by_name_version_or_file(host, tmp_path):
    file = SHIPPED_12IN_33.parent.parent / "disc-7in-45" / "1.0.0.yaml"
    for number, (spec, name) in enumerate(
        [("quiet", "quiet@1.0.0"), ("disc-12in-33@1.0.0", "disc-12in-33@1.0.0"), (str(file), "disc-7in-45@1.0.0")]
    ):
        folder = tmp_path / str(number)
        assert main([str(folder), "--ruleset", spec], host) == 0
        head = pages(folder)["limits.md"].tables[0][0]
        assert head == ["Check", "Limit", name, "Sets the cut level", "Sources"]


def test_the_same_is_written_twice_and_pages_of_checks_that_went_are_taken_away(host, written):
    before = {path: path.read_bytes() for path in written.rglob("*.md")}
    gone = written / "checks" / "house.gone.md"
    gone.write_text(f"{MARK}\nof a check that there was\n", encoding="utf-8")
    own = written / "checks" / "notes.md"
    own.write_text("our own notes\n", encoding="utf-8")
    assert main([str(written)], host) == 0
    assert {path: path.read_bytes() for path in written.rglob("*.md")} == {**before, own: b"our own notes\n"}


def test_nobodys_own_page_is_written_over(host, tmp_path, capsys):
    (tmp_path / "README.md").write_text("ours\n", encoding="utf-8")
    assert main([str(tmp_path)], host) == 2
    said = capsys.readouterr().err
    assert (
        said
        == f"rulebook: {tmp_path / 'README.md'} is there and was not made here; name another folder, or move it away\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["README.md"]


def test_a_folder_that_cannot_be_one_is_refused_in_a_sentence(host, tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert main([str(tmp_path / "file")], host) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--ruleset", "quiet"], 2, "--ruleset needs a FOLDER"),
        (["docs", "--ruleset", "quite"], 2, 'no ruleset is called "quite"; did you mean'),
    ],
)
def test_what_cannot_be_done_is_said(host, tmp_path, monkeypatch, capsys, words, code, said):
    monkeypatch.chdir(tmp_path)
    assert main(words, host) == code
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_without_a_folder_the_pages_of_the_sources_are_written(made, tmp_path, monkeypatch):
    (tmp_path / "pyproject.toml").touch()
    monkeypatch.setattr(command, "ROOT", tmp_path)
    assert main([]) == 0
    there = {path.relative_to(tmp_path).as_posix(): path for path in tmp_path.rglob("*.md")}
    assert {path: page.read_text(encoding="utf-8") for path, page in there.items()} == made


def test_a_house_needs_nothing_that_the_wheel_leaves_out(host, tmp_path, monkeypatch):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "/qc/rulebook/project" in project["tool"]["hatch"]["build"]["targets"]["wheel"]["exclude"]
    for name in [name for name in sys.modules if name.startswith("qc.rulebook.project")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "qc.rulebook.project", None)  # importing it raises ImportError
    assert main([str(tmp_path / "docs")], host) == 0
    assert (tmp_path / "docs" / "README.md").is_file()


def test_without_sources_a_folder_must_be_named(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(command, "ROOT", tmp_path)
    assert main([]) == 2
    assert "name a FOLDER" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_plugin_that_does_not_load_is_no_page_left_out_in_silence(tmp_path, capsys):
    broken = api.Host.build(extra=[("broken", House(tmp_path / "nowhere"))])
    assert main([str(tmp_path / "docs")], broken) == 3
    assert "without it the rulebook would not be whole" in capsys.readouterr().err
    assert not (tmp_path / "docs").exists()
