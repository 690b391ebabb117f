"""The heading of a ruleset says what the whole file says, or nothing."""

from pathlib import Path

import pytest

import qc_rulesets
from qc.ruleset.find import available
from qc.ruleset.heading import heading
from qc.ruleset.load import load_ruleset
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources

HOME = Path(str(qc_rulesets.qc_rulesets()))
SHIPPED = HOME / "disc-12in-33" / "1.0.0.yaml"


def test_the_headings_of_the_shipped_rulesets_say_what_the_files_say():
    there = available([HOME])
    assert len(there) > 6
    for one in there:
        ruleset, told = load_ruleset(one, Sources([HOME])), heading(one.path)
        assert told is not None
        assert told[:2] == (ruleset.name, ruleset.version)
        assert (told.size, told.speed) == ruleset.serves
        assert told.sha256 == ruleset.sha256


def written(folder, old, new):
    text = SHIPPED.read_text(encoding="utf-8")
    assert old in text
    path = folder / "1.0.0.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


UNTOLD = {
    "name in quotes": ("name: disc-12in-33", 'name: "disc-12in-33"'),
    "no name": ("name: disc-12in-33\n", ""),
    "nothing for a name": ("name: disc-12in-33", "name: null"),
    "twice": ("name: disc-12in-33", "name: disc-12in-33\nname: other"),
    "a newer tool": ('needs_tool: ">=0.1"', 'needs_tool: ">=99"'),
    "no such demand": ('needs_tool: ">=0.1"', 'needs_tool: ">>0.1"'),
    "a planned key": ("schema: 1", "schema: 1\nextends: house"),
    "a disc over lines": ("serves: {size: 12in, speed: 33}", "serves:\n  size: 12in\n  speed: 33"),
    "another schema": ("schema: 1", "schema: 2"),
    "a chain elsewhere": ("\nchain:\n", "\nchain: {}\n"),
    "two documents": ("schema: 1", "---\nschema: 1"),
    "no colon": ("schema: 1", "schema 1"),
}


@pytest.mark.parametrize(("old", "new"), UNTOLD.values(), ids=UNTOLD)
def test_a_heading_that_is_not_plain_tells_nothing(tmp_path, old, new):
    assert heading(written(tmp_path, old, new)) is None


def test_a_file_that_cannot_be_read_tells_nothing(tmp_path):
    assert heading(tmp_path / "none.yaml") is None
    (tmp_path / "bytes.yaml").write_bytes(b"schema: 1\n\xff")
    assert heading(tmp_path / "bytes.yaml") is None


def test_comments_stand_in_no_ones_way(tmp_path):
    path = written(tmp_path, "name: disc-12in-33", "name: house   # ours\n\n# a note")
    told = heading(path)
    assert told is not None
    assert told.name == "house"


def test_a_disc_that_the_heading_does_not_tell_is_read_from_the_file(tmp_path):
    (tmp_path / "disc-12in-33").mkdir()
    written(tmp_path / "disc-12in-33", "serves: {size: 12in, speed: 33}", "serves:\n  size: 12in\n  speed: 33")
    assert serving("12in", "33", [tmp_path]).name == "disc-12in-33"
