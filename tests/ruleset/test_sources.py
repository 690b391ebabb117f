"""Sources: every key that the shipped files cite is told; what is wrong is refused by line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import qc
import qc_rulesets
from qc.model.errors import RulesetError
from qc.ruleset.sources import SourceEntry, Sources, keys_of

HOME = Path(str(qc_rulesets.qc_rulesets()))


def test_every_source_is_told_in_full():
    sources = Sources([HOME])
    assert sources["practice"].confidence == "practice"
    assert sources["D-9"] == SourceEntry(
        title="IEC 60098 (1987), clause 8.9, finishing groove, 12 and 10 inch",
        figure="diameter 106.4 mm, 0.8 mm more or less",
        confidence="B",
    )


def test_every_key_beside_a_constant_of_the_model_is_told():
    sources = Sources([HOME])
    text = "".join(path.read_text(encoding="utf-8") for path in (Path(qc.__file__).parent / "groove").rglob("*.py"))
    text += (Path(qc.__file__).parent / "model" / "cutting_chain.py").read_text(encoding="utf-8")
    cited = set(re.findall(r"\b(?:EQ|D|G|L|C|V)-[0-9]+\b", text))
    assert cited
    assert cited <= set(sources)


def test_several_keys():
    assert keys_of("C-3; practice") == ("C-3", "practice")
    assert Sources([HOME]).fault("C-3;practice ;house: sheet 2") is None


@pytest.mark.parametrize("source", ["C-3; ", "; C-3", "c-3", "House: x"])
def test_what_is_no_key(source):
    assert "is unknown" in (Sources([HOME]).fault(source) or "")


def test_nothing_is_read_before_it_is_asked_for(tmp_path):
    (tmp_path / "sources.yaml").write_text("[broken")
    sources = Sources([tmp_path])
    with pytest.raises(RulesetError, match=r"sources\.yaml:1: "):
        len(sources)


def test_no_sources_file_is_no_sources(tmp_path):
    assert dict(Sources([tmp_path])) == {}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("X-1:\n  titel: a\n  figure: b\n  confidence: A\n", ':2: unknown key "titel"; did you mean "title"?'),
        ("X-1:\n  title: a\n  figure: b\n", ':1: "confidence" is missing'),
        ("X-1:\n  title: a\n  figure: b\n  confidence: D\n", ':4: "confidence": "D" is not one of A, B, C, M'),
        ("X-1: hearsay\n", ":1: "),
    ],
)
def test_a_wrong_file_is_refused_by_line(tmp_path, text, says):
    (tmp_path / "sources.yaml").write_text(text)
    with pytest.raises(RulesetError) as caught:
        dict(Sources([tmp_path]))
    assert f"{tmp_path / 'sources.yaml'}{says}" in str(caught.value)


def test_two_folders_may_not_tell_one_key_differently(tmp_path):
    (tmp_path / "sources.yaml").write_text("\nC-3:\n  title: a\n  figure: b\n  confidence: A\n")
    with pytest.raises(RulesetError, match=r'sources\.yaml:2: the source "C-3" is explained differently'):
        dict(Sources([HOME, tmp_path]))
    assert dict(Sources([HOME, HOME])) == dict(Sources([HOME]))
