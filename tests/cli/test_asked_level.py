"""What a lower level fixes: the claim, held against the same delivery judged at the recommended level."""

from __future__ import annotations

import re

import pytest
import soundfile

from qc.model.report import Report
from qc.report.views.requested_level import fixed_by_recommended
from support.command import PINNED, RATE, programme
from support.signals import opposed, tone

ABOVE = "groove.level-above-recommended"
SAID = re.compile(r"That level fixes (\d+) of the (\d+) others too\.")


@pytest.fixture
def bass_out_of_phase(bench):
    """Write a delivery whose side A has bass out of phase, and a track that is not where it should be, at a level."""

    def write(level):
        text = PINNED.replace("end: 2.0}", "end: 7.0}").replace("cut_level: 0 dB", f"cut_level: {level:.1f} dB", 1)
        bench.deliver(text)
        x = programme(12.0, peak=0.25).T
        burst = opposed(tone(60.0, 0.3, RATE, 0.5, fade=0.1))
        x[:, 3 * RATE : 3 * RATE + burst.shape[1]] += burst
        soundfile.write(bench.folder / "side-a.wav", x.T, RATE, subtype="PCM_24")
        return bench

    return write


def failing(ran):
    return {check for check, outcome in ran.outcomes("A").items() if outcome == "fail"}


def test_what_is_said_to_be_mended_by_the_level_is(bass_out_of_phase):
    bench = bass_out_of_phase(0.0)
    loud = bench.check()
    said = SAID.search(" ".join(bench.run("check", ".").out.decode().split()))
    gone, others = int(said[1]), int(said[2])
    recommended = loud.report["sides"][0]["levels"]["recommended"]["value"]
    softer = bass_out_of_phase(recommended).check()
    assert failing(loud) >= {ABOVE, "groove.top-width-too-narrow"}
    assert others == len(failing(loud) - {ABOVE})
    fixed = failing(loud) - failing(softer) - {ABOVE}
    assert gone == len(fixed)
    assert set(loud.report["sides"][0]["levels"]["fixed_at_recommended"]) - {ABOVE} == fixed
    # Checks of limits that do not set the level follow it too.
    setting = {
        name.partition("/")[0] for name, limit in loud.report["ruleset"]["limits"].items() if limit["sets_level"]
    }
    assert not failing(softer) & setting
    assert fixed - setting


def test_nothing_is_said_where_the_level_is_no_higher_than_recommended(bass_out_of_phase):
    loud = Report.model_validate(bass_out_of_phase(0.0).check().report)
    assert fixed_by_recommended(loud, loud.sides[0]).by_level > 0
    recommended = loud.sides[0].levels.recommended.value
    for level in (recommended, recommended - 3.0):
        report = Report.model_validate(bass_out_of_phase(level).check().report)
        assert report.sides[0].levels.fixed_at_recommended is None
        assert fixed_by_recommended(report, report.sides[0]).by_level == 0
    bare = loud.sides[0].model_copy(update={"levels": None})
    assert fixed_by_recommended(loud, bare).by_level == 0


def test_a_level_by_option_is_told_apart_from_the_recommended_one_too(bass_out_of_phase):
    """The same sentence, where the level comes from the command line."""
    asked = bass_out_of_phase(0.0).check().report["sides"][0]["levels"]
    given = bass_out_of_phase(-20.0).check("--level", "0 dB").report["sides"][0]["levels"]
    assert given["fixed_at_recommended"] == asked["fixed_at_recommended"]
    assert (given["declared"]["value"], given["judged"]["value"]) == (-20.0, 0.0)


def test_a_waiver_counts_a_finding_once_although_its_check_is_judged_twice(bass_out_of_phase):
    """Of two places that are too deep the louder is waived; at the recommended level it still warns."""
    bench, check = bass_out_of_phase(0.0), "groove.cut-too-deep"
    x, _ = soundfile.read(bench.folder / "side-a.wav", always_2d=True)
    burst = opposed(tone(60.0, 0.3, RATE, 0.7, fade=0.1))
    x[8 * RATE : 8 * RATE + burst.shape[1]] += burst.T
    soundfile.write(bench.folder / "side-a.wav", x, RATE, subtype="PCM_24")
    papers = bench.folder / "delivery.yaml"
    waiver = f"    waivers:\n      - {{check: {check}, from: 7.0, to: 9.0, reason: meant so, owner: the house}}\n"
    papers.write_text(papers.read_text().replace("    tracks:\n", f"{waiver}    tracks:\n", 1))
    hot, softer = bench.check(), bench.check("--level", "recommended")
    assert hot.result(check)["outcome"] == "fail"
    assert softer.result(check)["outcome"] == "waived"
    (facts,) = hot.report["waivers"]
    assert facts["findings"] == sum(one["waived_by"] is not None for one in hot.result(check)["findings"]) == 1
