"""Names and discs are spelt in one place."""

from __future__ import annotations

import re
from pathlib import Path

import qc
from qc.delivery.model import Disc
from qc.groove.geometry import playing_time
from qc.model.discs import DISCS, NOMINAL_MM, SIZES, SPEEDS, disc_name
from qc.model.names import CHECK_ID, RULESET_NAME, SIDE_ID

SOURCES = Path(qc.__file__).parent


def test_every_disc_is_a_size_and_a_speed_that_a_delivery_may_name():
    assert len(set(DISCS)) == len(DISCS) == len(SIZES) * len(SPEEDS)
    assert set(NOMINAL_MM) == set(SIZES)
    for size, speed in DISCS:
        assert Disc(size=size, speed=speed).speed == speed
    assert disc_name("7in", "45") == "7in-45"


def test_the_published_playing_times_are_of_every_disc():
    (table,) = (value for value in vars(playing_time).values() if isinstance(value, dict) and ("7in", "33") in value)
    assert set(table) == set(DISCS)


def test_no_other_module_has_a_pattern_of_its_own_for_these_names():
    for path in SOURCES.rglob("*.py"):
        if path.name == "names.py" and path.parent.name == "model":
            continue
        text = path.read_text(encoding="utf-8")
        for pattern in (CHECK_ID, RULESET_NAME, SIDE_ID):
            assert f'"{pattern.pattern}"' not in text, path


def test_ids_of_checks_are_area_and_plain_words():
    assert CHECK_ID.fullmatch("groove.cut-too-deep")
    for name in ("groove", "Groove.deep", "groove.", "groove.cut_too", "a.b.c", "groove.-x", "groove.x-"):
        assert CHECK_ID.fullmatch(name) is None
    assert re.fullmatch(RULESET_NAME, "disc-12in-33")
