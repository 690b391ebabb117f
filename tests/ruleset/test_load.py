"""A ruleset file: the shipped one as it stands, and every way in which a file can be wrong, by file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

import qc_rulesets
from qc.model.cutting_chain import Chain
from qc.model.errors import RulesetError
from qc.ruleset.find import Available
from qc.ruleset.load import RawLimit, load_ruleset, missing_requirements
from qc.ruleset.sources import Sources

HOME = Path(str(qc_rulesets.qc_rulesets()))
SHIPPED = HOME / "disc-12in-33" / "1.0.0.yaml"


@pytest.fixture(scope="module")
def sources():
    return Sources([HOME])


@pytest.fixture(scope="module")
def shipped(sources):
    return load_ruleset(Available(SHIPPED, "disc-12in-33", "1.0.0"), sources)


def changed(tmp_path, old, new):
    """The shipped file with one change, and the line of the change."""
    text = SHIPPED.read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    path = tmp_path / "house.yaml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path, text[: text.index(old)].count("\n") + 1


def refused(path, sources):
    with pytest.raises(RulesetError) as caught:
        load_ruleset(path, sources)
    return str(caught.value)


def test_the_shipped_chain_is_the_one_that_python_callers_get(shipped):
    assert shipped.chain == Chain()
    assert shipped.serves == ("12in", "33")
    assert (shipped.name, shipped.version) == ("disc-12in-33", "1.0.0")


def test_the_chain_is_reported_as_written_with_its_sources(shipped):
    assert shipped.chain_rows["cut"]["align"] == {"value": "-18 dBFS", "source": "practice"}
    assert shipped.chain_rows["playback"]["tip_radius"] == {"value": "8 um", "source": "G-15"}
    assert set(shipped.chain_rows) == {"signal", "cut", "disc", "playback"}


def test_limits_stay_as_written_with_their_lines(shipped):
    limit = shipped.limits["groove.last-diameter-too-small"]["least"]
    line = int(limit.origin.removeprefix("disc-12in-33/1.0.0.yaml:"))
    assert limit == RawLimit("120.65 mm", "115 mm", "2b", "warn", f"disc-12in-33/1.0.0.yaml:{line}")
    assert "120.65 mm" in SHIPPED.read_text().splitlines()[line - 1]
    assert shipped.limits["delivery.audio-disagrees"] == {}
    assert shipped.origins["groove.cut-too-deep"].startswith("disc-12in-33/1.0.0.yaml:")


TABLE = {  # the limits of the groove model, by hand: warn, fail, what sets the level
    ("groove.last-diameter-too-small", "least"): ("120.65 mm", "115 mm", "warn"),
    ("groove.top-width-too-narrow", "least"): ("30 um", "25.4 um", "fail"),
    ("groove.cut-too-deep", "greatest"): ("110 um", "127 um", "fail"),
    ("groove.too-little-land", "least"): ("13 um", "0 um", "fail"),
    ("groove.slope-too-steep", "lateral_share"): ("2 %", "10 %", "fail"),
    ("groove.slope-too-steep", "vertical_share"): ("1 %", "5 %", "fail"),
    ("groove.slope-too-steep", "peak"): ("2", None, None),
    ("groove.slope-too-steep", "velocity"): ("50 cm/s", None, None),
    ("groove.curvature-too-tight", "share"): ("2 %", "10 %", "fail"),
    ("groove.curvature-too-tight", "peak"): ("4", None, None),
    ("groove.drive-too-high", "in_1s"): ("200 g", "400 g", "fail"),
    ("groove.drive-too-high", "in_10s"): ("150 g", "300 g", "fail"),
    ("groove.drive-too-high", "peak"): ("5000 g", None, None),
    ("hf.sibilance-or-cymbals-too-strong", "share"): ("10 %", "30 %", "fail"),
    ("stereo.low-end-out-of-phase", "excursion"): ("40 um", "60 um", None),
    ("stereo.low-end-out-of-phase", "correlation"): ("0", None, None),
    ("groove.level-above-recommended", "over"): ("0 dB", "1 dB", None),
    ("groove.level-on-disc-too-low", "least"): ("-6 LU", "-12 LU", None),
    ("level.true-peak-too-high", "most"): ("0 dBTP", "+1 dBTP", None),
}


def test_the_shipped_limits_are_those_of_the_model_and_no_others(shipped):
    found = {
        (check, key): (limit.warn, limit.fail, limit.sets_level)
        for check, limits in shipped.limits.items()
        for key, limit in limits.items()
    }
    assert found == TABLE


def test_a_file_anywhere_names_itself_by_its_own_name(tmp_path, sources):
    path, _ = changed(tmp_path, "land: {value: 13 um", "land: {value: 20 um")
    loaded = load_ruleset(path, sources)
    assert loaded.chain.cut.land == pytest.approx(20e-6)
    assert loaded.limits["groove.too-little-land"]["least"].origin.startswith("house.yaml:")


WRONG = [
    ("subsonic: {value: 10 Hz", "subsonic: {value: 60 Hz", '"60 Hz" is out of bounds; it must be 2 to 40 Hz'),
    ("top: {value: 20 kHz", "top: {value: 20 Hz", "it must be 8 to 20 kHz"),
    ("top: {value: 20 kHz", "top: {value: 20 um", "20 um is a length, and a frequency is needed, in kHz"),
    ("top: {value: 20 kHz", "top: {value: twenty", '"twenty" is not a number with a unit'),
    ("land: {value: 13 um", "land: {value: -13 um", '"-13 um" is out of bounds'),
    ("land: {value: 13 um", "land: {value: 13", '"13" has no unit, and um is needed'),
    ("land: {value: 13 um, source: V-7}", "land: {value: 13 um}", '"source" is missing'),
    (
        "land: {value: 13 um, source: V-7}",
        "lands: {value: 13 um, source: V-7}",
        'key "lands"; did you mean "land"?',
    ),
    ("preview: {value: 0.5 turn", "preview: {value: 1 turn", "it must be 0 below 1 turn"),
    ("preview: {value: 0.5 turn", "preview: {value: 0.5 s", "0.5 s is a time, and a number of turns is needed"),
    ("depth: {value: variable", "depth: {value: deep", '"deep" must be one of variable, fixed'),
    ("polarity: {value: worst", "polarity: {value: both", "must be one of normal, inverted, worst"),
    ("keep_width: {value: 30 um", "keep_width: {value: 60 um", "60 um is wider than the top width"),
    ("nominal_depth: {value: 75 um", "nominal_depth: {value: 20 um", "20 um is too shallow for a groove 56 um"),
    ("max_pitch: {value: 500 um", "max_pitch: {value: 60 um", "less than one groove and its land, 69 um"),
    ("finishing: {value: 106.4 mm", "finishing: {value: 106.4 cm", '"106.4 cm" is out of bounds'),
    ("outer: {value: 292.6 mm", "outer: {value: 104 mm", "the finishing groove must lie inside"),
    ("back_angle: {value: 45 deg", "back_angle: {value: 90 deg", "it must be 10 to 80 deg"),
    ("size: 12in", "size: 12", '"size" is "12"; it must be 12in, 10in or 7in'),
    ("version: 1.0.0", "version: first", '"first" is not a version; write it like 1.0.0'),
    ("name: disc-12in-33", "name: disc 12@33", "cannot name a ruleset"),
    ('needs_tool: ">=0.1"', 'needs_tool: ">=99"', "this ruleset needs sidegate >=99, and this is "),
    ('needs_tool: ">=0.1"', "needs_tool: new", '"new" does not say which versions'),
    ("schema: 1", "schema: 2", '"2" is not known to this version'),
    ("least: {warn: 120.65 mm, fail: 115 mm, sets_level: warn, source: 2b}", "least: {source: 2b}", "no value"),
    (
        "peak: {warn: 4, source: practice}",
        "peak: {warn: 4, sets_level: fail, source: practice}",
        '"sets_level" is fail, and this limit has no "fail"',
    ),
    ("peak: {warn: 4, source: practice}", "peak: {warn: 4}", '"source" is missing; write it as source: practice'),
    ("peak: {warn: 4, source: practice}", "peak: {warn: four, source: practice}", '"four" is not a number'),
    (
        "peak: {warn: 4, source: practice}",
        "peak: {warn: 4, source: C-33}",
        'the source "C-33" is unknown; did you mean "C-3"?',
    ),
    ("peak: {warn: 4, source: practice}", 'peak: {warn: 4, source: "C-3; hearsay"}', 'source "hearsay" is unknown'),
    ("peak: {warn: 4, source: practice}", 'peak: {warn: 4, source: "house: "}', '"house:" says nothing'),
    ("tip_radius: {value: 8 um, source: G-15}", "tip_radius: {value: 8 um, source: G15}", "did you mean"),
    ("off: {}", "off: {groove.cut-too-deep: }", '"groove.cut-too-deep" is empty; fill it in'),
    ("off: {}", 'off: {groove.cut-too-deep: " "}', "this is blank"),
    ("off: {}", "extends: disc-12in-33@1.0.0", "(disc-12in-33@1.0.0 extends disc-12in-33@1.0.0)"),
    ("off: {}", "extends: ", '"extends" is empty or holds several; name one ruleset, as NAME@VERSION'),
    ("off: {}", "measures: ", '"measures" is empty; fill it in'),
    ("off: {}", "of: {}", 'unknown key "of"; did you mean "off"?'),
]


@pytest.mark.parametrize(("old", "new", "says"), WRONG, ids=[f"{new} - {says}" for _, new, says in WRONG])
def test_a_wrong_file_is_refused_in_one_sentence_with_its_line(tmp_path, sources, old, new, says):
    path, line = changed(tmp_path, old, new)
    sentence = refused(path, sources)
    other = {"outer: {value: 104 mm": line + 1}.get(new, line)  # there the finishing groove is at fault
    assert sentence.startswith(f"{path}:{other}: "), sentence
    assert says in sentence
    assert "\n" not in sentence


def test_a_missing_chain_value_is_named(tmp_path, sources):
    line = next(one for one in SHIPPED.read_text().splitlines(keepends=True) if "max_pitch" in one)
    path, _ = changed(tmp_path, line, "")
    assert '"max_pitch" is missing; add it with its keys value, source' in refused(path, sources)


def test_a_house_says_it_in_its_own_words(tmp_path, sources):
    path, _ = changed(
        tmp_path, "peak: {warn: 4, source: practice}", 'peak: {warn: 4, source: "C-3; house: intake sheet 2"}'
    )
    loaded = load_ruleset(path, sources)
    assert loaded.limits["groove.curvature-too-tight"]["peak"].source == "C-3; house: intake sheet 2"


def test_a_check_is_put_off_with_a_reason(tmp_path, sources):
    path, line = changed(tmp_path, "off: {}", "off: {groove.cut-too-deep: we cut on thick plates}")
    loaded = load_ruleset(path, sources)
    assert loaded.off == {"groove.cut-too-deep": "we cut on thick plates"}
    assert loaded.off_origins == {"groove.cut-too-deep": f"house.yaml:{line}"}


def test_a_file_must_be_what_its_place_says(sources):
    with pytest.raises(RulesetError, match=r'1\.0\.0\.yaml:9: the name is "disc-12in-33", and the folder'):
        load_ruleset(Available(SHIPPED, "disc-10in-33", "1.0.0"), sources)
    with pytest.raises(RulesetError, match=r"1\.0\.0\.yaml:10: the version is 1\.0\.0, and the file is named for"):
        load_ruleset(Available(SHIPPED, "disc-12in-33", "1.1.0"), sources)


@pytest.mark.parametrize("text", ["", "[]", "just a line", "limits: {a: 1, a: 2}", "a: b: c"])
def test_what_is_no_ruleset_is_refused(tmp_path, sources, text):
    path = tmp_path / "house.yaml"
    path.write_text(text, encoding="utf-8")
    assert refused(path, sources).startswith(f"{path}:1: ")


def test_a_file_that_is_not_there(tmp_path, sources):
    assert "there is no such file" in refused(tmp_path / "none.yaml", sources)


def test_what_a_ruleset_requires(tmp_path, sources, shipped):
    assert missing_requirements(shipped, {}) == []
    path, _ = changed(tmp_path, 'requires: {sidegate: ">=0.1"}', 'requires: {Acme_Rules: ">=2", odd: ">=1"}')
    wants = load_ruleset(path, sources)
    says = "disc-12in-33@1.0.0 requires {}; install {}, or name another ruleset"
    assert missing_requirements(wants, {"acme-rules": "2.1", "odd": "1.0rc1.post"}) == [
        says.format("odd >=1, and 1.0rc1.post is installed", "such a version")
    ]
    assert missing_requirements(wants, {"acme.rules": "1.9", "odd": "1"}) == [
        says.format("Acme_Rules >=2, and 1.9 is installed", "such a version")
    ]
    assert missing_requirements(wants, {"odd": "1"}) == [says.format("Acme_Rules >=2, which is not installed", "it")]
