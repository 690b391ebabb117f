"""What comes with the level asked for: the claim, held against the same delivery cut at the recommended level."""

from __future__ import annotations

import re

import pytest
import soundfile

from command import PINNED, RATE, programme
from conftest import opposed, tone
from qc.report.asked import mended
from qc.report.model import Report

ABOVE = "groove.level-above-recommended"
SAID = re.compile(r"That level mends (\d+) of the (\d+) others too\.")


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
    mended = failing(loud) - failing(softer) - {ABOVE}
    assert 1 <= gone <= len(mended)
    setting = {
        name.partition("/")[0] for name, limit in loud.report["ruleset"]["limits"].items() if limit["sets_level"]
    }
    assert not failing(softer) & setting


def test_nothing_is_said_where_no_louder_level_was_asked_for(bass_out_of_phase):
    report = Report.model_validate(bass_out_of_phase(0.0).check().report)
    side = report.sides[0]
    assert mended(report, side).by_level > 0
    levels = side.levels
    lower = levels.recommended.model_copy(update={"value": levels.recommended.value - 1.0})
    for change in (
        {"declared": None},
        {"judged": lower, "declared": lower},
        {"recommended": levels.recommended.model_copy(update={"bound": "<"})},
    ):
        other = side.model_copy(update={"levels": levels.model_copy(update=change)})
        assert mended(report, other) == (0, mended(report, side).others)
    assert mended(report, side.model_copy(update={"levels": None})).by_level == 0
