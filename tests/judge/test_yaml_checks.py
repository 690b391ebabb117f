"""Limits without code: a ruleset holds any published measurement against limits, and it is a check like any other."""

from __future__ import annotations

import math

import numpy as np
import pytest

import qc_rulesets
import qc_standard
from qc import api
from qc.cli.main import main
from qc.judge.bind import bind
from qc.model.errors import RulesetError
from qc.plugin_host.host import Host
from qc.testing.deliveries import Sent, deliver
from support.houses import Houses

HOST = Host.build((), extra=[("standard", qc_standard), ("rulesets", qc_rulesets)])
UNITS = api.units(HOST.needs)
WORDS = "why: Quiet sides show surface noise., remedy: Ask for a louder copy."


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "rulesets")


def measured(houses, entry, name="house.quiet-side", more=""):
    return houses.put_at("house.yaml", "house@1.0.0", f"measures:\n  {name}: {{{entry}, {WORDS}}}\n{more}")


def refused(houses, path):
    with pytest.raises(RulesetError) as caught:
        bind(houses.load(path), HOST.checks, UNITS)
    assert "\n" not in str(caught.value)
    return str(caught.value)


LEAST = 'measure: loudness.integrated, at_least: {warn: -22 LUFS, fail: -30 LUFS, source: "house: intake sheet 2"}'


def test_a_check_without_code_is_bound_like_any_other(houses):
    bound = bind(houses.load(measured(houses, LEAST)), HOST.checks, UNITS)
    check = next(check for check in bound.checks if check.id == "house.quiet-side")
    assert (check.title, check.why, check.remedy) == (
        "Quiet side", "Quiet sides show surface noise.", "Ask for a louder copy.",
    )  # fmt: skip
    limit = check.limits.at_least
    assert (limit.warn, limit.fail, limit.unit, limit.source) == (-22.0, -30.0, "LUFS", "house: intake sheet 2")
    assert limit.origin == "house.yaml:6"
    others = bind(houses.load("disc-12in-33@1.1.0"), HOST.checks, UNITS)
    assert [one.id for one in bound.checks if one.id != check.id] == [one.id for one in others.checks]
    assert bound.rows == others.rows


def test_a_check_without_code_may_set_the_level(houses):
    entry = "measure: groove.wall_velocity_peak, at_most: {fail: 0.3 m/s, sets_level: fail, source: practice}"
    rows = bind(houses.load(measured(houses, entry)), HOST.checks, UNITS).rows
    (row,) = (row for row in rows if row.check == "house.quiet-side")
    assert (row.measure, row.op, row.setting, row.unit) == (
        "groove.wall_velocity_peak", "<=", pytest.approx(30.0), "cm/s",
    )  # fmt: skip


def test_a_check_without_code_that_is_off_is_not_judged(houses):
    path = measured(houses, LEAST, more="off: {house.quiet-side: this label is quiet}\n")
    assert "house.quiet-side" not in [one.id for one in bind(houses.load(path), HOST.checks, UNITS).checks]


BOTH = "measure: loudness.integrated, at_most: {warn: -10 LUFS, fail: -12 LUFS, source: practice}"
WRONG = {
    "an unknown measurement": (
        "measure: loudness.intergrated, at_least: {warn: -22 LUFS, source: practice}",
        'house.yaml:6: nothing installed measures "loudness.intergrated"; did you mean "loudness.integrated"?',
    ),
    "the wrong unit": (
        "measure: loudness.integrated, at_least: {warn: -22 um, source: practice}",
        'house.yaml:6: the limit "at_least" of "house.quiet-side": -22 um is a length, and a level in LUFS is needed',
    ),
    "no limit": ("measure: loudness.integrated", 'house.yaml:6: this measure has no limit; give it "at_least"'),
    "neither warn nor fail": (
        "measure: loudness.integrated, at_least: {source: practice}", "house.yaml:6: this limit has no value",
    ),
    "a warning beyond the failure": (
        BOTH, 'house.yaml:6: the limit "at_most" of "house.quiet-side" warns above -10 LUFS and already fails above',
    ),
    "no source": ("measure: loudness.integrated, at_least: {warn: -22 LUFS}", 'house.yaml:6: "source" is missing'),
    "a level that it cannot set": (
        "measure: loudness.integrated, at_least: {warn: -22 LUFS, sets_level: warn, source: practice}",
        "cannot set the level: loudness.integrated does not get worse as the level rises",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("entry", "says"), WRONG.values(), ids=WRONG)
def test_what_does_not_fit_is_refused_with_file_and_line(houses, entry, says):
    assert says in refused(houses, measured(houses, entry))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("level.clipped", '"level.clipped" has limits of its own; give this measure another name, or set those'),
        ("quiet", '"quiet" cannot name what is found; write it like house.quiet-side'),
        ("House.quiet", "cannot name what is found"),
        ("layout.of-mine", None),
    ],
)
def test_a_check_without_code_is_named_like_any_other(houses, name, says):
    path = measured(houses, LEAST, name)
    if says is None:
        assert name in [one.id for one in bind(houses.load(path), HOST.checks, UNITS).checks]
    else:
        assert says in refused(houses, path)


def test_an_installed_check_keeps_its_name(houses):
    path = houses.put_at("alone.yaml", "house@1.0.0", f"measures:\n  layout.own: {{{LEAST}, {WORDS}}}\n")
    house = houses.load(path)
    with pytest.raises(RulesetError, match=r'alone.yaml:6: "layout.own" is a check that is installed'):
        bind(house, {**HOST.checks, "layout.own": HOST.checks["level.clipped"]}, UNITS)


def sine(peak):
    """A 1 kHz sine in both channels, (2, n)."""
    x = peak * np.sin(2.0 * math.pi * 1000.0 * np.arange(4 * 48_000) / 48_000)
    return np.vstack([x, x])


@pytest.mark.parametrize(("peak_db", "outcome"), [(-21.0, "pass"), (-24.0, "warn"), (-33.0, "fail")])
def test_a_check_without_code_judges_a_measurement(houses, tmp_path, peak_db, outcome):
    """A sine of that peak in both channels has as many LUFS, within 0.1 LU (EBU Tech 3341, first cases)."""
    path = measured(houses, LEAST)
    folder = deliver(tmp_path / "delivery", {"A": Sent(sine(10.0 ** (peak_db / 20.0)))})
    report = api.check(folder, api.Options(ruleset=str(path)), HOST)
    result = next(result for result in report.results if result.check == "house.quiet-side")
    assert result.outcome == outcome
    assert result.measured["loudness.integrated"].value == pytest.approx(peak_db, abs=0.1)
    for found in result.findings:
        assert found.remedy == "Ask for a louder copy."
        assert found.message.startswith("The measurement loudness.integrated is -")
    assert report.ruleset.limits["house.quiet-side/at_least"].origin == "house.yaml:6"
    assert [(one.name, one.version) for one in report.ruleset.extends] == [("disc-12in-33", "1.1.0")]


def test_explain_shows_a_check_without_code(houses, capfdbinary):
    assert main(["explain", "house.quiet-side", "--ruleset", str(measured(houses, LEAST))]) == 0
    told = " ".join(capfdbinary.readouterr().out.decode().split())
    for words in (
        "house.quiet-side: Quiet side", "Quiet sides show surface noise.", "Ask for a louder copy.",
        "brought by the ruleset house@1.0.0", "at_least: warn -22 LUFS, fail -30 LUFS", "set in house.yaml:6",
    ):  # fmt: skip
        assert words in told
