"""`sidegate new-plugin`: what it writes is whole, loads, and passes its own tests; what cannot be used is refused."""

from __future__ import annotations

import importlib
import sys
import tomllib

import pytest

from qc.cli.main import main
from qc.cli.new_plugin import DRAFTED, MODULE, NAME
from qc.plugin_host.host import Host
from support.installed import install, own_tests


@pytest.fixture
def written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new-plugin", "harbour-rules"]) == 0
    return tmp_path / "harbour-rules"


@pytest.mark.long
def test_what_it_writes_passes_its_own_tests(written, tmp_path):
    project = tomllib.loads((written / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    ((name, module),) = project["entry-points"]["sidegate.plugins"].items()
    install(tmp_path / "site", project["name"], project["version"], f"{name} = {module}")
    done = own_tests(written, tmp_path / "site")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "12 passed" in done.stdout


def test_it_loads_and_bears_its_name_everywhere(written, monkeypatch):
    monkeypatch.syspath_prepend(str(written / "src"))
    host = Host.build(extra=[("harbour-rules", importlib.import_module("harbour_rules"))])
    assert host.failures == []
    assert "harbour-rules.one-sided" in host.checks
    (folder,) = (folder for folder in host.ruleset_folders if written in folder.parents)
    assert (folder / "harbour-rules-12in-33" / "1.0.0.yaml").is_file()
    for path in written.rglob("*"):
        assert NAME not in str(path.relative_to(written))
        assert MODULE not in str(path.relative_to(written))
        assert path.suffix != ".txt"
        if path.is_file() and path.suffix != ".pyc":
            text = path.read_text(encoding="utf-8")
            assert NAME not in text
            assert MODULE not in text
    for module in [module for module in sys.modules if module.startswith("harbour_rules")]:
        del sys.modules[module]


def test_another_folder_and_the_sentence_that_says_what_next(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new-plugin", "harbour-rules", "--out", "my plugins"]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["my plugins"]
    sentence = (
        "wrote my plugins: checks, a ruleset and tests; now pip install -e 'my plugins[test]', and run pytest in it"
    )
    assert capsys.readouterr() == ("", f"sidegate: {sentence}\n")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("Harbour", "is no name for a plugin; write small letters, digits and single hyphens, at most 32, such as"),
        ("har--bour", "is no name for a plugin"),
        ("1harbour", "is no name for a plugin"),
        ("../harbour", "is no name for a plugin"),
        ("harbour_rules", "is no name for a plugin"),
        ("", "is no name for a plugin"),
        ("x" * 33, "is no name for a plugin"),
        ("lambda", "is a word of Python itself; choose another name"),
        ("standard", 'is already the name of the plugin "standard" of sidegate'),
        ("numpy", "would hide a Python module of that name; choose another name, such as numpy-rules"),
        ("qc", "would hide a Python module of that name"),
        ("json", "would hide a Python module of that name"),
        ("sidegate", "would hide a Python module of that name"),
    ],
)
def test_a_name_that_cannot_be_used_is_one_sentence_and_nothing_is_written(name, says, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new-plugin", name]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("sidegate: new-plugin: ")
    assert says in line
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_written_over(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for place in ("harbour-rules", "file", "link"):
        if place == "harbour-rules":
            (tmp_path / place).mkdir()
        elif place == "file":
            (tmp_path / place).write_text("mine")
        else:
            (tmp_path / place).symlink_to("nowhere")
        assert main(["new-plugin", "harbour-rules", "--out", place]) == 2
        assert f"{place} is there already and is left as it is; name another with --out" in capsys.readouterr().err
    assert list((tmp_path / "harbour-rules").iterdir()) == []
    assert (tmp_path / "file").read_text() == "mine"
    assert main(["new-plugin", "harbour-rules", "--out", "no/where"]) == 2
    assert "there is no folder no; make it first" in capsys.readouterr().err


def test_a_disc_that_is_full_leaves_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_text", full)
    assert main(["new-plugin", "harbour-rules"]) == 2
    assert "harbour-rules cannot be written: No space left on device" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_drafted_files_are_part_of_the_package():
    from importlib.resources import files

    drafted = files("qc") / DRAFTED
    assert sorted(one.name for one in drafted.iterdir()) == [
        "README.md.txt",
        "ci.sh.txt",
        "pyproject.toml.txt",
        "src",
        "tests",
    ]
