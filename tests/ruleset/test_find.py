"""Which ruleset is meant: by name, by version, by path, by the disc."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import qc_rulesets
from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available, doubled, find
from qc.ruleset.serving import serving

SHIPPED = Path(str(qc_rulesets.qc_rulesets()))
TEXT = (SHIPPED / "disc-12in-33" / "1.0.0.yaml").read_text(encoding="utf-8")


def put(folder: Path, name: str, version: str, **changes: str) -> Path:
    text = TEXT.replace("name: disc-12in-33", f"name: {name}").replace("version: 1.0.0", f"version: {version}")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    path = folder / name / f"{version}.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def folder(tmp_path):
    for version in ("1.0.0", "1.9.0", "1.10.0", "2.0.0rc1"):
        put(tmp_path, "disc-12in-33", version)
    put(tmp_path, "house", "0.1.0.dev1")
    return tmp_path


def test_versions_are_compared_as_versions(folder):
    assert [one.version for one in available([folder]) if one.name == "disc-12in-33"] == [
        "1.0.0",
        "1.9.0",
        "1.10.0",
        "2.0.0rc1",
    ]
    assert find("disc-12in-33", [folder]).version == "1.10.0"


@pytest.mark.parametrize(("pinned", "version"), [("1.9.0", "1.9.0"), ("1.9", "1.9.0"), ("2.0.0-rc.1", "2.0.0rc1")])
def test_a_pinned_version_is_taken_even_unreleased(folder, pinned, version):
    assert find(f"disc-12in-33@{pinned}", [folder]) == Available(
        folder / "disc-12in-33" / f"{version}.yaml", "disc-12in-33", version
    )


@pytest.mark.parametrize(
    ("spec", "says"),
    [
        ("disc-12-33", 'no ruleset is called "disc-12-33"; did you mean "disc-12in-33"?'),
        ("zzz", 'no ruleset is called "zzz"; known are disc-12in-33, house'),
        ("", 'no ruleset is called ""; known are disc-12in-33, house'),
        ("disc-12in-33@1.9.1", 'disc-12in-33 has no version 1.9.1; did you mean "1.9.0"?'),
        ("disc-12in-33@newest", '"newest" is not a version; write disc-12in-33@2.0.0rc1, for example'),
        ("disc-12in-33@", '"" is not a version'),
        ("house", "house has no released version yet; to use an unreleased one, write house@0.1.0.dev1"),
    ],
)
def test_what_is_not_there_is_refused_with_what_is(folder, spec, says):
    with pytest.raises(RulesetError) as caught:
        find(spec, [folder])
    assert says in str(caught.value)


def test_an_abstract_ruleset_is_suggested_only_to_what_extends(folder):
    put(folder, "disc-common", "1.0.0", **{"schema: 1\n": "schema: 1\nabstract: true\n"})
    with pytest.raises(RulesetError) as used:
        find("disc-comon", [folder])
    assert "disc-common" not in str(used.value)
    with pytest.raises(RulesetError, match='did you mean "disc-common"'):
        find("disc-comon", [folder], to_extend=True)


def test_nothing_installed():
    with pytest.raises(RulesetError, match='no ruleset is called "a"; none is known'):
        find("a", [])


@pytest.mark.parametrize("spec", ["house.yaml", "house.yml", "rules/house", "./1.0.0.yaml", "/abs/x.yaml"])
def test_a_path_is_a_path(spec):
    assert find(spec, []) == Available(Path(spec))


def test_a_file_that_is_not_named_for_a_version(folder):
    (folder / "house" / "latest.yaml").write_text(TEXT)
    with pytest.raises(RulesetError, match=r"latest\.yaml: the file is not named for a version"):
        available([folder])


def test_of_one_version_in_two_folders_the_first_counts(folder, tmp_path_factory):
    other = tmp_path_factory.mktemp("other")
    path = put(other, "disc-12in-33", "1.9.0")
    assert available([folder, other]) == available([folder, folder]) == available([folder])
    assert find("disc-12in-33@1.9.0", [other, folder]).path == path
    first = folder / "disc-12in-33" / "1.9.0.yaml"
    assert doubled([folder, other]) == ((Available(path, "disc-12in-33", "1.9.0"), first),)
    assert doubled([folder, folder]) == ()


def test_the_disc_finds_its_ruleset(folder):
    assert serving("12in", "33", [folder]).version == "1.10.0"
    put(folder, "disc-7in-45", "1.0.0", **{"size: 12in, speed: 33": "size: 7in, speed: 45"})
    assert serving("7in", "45", [folder]).name == "disc-7in-45"
    with pytest.raises(RulesetError) as caught:
        serving("10in", "33", [folder])
    assert str(caught.value) == "no ruleset serves a 10in disc at 33; those installed serve 12in at 33, 7in at 45"


def test_two_rulesets_for_one_disc_must_be_told_apart(folder):
    released = shutil.move(folder / "house" / "0.1.0.dev1.yaml", folder / "house" / "0.1.0.yaml")
    released.write_text(released.read_text().replace("version: 0.1.0.dev1", "version: 0.1.0"))
    with pytest.raises(RulesetError, match="disc-12in-33, house all serve a 12in disc at 33"):
        serving("12in", "33", [folder])


def test_who_installs_a_house_that_extends_changes_nothing_for_deliveries_that_name_none(folder):
    child = folder / "lowtide" / "1.0.0.yaml"
    child.parent.mkdir()
    for text in ("off: {}\n", "# written by hand\noff: {}\n"):
        child.write_text(f"schema: 1\nname: lowtide\nversion: 1.0.0\nextends: disc-12in-33@1.10.0\n{text}")
        assert serving("12in", "33", [folder]).name == "disc-12in-33"
    assert find("lowtide", [folder]).version == "1.0.0"


def test_nothing_serves_anything():
    with pytest.raises(RulesetError, match="those installed serve no disc at all"):
        serving("12in", "33", [])
