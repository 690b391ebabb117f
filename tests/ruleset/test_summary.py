"""The summary of a ruleset says what the whole file says, whatever way it is written."""

from pathlib import Path

import pytest

import qc_rulesets
from qc.model.errors import RulesetError
from qc.ruleset.find import Available, available
from qc.ruleset.load import load_ruleset
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources
from qc.ruleset.summary import summary
from support.houses import Houses, judging

HOME = Path(str(qc_rulesets.qc_rulesets()))
SHIPPED = HOME / "disc-12in-33" / "1.0.0.yaml"


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "rulesets")


def is_summarised(there, folders):
    ruleset, found = load_ruleset(there, Sources(folders)), summary(there, folders)
    assert (found.disc, found.sha256) == (ruleset.serves, ruleset.sha256)
    assert found.extends == any(parent.name != "disc-common" for parent in ruleset.extends)


def test_the_summaries_of_the_shipped_rulesets_say_what_the_files_say():
    rulesets = judging()
    assert len(rulesets) > 6
    for there in rulesets:
        is_summarised(there, [HOME])


def test_an_abstract_ruleset_serves_no_disc_and_makes_no_child_stand_behind(houses):
    (parent,) = (there for there in available([HOME]) if (there.name, there.version) == ("disc-common", "3.2.0"))
    assert summary(parent, [HOME]).disc is None
    child = Available(HOME / "disc-7in-45" / "3.2.0.yaml", "disc-7in-45", "3.2.0")
    assert summary(child, [HOME]) == (("7in", "45"), load_ruleset(child, Sources([HOME])).sha256, False)
    houses.put("house@1.0.0", "", "disc-7in-45@3.2.0")
    assert summary(Available(houses.folder / "house" / "1.0.0.yaml", "house", "1.0.0"), houses.folders).extends
    assert serving("7in", "45", houses.folders) == child


def test_a_house_built_on_an_abstract_ruleset_from_another_folder_stands_behind(houses):
    """The house's own parent is abstract too, and what serves the disc extends nothing that serves one."""
    houses.put("our-base@1.0.0", "abstract: true\n", "disc-common@3.2.0")
    shipped = serving("7in", "45", [HOME])
    _, _, own = shipped.path.read_text(encoding="utf-8").partition("extends: disc-common@3.2.0\n")
    houses.put("our-7in@1.0.0", own, "our-base@1.0.0")
    assert houses.load("our-7in").serves == ("7in", "45")
    assert serving("7in", "45", houses.folders) == shipped
    assert serving("7in", "45", houses.folders[::-1]) == shipped


def test_the_disc_and_the_digest_are_taken_from_what_a_ruleset_extends(houses):
    houses.put("one@1.0.0", "off: {}\n")
    houses.put("two@1.0.0", "limits:\n  level.clipped: {}\n", "one@1.0.0")
    for name in ("one", "two"):
        is_summarised(Available(houses.folder / name / "1.0.0.yaml", name, "1.0.0"), houses.folders)


@pytest.mark.parametrize(
    "body",
    ["limits: {}\nserves: {size: 12in, speed: 45}\n", 'limits: {}\n"serves":\n  speed: 45\n  size: 12in\n'],
)
def test_the_disc_may_stand_anywhere_in_the_file(houses, body):
    houses.put("one@1.0.0", body)
    found = summary(Available(houses.folder / "one" / "1.0.0.yaml", "one", "1.0.0"), houses.folders)
    assert (found.disc, found.extends) == (("12in", "45"), True)


def written(folder, old, new):
    text = SHIPPED.read_text(encoding="utf-8")
    assert old in text
    path = folder / "disc-12in-33" / "1.0.0.yaml"
    path.parent.mkdir()
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return Available(path, "disc-12in-33", "1.0.0")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("name: disc-12in-33", 'name:   "disc-12in-33"   # ours\n\n# a note'),
        ("serves: {size: 12in, speed: 33}", "serves:\n  size: 12in\n  speed: 33"),
        ("schema: 1", "---\nschema: 1"),
        ("version: 1.0.0", "version: 1.0"),
    ],
    ids=["a name in quotes", "a disc over lines", "the mark of a document", "a shorter version"],
)
def test_another_way_of_writing_the_same_is_summarised_alike(tmp_path, old, new):
    there = written(tmp_path, old, new)
    is_summarised(there, [tmp_path, HOME])
    assert serving("12in", "33", [tmp_path]) == there


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("name: disc-12in-33\n", "", '"name" is missing'),
        ("name: disc-12in-33", "name: other", 'the name is "other", and the folder is called "disc-12in-33"'),
        ("name: disc-12in-33", "name: disc-12in-33\nname: other", 'the key "name" is already on line'),
        ('needs_tool: ">=0.1"', 'needs_tool: ">=99"', "this ruleset needs sidegate >=99"),
        ("serves: {size: 12in, speed: 33}", "serves: {size: 12in}", '"speed" is missing'),
        ("schema: 1", "schema: 1\nextends: house", 'no ruleset is called "house"'),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_line(tmp_path, old, new, says):
    there = written(tmp_path, old, new)
    with pytest.raises(RulesetError) as caught:
        summary(there, [tmp_path])
    assert str(caught.value).startswith(f"{there.path}:")
    assert says in str(caught.value)
