"""A house ruleset that extends another: what it says is its own, everything else what it extends says, by line."""

from __future__ import annotations

import functools
import hashlib
import json
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.model.errors import PluginError, RulesetError
from qc.plugin_host.host import Host
from qc.ruleset.choose import loaded
from qc.ruleset.find import Available, find
from qc.ruleset.library import Shelf
from qc.ruleset.load import Extended, RawLimit, load_ruleset, missing_requirements
from qc.ruleset.overrides import keys
from qc.ruleset.read import read_file
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources
from support.houses import PARENT, SHIPPED, Houses

DESK = '"house: desk notes"'


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "rulesets")


def refused(houses, spec):
    with pytest.raises(RulesetError) as caught:
        houses.load(spec)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_file_that_says_nothing_is_what_it_extends(houses):
    houses.put("house@1.0.0")
    house, parent = houses.load("house@1.0.0"), houses.load(PARENT)
    for part in ("serves", "chain", "chain_rows", "limits", "off", "requires", "origins", "off_origins", "measures"):
        assert getattr(house, part) == getattr(parent, part)
    assert (house.name, house.version) == ("house", "1.0.0")
    assert house.extends == (Extended("disc-12in-33", "1.1.0", parent.sha256),)
    assert parent.extends == ()


def test_the_chain_is_taken_leaf_by_leaf_each_with_its_source(houses):
    houses.put("house@1.0.0", f"chain:\n  cut:\n    land: {{value: 16 um, source: {DESK}}}\n")
    house, parent = houses.load("house"), houses.load(PARENT)
    assert house.chain.cut.land == pytest.approx(16e-6)
    assert house.chain_rows["cut"]["land"] == {"value": "16 um", "source": "house: desk notes"}
    for key in keys():
        section, _, name = key.partition(".")
        if key != "cut.land":
            assert house.chain_rows[section][name] == parent.chain_rows[section][name]


def test_a_limit_is_replaced_whole(houses):
    """Nothing of the parent's limit is left: no fail, nothing that sets the level, no source."""
    houses.put(
        "house@1.0.0", f"limits:\n  groove.last-diameter-too-small:\n    least: {{warn: 118 mm, source: {DESK}}}\n"
    )
    house, parent = houses.load("house"), houses.load(PARENT)
    check = "groove.last-diameter-too-small"
    assert house.limits[check]["least"] == RawLimit("118 mm", None, "house: desk notes", None, "house/1.0.0.yaml:7")
    assert house.origins[check] == "house/1.0.0.yaml:6"
    others = {name: limits for name, limits in parent.limits.items() if name != check}
    assert {name: limits for name, limits in house.limits.items() if name != check} == others


def test_one_limit_of_a_check_leaves_its_others(houses):
    houses.put("house@1.0.0", "limits:\n  groove.slope-too-steep:\n    peak: {warn: 3, source: practice}\n")
    house, parent = houses.load("house"), houses.load(PARENT)
    limits = house.limits["groove.slope-too-steep"]
    assert limits["peak"].origin == "house/1.0.0.yaml:7"
    assert limits["velocity"] == parent.limits["groove.slope-too-steep"]["velocity"]
    assert limits["velocity"].origin.startswith("disc-12in-33/1.1.0.yaml:")


def test_a_check_is_put_off_with_a_reason_and_on_again_by_naming_it(houses):
    houses.put("house@1.0.0", "off:\n  level.clipped: we look by eye\n  groove.cut-too-deep: thick plates\n")
    houses.put("house@2.0.0", "limits:\n  level.clipped: {}\n", "house@1.0.0")
    first, second = houses.load("house@1.0.0"), houses.load("house@2.0.0")
    assert first.off == {"level.clipped": "we look by eye", "groove.cut-too-deep": "thick plates"}
    assert second.off == {"groove.cut-too-deep": "thick plates"}
    assert second.off_origins == {"groove.cut-too-deep": "house/1.0.0.yaml:7"}
    assert second.limits["level.clipped"] == houses.load(PARENT).limits["level.clipped"]
    houses.put("house@3.0.0", "off:\n  level.clipped:\n", "house@2.0.0")
    assert refused(houses, "house@3.0.0").endswith('house/3.0.0.yaml:6: "level.clipped" is empty; fill it in')


def test_measures_are_taken_by_name(houses):
    body = (
        "measures:\n"
        "  house.quiet-side:\n"
        "    measure: loudness.integrated\n"
        f"    at_least: {{warn: -22 LUFS, source: {DESK}}}\n"
        "    why: Quiet sides show surface noise.\n"
        "    remedy: Ask for a louder copy.\n"
    )
    houses.put("house@1.0.0", body)
    houses.put("house@1.1.0", "off: {house.quiet-side: this label is quiet}\n", "house@1.0.0")
    second = houses.load("house@1.1.0")
    assert second.measures == houses.load("house@1.0.0").measures
    raw = second.measures["house.quiet-side"]
    assert (raw.measure, raw.origin, raw.measured_at) == (
        "loudness.integrated", "house/1.0.0.yaml:6", "house/1.0.0.yaml:7",
    )  # fmt: skip
    assert raw.limits["at_least"].origin == "house/1.0.0.yaml:8"
    assert second.off == {"house.quiet-side": "this label is quiet"}


def test_what_each_generation_requires_is_required(houses):
    houses.put("house@1.0.0", 'requires: {acme-rules: ">=2", odd: ">=1"}\n')
    houses.put("house@2.0.0", 'requires: {acme-rules: "<3"}\n', "house@1.0.0")
    house = houses.load("house@2.0.0")
    assert house.requires == {"sidegate": ">=0.1", "acme-rules": ">=2,<3", "odd": ">=1"}
    assert missing_requirements(house, {"acme-rules": "2.5", "odd": "1"}) == []
    for there in ({"acme-rules": "3.0", "odd": "1"}, {"acme-rules": "1.9", "odd": "1"}, {"acme-rules": "2.0"}):
        assert len(missing_requirements(house, there)) == 1


def test_what_only_the_parent_requires_fails_the_run(houses):
    """Exit code 3, as for a ruleset that requires it itself."""
    houses.put("house@1.0.0", 'requires: {acme-rules: ">=2"}\n')
    houses.put("house@2.0.0", "", "house@1.0.0")
    host = Host.build(())
    with pytest.raises(PluginError, match=r"house@2\.0\.0 requires acme-rules >=2, which is not installed") as caught:
        loaded(find("house@2.0.0", houses.folders), host, Shelf(houses.folders))
    assert caught.value.exit_code == 3


def test_the_digest_is_over_the_file_and_what_it_extends(houses):
    """By hand: the SHA-256 of two lines, that of the file and that of what it extends, generation by generation."""
    one, two = houses.put("one@1.0.0"), houses.put("two@1.0.0", "", "one@1.0.0")

    def sha256(data):
        return hashlib.sha256(data).hexdigest()

    shipped = sha256((SHIPPED / "disc-12in-33" / "1.1.0.yaml").read_bytes())
    first = sha256(f"{sha256(one.read_bytes())}\n{shipped}\n".encode())
    second = sha256(f"{sha256(two.read_bytes())}\n{first}\n".encode())
    house = houses.load("two")
    assert house.sha256 == second
    assert house.extends == (Extended("one", "1.0.0", first), Extended("disc-12in-33", "1.1.0", shipped))
    one.write_text(one.read_text() + "# a word more\n")
    assert houses.load("two").sha256 != second
    assert houses.load("two").chain == house.chain


def test_a_file_anywhere_extends_an_installed_one(houses):
    path = houses.put_at("elsewhere.yaml", "house@1.0.0", "off: {level.clipped: by eye}\n")
    house = houses.load(path)
    assert house.off_origins == {"level.clipped": "elsewhere.yaml:5"}
    assert house.serves == ("12in", "33")


@pytest.mark.parametrize(
    ("extends", "says"),
    [
        ("disc-12in-33", '"extends" needs an exact version; write disc-12in-33@3.2.0'),
        ("disc-12in-33@", "write disc-12in-33@3.2.0"),
        ('"disc-12in-33@>=1.0"', "write disc-12in-33@3.2.0"),
        ("disc-12in-33@1.*", "write disc-12in-33@3.2.0"),
        ("disc-12in-33@1.7.0", "disc-12in-33 has no version 1.7.0; did you mean"),
        ("disc-12-33@1.0.0", 'no ruleset is called "disc-12-33"; did you mean "disc-12in-33"?'),
        ("../parent.yaml", "is named as NAME@VERSION, not by a path"),
        ("[a@1.0.0, b@1.0.0]", "name one ruleset, as NAME@VERSION"),
    ],
)  # fmt: skip
def test_what_is_extended_is_one_ruleset_of_one_version(houses, extends, says):
    path = houses.put("house@1.0.0", "", extends)
    sentence = refused(houses, "house")
    assert sentence.startswith(f"{path}:4: ")
    assert says in sentence


def test_a_circle_is_refused_with_its_names(houses):
    houses.put("a@1.0.0", "", "b@1.0.0")
    houses.put("b@1.0.0", "", "c@2.0")
    path = houses.put("c@2.0.0", "", "a@1.0")
    circle = "a ruleset cannot extend itself (a@1.0.0 extends b@1.0.0 extends c@2.0.0 extends a@1.0.0)"
    assert refused(houses, "a").startswith(f"{path}:4: {circle}")
    houses.put("d@1.0.0", "", "a@1.0.0")
    assert circle in refused(houses, "d")


WRONG = {
    "a value out of bounds": ("chain: {cut: {land: {value: -1 um, source: V-7}}}", 5, '"-1 um" is out of bounds'),
    "no source": ("chain: {cut: {land: {value: 16 um}}}", 5, '"source" is missing'),
    "a source nobody knows": ("chain: {cut: {land: {value: 16 um, source: V-77}}}", 5, 'the source "V-77" is unknown'),
    "a misspelt leaf": ("chain:\n  cut:\n    lnd: {value: 16 um, source: V-7}", 7, 'did you mean "land"?'),
    "a misspelt section": ("chain:\n  cutt: {}", 6, 'unknown key "cutt"; did you mean "cut"?'),
    "a misspelt key": ("limit: {}", 5, 'unknown key "limit"; did you mean "limits"?'),
    "a section of the wrong kind": ("chain:\n  cut: deep", 6, '"cut" is "deep"'),
    "nothing for a section": ("chain:", 5, '"chain" is empty; fill it in'),
    "a limit with no value": ("limits: {level.clipped: {runs: {source: practice}}}", 5, "this limit has no value"),
    "an empty reason": ('off: {level.clipped: ""}', 5, "this is blank"),
    "a groove too narrow for the tip": (
        "chain:\n  cut:\n    keep_width: {value: 10 um, source: V-7}\n    top_width: {value: 10.5 um, source: V-7}",
        None, "a tip of 8 um touches the walls 11.3 um apart, which is wider than the groove, 10.5 um",
    ),
    "another disc with the old diameters": (
        "serves: {size: 7in, speed: 45}", 5,
        "a 7in disc has diameters of its own; add chain.disc.outer and chain.disc.finishing",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("body", "line", "says"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_named_where_it_is_written(houses, body, line, says):
    path = houses.put("house@1.0.0", body + "\n")
    sentence = refused(houses, "house")
    assert says in sentence
    if line is not None:
        assert sentence.startswith(f"{path}:{line}: ")
        return
    parent = SHIPPED / "disc-12in-33" / "1.1.0.yaml"
    tip = next(i for i, text in enumerate(parent.read_text().splitlines(), 1) if "tip_radius" in text)
    assert sentence.startswith(f"{parent}:{tip}: ")  # the tip is the parent's, the width the child's
    assert sentence.endswith(f"(see line 8 of {path})")


def test_a_fault_of_what_is_extended_is_told_in_its_file(houses):
    path = houses.put("house@1.0.0", "chain: {cut: {land: {value: 0 um, source: V-7}}}\n")
    houses.put("house@2.0.0", "chain: {cut: {land: {value: 16 um, source: V-7}}}\n", "house@1.0.0")
    assert refused(houses, "house@2.0.0").startswith(f"{path}:5: ")


def test_another_disc_is_served_with_diameters_of_its_own(houses):
    disc = "chain: {disc: {outer: {value: 168.3 mm, source: D-7}, finishing: {value: 97.4 mm, source: D-10}}}\n"
    houses.put("single@1.0.0", f"serves: {{size: 7in, speed: 45}}\n{disc}")
    single = houses.load("single")
    assert single.serves == ("7in", "45")
    assert (single.chain.disc.size, single.chain.disc.speed) == ("7in", "45")
    houses.put("fast@1.0.0", "serves: {size: 12in, speed: 45}\n")  # the diameters do not hang on the speed
    assert houses.load("fast").chain.disc.rpm == 45.0


def test_the_ruleset_that_the_documents_show_loads(houses):
    text = (Path(__file__).parents[2] / "rulesets" / "README.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"^```yaml\n(schema: 1\nname: our.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)
    path = houses.folder / "shown.yaml"
    path.parent.mkdir()
    path.write_text(shown, encoding="utf-8")
    house = houses.load(path)
    assert house.chain.cut.land == pytest.approx(16e-6)
    assert set(house.measures) == {"house.quiet-side"}
    assert house.off == {"level.clipped": "our limiter sees to it"}


def _alone(size, speed):
    text = (SHIPPED / "disc-12in-33" / "1.1.0.yaml").read_text()
    return f"serves: {{size: {size}, speed: {speed}}}\n" + text[text.index("chain:\n") :]


WITHOUT_LAND = re.sub(r"    land: .*\n", "", _alone("12in", "33"))
COMMON = "abstract: true\nchain: {cut: {land: {value: 16 um, source: V-7}}}\nlimits: {level.clipped: {}}\n"


def test_an_abstract_ruleset_may_leave_parts_out_and_is_never_chosen(houses):
    path = houses.put("common@1.0.0", COMMON, None)
    sentence = refused(houses, "common")
    assert sentence.startswith(f"{path}:4: common is abstract: it can only be extended, not used by itself")
    with pytest.raises(RulesetError, match="those installed serve no disc at all"):
        serving("12in", "33", [houses.folder])
    child = houses.put("child@1.0.0", "serves: {size: 12in, speed: 33}\n", "common@1.0.0")
    assert refused(houses, "child").startswith(f'{child}:1: "signal" is missing; add it with its keys')
    houses.put("child@1.0.0", WITHOUT_LAND, "common@1.0.0")
    assert houses.load("child").chain.cut.land == pytest.approx(16e-6)
    assert serving("12in", "33", [houses.folder]).name == "child"


@pytest.mark.parametrize(
    ("body", "line", "says"),
    [
        ("abstract: yes\n", 4, '"abstract" is "yes"; it must be true'),
        (COMMON.replace("limits:", "limit:"), 6, 'unknown key "limit"; did you mean "limits"?'),
        (COMMON.replace("source: V-7", "source: V-77"), 5, 'the source "V-77" is unknown'),
        (COMMON.replace("land:", "lnd:"), 5, 'unknown key "lnd"; did you mean "land"?'),
        (COMMON.replace("16 um", "-1 um"), 5, '"-1 um" is out of bounds'),
    ],
)
def test_a_fault_of_an_abstract_ruleset_is_named_in_its_file_by_what_extends_it(houses, body, line, says):
    path = houses.put("common@1.0.0", body, None)
    houses.put("child@1.0.0", WITHOUT_LAND, "common@1.0.0")
    sentence = refused(houses, "child")
    assert sentence.startswith(f"{path}:{line}: ")
    assert says in sentence


ANY = st.recursive(
    st.sampled_from([None, "", "16 um", "practice", "-22 LUFS", "12in", "x"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=2),
        st.dictionaries(
            st.sampled_from(["cut", "land", "value", "source", "warn", "level.clipped", "house.quiet", "measure"]),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=8,
)
KEYS = ["serves", "chain", "limits", "off", "measures", "requires", "needs_tool", "extends", "colour"]


@functools.cache
def _read(path):
    return read_file(path)


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(KEYS), ANY, max_size=4))
def test_whatever_a_file_says_it_is_loaded_or_refused_in_one_sentence_with_a_line(houses, said):
    data = {"schema": "1", "name": "house", "version": "1.0.0", "extends": PARENT} | said
    path = houses.folder / "any.yaml"
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(f"{key}: {json.dumps(value)}" for key, value in data.items()), encoding="utf-8")

    def read(there):
        return read_file(there) if there == path else _read(there)

    try:
        load_ruleset(Available(path), Sources(houses.folders), read)
    except RulesetError as error:
        sentence = str(error)
        assert re.match(rf"{re.escape(str(path))}:[1-9]\d*: .", sentence), sentence
        assert "\n" not in sentence


def test_the_disc_finds_a_ruleset_that_inherits_it(houses):
    """The parent may be a release candidate, which no disc finds by itself."""
    houses.put("base@1.0.0rc1", _alone("10in", "45"), None)
    houses.put("house@1.0.0", "", "base@1.0.0rc1")
    assert serving("10in", "45", [houses.folder]).name == "house"
    assert Shelf([houses.folder, SHIPPED]).load(serving("10in", "45", [houses.folder])).serves == ("10in", "45")
