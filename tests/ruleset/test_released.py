"""Released rulesets are never edited: the digests prove it. To release one, add its digest."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import qc_rulesets
from qc.ruleset.find import available
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources

HOME = Path(str(qc_rulesets.qc_rulesets()))
DIGESTS = json.loads((HOME / "digests.json").read_text(encoding="utf-8"))


def test_every_released_file_is_as_it_was_released():
    assert {
        f"{one.name}@{one.version}": hashlib.sha256(one.path.read_bytes()).hexdigest()
        for one in available([HOME])
        if one.released
    } == DIGESTS


def test_the_digest_of_the_file_is_the_one_in_reports():
    for one in available([HOME]):
        loaded = load_ruleset(one, Sources([HOME]))
        assert loaded.sha256 == DIGESTS[f"{loaded.name}@{loaded.version}"]
