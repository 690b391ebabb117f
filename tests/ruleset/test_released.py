"""Released rulesets are never edited: the digests prove it. To release one, add its digest."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest

import qc_rulesets
from qc.cli.main import main
from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources
from support.houses import judging

HOME = Path(str(qc_rulesets.qc_rulesets()))
DIGESTS = json.loads((HOME / "digests.json").read_text(encoding="utf-8"))


def test_every_released_file_is_as_it_was_released():
    assert {
        f"{one.name}@{one.version}": hashlib.sha256(one.path.read_bytes()).hexdigest()
        for one in available([HOME])
        if one.released
    } == DIGESTS


def test_the_digest_of_the_file_is_the_one_in_reports():
    for there in judging():
        loaded = load_ruleset(there, Sources([HOME]))
        names = [loaded.full_name, *(f"{parent.name}@{parent.version}" for parent in loaded.extends)]
        sha256 = DIGESTS[names.pop()]
        for name in reversed(names):
            sha256 = hashlib.sha256(f"{DIGESTS[name]}\n{sha256}\n".encode()).hexdigest()
        assert loaded.sha256 == sha256


def test_every_source_that_a_released_ruleset_cites_is_known(monkeypatch):
    """As it was when the digest was taken; a run does not look again."""
    monkeypatch.setattr("qc.ruleset.load.is_released", lambda *_: False)
    for there in judging():
        load_ruleset(there, Sources([HOME]))


def test_sources_are_looked_up_for_what_is_not_released_only(copy):
    (copy / "sources.yaml").unlink()
    path = copy / "disc-12in-33" / "1.1.0.yaml"
    load_ruleset(path, Sources([copy]))
    (copy / "digests.json").unlink()
    with pytest.raises(RulesetError, match=r"the source .* is unknown"):
        load_ruleset(path, Sources([copy]))


@pytest.fixture
def copy(tmp_path):
    return Path(shutil.copytree(HOME, tmp_path / "rulesets"))


def test_a_released_file_that_was_edited_is_refused(copy):
    path = copy / "disc-12in-33" / "1.1.0.yaml"
    load_ruleset(path, Sources([copy]))
    path.write_bytes(path.read_bytes() + b"# one word\n")
    (copy / "house").mkdir()
    house = copy / "house" / "1.0.0.yaml"
    house.write_text("schema: 1\nname: house\nversion: 1.0.0\nextends: disc-12in-33@1.1.0\n")
    for asked in (path, Available(path, "disc-12in-33", "1.1.0"), house):
        with pytest.raises(RulesetError) as caught:
            load_ruleset(asked, Sources([copy]))
        assert str(caught.value).startswith(f"{path}: this is not disc-12in-33@1.1.0 as it was released")
    load_ruleset(copy / "disc-12in-33" / "1.0.0.yaml", Sources([copy]))


def test_what_is_not_released_may_be_edited(copy):
    path = copy / "disc-12in-33" / "1.2.0.yaml"  # not in digests.json yet
    path.write_text((copy / "disc-12in-33" / "1.1.0.yaml").read_text().replace("version: 1.1.0", "version: 1.2.0"))
    load_ruleset(path, Sources([copy]))
    edited = copy / "disc-12in-33" / "1.1.0.yaml"
    edited.write_bytes(edited.read_bytes() + b"# one word\n")
    (copy / "digests.json").unlink()  # a folder that releases nothing
    load_ruleset(edited, Sources([copy]))


@pytest.mark.parametrize("text", ["", "[]", "{", '{"disc-12in-33@1.1.0": 1}'])
def test_digests_that_cannot_be_read_vouch_for_nothing(copy, text):
    (copy / "digests.json").write_text(text)
    with pytest.raises(RulesetError, match=r"digests\.json: the digests of released rulesets cannot be read"):
        load_ruleset(copy / "disc-12in-33" / "1.1.0.yaml", Sources([copy]))


def test_the_list_tells_what_was_edited(copy, monkeypatch, capfdbinary):
    monkeypatch.setattr("qc.plugin_host.folders.ruleset_folders", lambda **_: (copy,))
    assert main(["rulesets"]) == 0
    assert capfdbinary.readouterr().err == b""
    path = copy / "disc-7in-45" / "1.0.0.yaml"
    path.write_bytes(path.read_bytes() + b"# one word\n")
    assert main(["rulesets"]) == 2
    out, err = (part.decode() for part in capfdbinary.readouterr())
    assert len(out.splitlines()) == 1 + len(DIGESTS)
    assert err.startswith(f"sidegate: {path}: this is not disc-7in-45@1.0.0 as it was released")
    assert err.count("\n") == 1
    assert [line.split()[0] for line in out.splitlines() if line.endswith(" (edited)")] == ["disc-7in-45@1.0.0"]


def test_the_list_marks_what_extends_an_edited_ruleset(copy, monkeypatch, capfdbinary):
    monkeypatch.setattr("qc.plugin_host.folders.ruleset_folders", lambda **_: (copy,))
    path = copy / "disc-common" / "2.0.1.yaml"
    path.write_bytes(path.read_bytes() + b"# one word\n")
    assert main(["rulesets"]) == 2
    lines = capfdbinary.readouterr().out.decode().splitlines()
    assert [line.split()[0] for line in lines if line.endswith(" (edited)")] == ["disc-common@2.0.1"]
    children = {there.path.parent.name for there in judging() if there.version == "2.0.1"}
    marked = {line.split()[0] for line in lines if line.endswith(" (extends an edited one)")}
    assert children
    assert marked == {f"{name}@2.0.1" for name in children}


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("abstract: false\n", '"abstract" is "false"; it must be true'),
        ("serves: {size: 9in, speed: 33}\n", '"size" is "9in"'),
    ],
)
def test_the_list_refuses_what_a_check_would_refuse(copy, monkeypatch, capfdbinary, line, says):
    monkeypatch.setattr("qc.plugin_host.folders.ruleset_folders", lambda **_: (copy,))
    house = copy / "house" / "1.0.0.yaml"
    house.parent.mkdir()
    house.write_text(f"schema: 1\nname: house\nversion: 1.0.0\n{line}extends: disc-12in-33@1.1.0\n")
    assert main(["rulesets"]) == 2
    out, err = (part.decode() for part in capfdbinary.readouterr())
    assert out == ""
    assert err.startswith(f"sidegate: {house}:4: ")
    assert says in err
