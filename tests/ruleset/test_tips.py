"""The tips that a ruleset names: those that are shipped, a house's own, and what is refused."""

import pytest

from qc.cli.main import main
from qc.model.cutting_chain import NamedTip
from qc.model.errors import RulesetError, UsageError
from qc.ruleset.overrides import changed, read_changes
from support.houses import Houses, judging

DESK = '"house: desk notes"'
PARENT = "disc-12in-33@3.0.0"


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "rulesets")


def test_the_shipped_tips_are_three_one_of_them_the_chains_own(houses):
    shipped = houses.load(PARENT)
    assert [(tip.name, tip.size) for tip in shipped.tips] == [
        ("spherical", "18 um"), ("elliptical", "8 x 18 um"), ("line contact", "5 um"),
    ]  # fmt: skip
    assert [tip.name for tip in shipped.tips if tip.along == shipped.chain.playback.tip_radius] == ["elliptical"]
    assert shipped.tip_rows["elliptical"] == {"value": "8 x 18 um", "source": "G-15"}


def test_rulesets_before_3_name_no_tips(houses):
    named = {there.version for there in judging() if houses.load(f"{there.name}@{there.version}").tips}
    assert named == {"3.0.0", "3.1.0", "3.2.0"}


def test_a_house_states_a_tip_of_its_own_whole_and_keeps_the_others(houses):
    houses.put("house@1.0.0", f"tips:\n  line contact: {{along: 4 um, across: 40 um, source: {DESK}}}\n", PARENT)
    spherical, elliptical, slim = houses.load("house").tips
    assert (spherical, elliptical) == houses.load(PARENT).tips[:2]
    assert slim == NamedTip("line contact", 4e-6, 40e-6)


REFUSED = {
    'unknown key "sphericl"; did you mean "spherical"?': f"sphericl: {{radius: 18 um, source: {DESK}}}",
    'unknown key "conical"; the keys here are spherical, elliptical, line contact':
        f"conical: {{radius: 15 um, source: {DESK}}}",
    '"radius" is missing; write it as radius: 18 um': f"spherical: {{source: {DESK}}}",
    'unknown key "along"; the keys here are radius, source':
        f"spherical: {{radius: 18 um, along: 8 um, source: {DESK}}}",
    '"radius": "60 um" is out of bounds; it must be 1 to 50 um':
        f"spherical: {{radius: 60 um, source: {DESK}}}",
    "write a number and its unit, um": f"spherical: {{radius: 18 kHz, source: {DESK}}}",
    "the radius along the groove, 18 um, must be less than that across it, 8 um":
        f"elliptical: {{along: 18 um, across: 8 um, source: {DESK}}}",
    '"source" is missing': "line contact: {along: 5 um}",
    "Q-99": "spherical: {radius: 18 um, source: Q-99}",
}  # fmt: skip


@pytest.mark.parametrize("says", REFUSED)
def test_a_wrong_tip_is_refused_in_one_sentence_with_its_line(houses, says):
    path = houses.put_at("house.yaml", "house@1.0.0", f"tips:\n  {REFUSED[says]}\n", PARENT)
    with pytest.raises(RulesetError) as caught:
        houses.load(path)
    assert "house.yaml:6: " in str(caught.value)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_chain_takes_a_tip_by_its_name_for_one_run(houses):
    shipped = houses.load(PARENT)
    for name, written in (("spherical", "18 um"), ("line-contact", "5 um"), ("line contact", "5 um")):
        other = changed(shipped, read_changes([f"playback.tip_radius={name}"]))
        assert other == changed(shipped, read_changes([f"playback.tip_radius={written}"]))
    with pytest.raises(UsageError, match='names no such tip; did you mean "spherical"') as caught:
        changed(shipped, read_changes(["playback.tip_radius=sferical"]))
    assert "--chain playback.tip_radius=sferical" in str(caught.value)
    with pytest.raises(UsageError, match="write a number and its unit, um"):
        changed(houses.load("disc-12in-33@2.0.1"), read_changes(["playback.tip_radius=spherical"]))


def test_explain_lists_the_names_with_their_sources(capfd):
    assert main(["explain", "playback.tip_radius"]) == 0
    said = " ".join(capfd.readouterr().out.split())
    assert "or by name spherical (18 um), elliptical (8 x 18 um), line contact (5 um)" in said
    assert "G-13" in said
