"""Which kind of release a change is: the rules, and that the released rulesets keep them."""

from __future__ import annotations

from itertools import pairwise

import pytest

import qc_rulesets
import qc_standard
from qc.plugin_host.host import Host
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources
from qc.ruleset_diff.compare import sides_of
from qc.ruleset_diff.delta import compared
from qc.ruleset_diff.semver import KINDS, keeps_its_word, kind_of, reasons, step
from support.houses import PARENT, SHIPPED, Houses, judging

HOST = Host.build((), extra=[("standard", qc_standard), ("rulesets", qc_rulesets)])
OPS = sides_of(HOST)


def following():
    """Every two released versions of a name that follow each other."""
    released = [there for there in judging() if there.released]
    return [(one, two) for one, two in pairwise(released) if one.name == two.name]


def test_released_versions_keep_what_their_numbers_promise():
    pairs = following()
    assert pairs
    for one, two in pairs:
        before, after = (load_ruleset(there, Sources([SHIPPED])) for there in (one, two))
        promised = step(one.version, two.version)
        assert promised is not None
        found = compared(before, after, OPS)
        assert keeps_its_word(kind_of(found), promised), reasons(found)[0]


MEASURE = (
    "measures: {house.quiet: {measure: loudness.integrated, at_least: {warn: -22 LUFS, source: practice}, "
    "why: Why., remedy: Remedy.}}\n"
)
DEPTH = "measures: {house.deep: {measure: groove.depth_max, why: Why., remedy: Remedy., at_most: "
CHANGES = {
    "nothing": ("", "", "none"),
    "a source": ("", 'chain: {cut: {land: {value: 13 um, source: "house: us"}}}\n', "patch"),
    "a value written otherwise": ("", "chain: {cut: {land: {value: 0.013 mm, source: V-7}}}\n", "none"),
    "the source of a limit": (
        "", 'limits: {level.true-peak-too-high: {most: {warn: 0 dBTP, fail: +1 dBTP, source: "house: us"}}}\n', "patch",
    ),
    "a reason": ("off: {level.clipped: by eye}\n", "off: {level.clipped: by ear}\n", "patch"),
    "words of a measure": (MEASURE, MEASURE.replace("Why.", "Because."), "patch"),
    "no more demands": ('requires: {acme: ">=1"}\n', "", "patch"),
    "a check that judges alone": ("off: {level.clipped: by eye}\n", "", "minor"),
    "a measure that judges alone": ("", MEASURE, "minor"),
    "a demand": ("", 'requires: {acme: ">=1"}\n', "minor"),
    "a newer tool": ("", 'needs_tool: ">=0.0.1"\n', "minor"),
    "a value of the chain": ("", "chain: {cut: {land: {value: 16 um, source: V-7}}}\n", "major"),
    "a tightened limit": (
        "", "limits: {level.true-peak-too-high: {most: {warn: -1 dBTP, fail: +1 dBTP, source: practice}}}\n", "major",
    ),
    "a loosened limit": (
        "", "limits: {level.true-peak-too-high: {most: {warn: 0 dBTP, source: practice}}}\n", "major",
    ),
    "a check less": ("", "off: {level.clipped: by eye}\n", "major"),
    "a check that sets the level": ("off: {groove.cut-too-deep: thick plates}\n", "", "major"),
    "a measure that sets the level": ("", DEPTH + "{fail: 90 um, sets_level: fail, source: practice}}}\n", "major"),
    "another measurement": (MEASURE, MEASURE.replace("loudness.integrated", "loudness.short_term_max"), "major"),
    "another disc": ("", "serves: {size: 12in, speed: 45}\n", "major"),
    "a limit more for a check that was there": (
        MEASURE, MEASURE.replace("why:", "at_most: {warn: -9 LUFS, source: practice}, why:"), "major",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("before", "after", "kind"), CHANGES.values(), ids=CHANGES)
def test_a_change_is_of_a_kind(tmp_path, before, after, kind):
    houses = Houses(tmp_path)
    one, two = houses.put("house@1.0.0", before), houses.put("house@2.0.0", after)
    found = compared(houses.load(one), houses.load(two), OPS)
    assert kind_of(found) == kind, reasons(found)
    assert bool(reasons(found)) == (kind != "none")
    if reasons(found):
        assert reasons(found)[0].kind == kind


@pytest.mark.parametrize(
    ("before", "after", "promised"),
    [
        ("1.0.0", "1.0.1", "patch"),
        ("1.0", "1.1.0", "minor"),
        ("1.9.3", "2.0.0", "major"),
        ("0.1.0", "0.2.0", "major"),
        ("0.1.0", "0.1.1", "patch"),
        ("0.9", "1.0", "major"),
        ("1.0.0", "1.0", "none"),
        ("1.0.0", "1.0.0.post1", "patch"),
        ("1.0.0", "1.0.0.1", "patch"),
        ("1.1.0", "1.0.0", None),
        ("1.0.0", "1.1.0rc1", None),
        ("1.0.0rc1", "1.0.0", None),
    ],
)
def test_what_version_numbers_promise(before, after, promised):
    assert step(before, after) == promised


def test_a_kind_may_stand_under_any_greater_promise():
    for i, kind in enumerate(KINDS):
        assert [keeps_its_word(kind, promised) for promised in KINDS] == [j >= i for j in range(4)]


def test_every_kind_of_difference_has_a_reason(tmp_path):
    """The shipped 12-inch ruleset and the single's: the disc, its diameters, limits."""
    houses = Houses(tmp_path)
    found = compared(houses.load(PARENT), houses.load("disc-7in-45@1.0.0"), OPS)
    says = " ".join(one.says for one in reasons(found))
    for part in ("serves 7in at 45", "disc.outer differs", "groove.last-diameter-too-small/least is loosened"):
        assert part in says
