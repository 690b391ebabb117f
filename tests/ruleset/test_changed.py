"""A chain changed for one run, and the values that no ruleset may have, each with its reason."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

import qc_rulesets
from qc.model.cutting_chain import Chain
from qc.model.discs import DISCS
from qc.model.errors import RulesetError, UsageError
from qc.ruleset.library import Shelf
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.model import ChainEntry
from qc.ruleset.overrides import changed, keys, read_changes
from qc.ruleset.value_types import Between

HOME = Path(str(qc_rulesets.qc_rulesets()))
SHIPPED = HOME / "disc-12in-33" / "1.0.0.yaml"
SHELF = Shelf([HOME])
RULESET = SHELF.load(SHELF.serving("12in", "33"))


def test_a_change_is_in_the_chain_and_in_its_rows():
    found = changed(RULESET, read_changes(["cut.land=10um", "playback.tip_radius= 18 um"]))
    assert found.chain == replace(
        RULESET.chain,
        cut=replace(RULESET.chain.cut, land=10e-6),
        playback=replace(RULESET.chain.playback, tip_radius=18e-6),
    )
    assert found.chain_rows["cut"]["land"] == {"value": "10 um", "source": "command line", "was": "13 um"}
    assert found.chain_rows["disc"] == RULESET.chain_rows["disc"]
    assert RULESET.chain_rows["cut"]["land"] == {"value": "13 um", "source": "V-7"}
    assert (found.limits, found.sha256, found.serves) == (RULESET.limits, RULESET.sha256, RULESET.serves)
    assert changed(RULESET, ()) is RULESET


@pytest.mark.parametrize("written", ["10um", "10 um", "10\u00b5m", "10 \u00b5m", "10\u03bcm"])
def test_the_prefix_may_be_a_micro_sign_or_mu(written):
    found = changed(RULESET, read_changes([f"cut.land={written}"]))
    assert found.chain.cut.land == 10e-6
    assert found.chain_rows["cut"]["land"]["value"] == "10 um"


def test_what_is_changed_twice_remembers_the_ruleset():
    found = changed(changed(RULESET, read_changes(["cut.land=10um"])), read_changes(["cut.land=9um"]))
    assert found.chain_rows["cut"]["land"]["was"] == "13 um"


def test_every_value_of_the_chain_has_a_key_and_a_meaning():
    sections = ("signal", "cut", "disc", "playback")
    held = {f"{section}.{name}" for section in sections for name in getattr(Chain(), section).__dataclass_fields__}
    assert set(keys()) == held - {"disc.size", "disc.speed"}
    assert set(MEANINGS) == set(keys())


BOUNDS = {
    f"{section}.{name}": one
    for section, field in ChainEntry.model_fields.items()
    for name, its in field.annotation.model_fields.items()
    for one in its.metadata
    if isinstance(one, Between)
}


@pytest.mark.parametrize("key", BOUNDS)
def test_every_number_has_its_range_and_its_reason(key):
    bounds = BOUNDS[key]
    assert bounds.why
    for beyond in (bounds.low - 0.5, bounds.high if bounds.below else bounds.high * 1.1 + 0.5):
        with pytest.raises(UsageError, match="is out of bounds") as caught:
            changed(RULESET, read_changes([f"{key}={beyond:g}{bounds.unit}"]))
        assert f"({bounds.why})" in str(caught.value)


def variant(tmp_path, changes):
    text = SHIPPED.read_text(encoding="utf-8")
    for key, value in changes.items():
        text, count = re.subn(rf"(\b{key}: *\{{ *value: *)[^,}}]+", rf"\g<1>{value}", text)
        assert count == 1
    path = tmp_path / "house.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_tip_that_does_not_enter_the_groove(tmp_path):
    """A round tip in a 90 degree groove touches its walls root two of its radius apart: 39.6 um for 28 um."""
    most = 56.0 / math.sqrt(2.0)
    shelf = Shelf([HOME])
    assert shelf.load(shelf_file(variant(tmp_path, {"tip_radius": f"{most - 0.01:.3f} um"}))).chain.playback.tip_radius
    path = variant(tmp_path, {"tip_radius": f"{most + 0.01:.3f} um"})
    lines = path.read_text().splitlines()
    tip = next(i for i, line in enumerate(lines, 1) if "tip_radius" in line)
    top = next(i for i, line in enumerate(lines, 1) if "top_width" in line)
    with pytest.raises(RulesetError, match="wider than the groove, 56 um") as caught:
        Shelf([HOME]).load(shelf_file(path))
    assert str(caught.value).startswith(f"{path}:{tip}: a tip of ")
    assert str(caught.value).endswith(f"(see line {top})")


def shelf_file(path):
    from qc.ruleset.find import Available

    return Available(path)


def test_a_shelf_reads_no_file_twice(monkeypatch):
    from qc.ruleset import library as module

    read = []
    real = module.read_file
    monkeypatch.setattr(module, "read_file", lambda path: read.append(path) or real(path))
    shelf = Shelf([HOME])
    loaded = [shelf.load(shelf.serving(*disc)) for disc in DISCS]
    assert [one.serves for one in loaded] == list(DISCS)
    assert len(read) == len(set(read)) == 9  # six discs, the parent of all and its own two parents
