"""The rulesets of the six discs: each loads and is found by its disc, and holds the values of the published tables."""

from pathlib import Path

import numpy as np
import pytest

import qc_rulesets
from qc.delivery.reader import parse_delivery
from qc.groove.level.rows import LevelPolicy
from qc.model.quantity import parse, read
from qc.ruleset.find import find
from qc.ruleset.load import load_ruleset
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources, keys_of
from qc.testing.deliveries import Sent, deliver, judge
from support.houses import judging
from support.signals import both, tone

HOME = Path(str(qc_rulesets.qc_rulesets()))
SOURCES = Sources([HOME])
DISCS = {  # outer, finishing, least last diameter to warn and to fail, in mm; tables 2a to 2d
    ("12in", "33"): ("292.6 mm", "106.4 mm", "120.65 mm", "115 mm"),
    ("12in", "45"): ("292.6 mm", "106.4 mm", "120.65 mm", "115 mm"),
    ("10in", "33"): ("241.8 mm", "106.4 mm", "120.65 mm", "115 mm"),
    ("10in", "45"): ("241.8 mm", "106.4 mm", "120.65 mm", "115 mm"),
    ("7in", "33"): ("168.3 mm", "97.4 mm", "107.95 mm", "106 mm"),
    ("7in", "45"): ("168.3 mm", "97.4 mm", "107.95 mm", "106 mm"),
}
SOURCE_OF = {"12in": ("D-5", "D-9"), "10in": ("D-6", "D-9"), "7in": ("D-7", "D-10")}
VERSION = dict.fromkeys(DISCS, "3.2.0")
SETS_LEVEL_NOW = {"stereo.low-end-out-of-phase": "excursion"}
"""Limits that judge since 1.0.0 and set the level since 2.0.0."""
BY_TIME = {"groove.slope-too-steep", "groove.curvature-too-tight", "hf.sibilance-or-cymbals-too-strong"}
"""Checks whose limits count time since 3.0.0."""
OTHERWISE = {
    "stereo.low-end-out-of-phase": {"correlation": {"correlation_where_deep": ("0", None, None, "C-14; practice")}},
    "groove.level-on-disc-too-low": {"least": {"least": ("-6 LU", "-12 LU", None, "practice")}},
}
"""Limits that 3.0.0 compares with something else, or cites otherwise."""
FIRST = load_ruleset(find("disc-12in-33@1.0.0", [HOME]), SOURCES)
ALIGN = 10.0 ** (-18.0 / 20.0)
RATE = 48_000

each = pytest.mark.parametrize("disc", DISCS, ids="-".join)


def loaded(disc):
    return load_ruleset(serving(*disc, [HOME]), SOURCES)


def test_every_disc_has_one_ruleset_and_there_are_no_others():
    assert {there.name for there in judging()} == {f"disc-{size}-{speed}" for size, speed in DISCS}


@each
def test_a_disc_finds_its_ruleset(disc):
    ruleset = loaded(disc)
    assert (ruleset.name, ruleset.version, ruleset.serves) == (f"disc-{'-'.join(disc)}", VERSION[disc], disc)
    assert (ruleset.chain.disc.size, ruleset.chain.disc.speed) == disc


@each
def test_the_disc_is_that_of_the_tables(disc):
    outer, finishing, warn, fail = DISCS[disc]
    ruleset = loaded(disc)
    rows = ruleset.chain_rows["disc"]
    assert (rows["outer"]["value"], rows["finishing"]["value"]) == (outer, finishing)
    assert (rows["outer"]["source"], rows["finishing"]["source"]) == SOURCE_OF[disc[0]]
    assert ruleset.chain.disc.outer == pytest.approx(read(outer, "m"))
    assert ruleset.chain.disc.finishing == pytest.approx(read(finishing, "m"))
    last = ruleset.limits["groove.last-diameter-too-small"]["least"]
    assert (last.warn, last.fail, last.sets_level) == (warn, fail, "warn")


@each
def test_everything_else_is_as_in_the_first_ruleset(disc):
    ruleset = loaded(disc)
    assert ruleset.chain_rows["signal"] == FIRST.chain_rows["signal"]
    assert ruleset.chain_rows["cut"] == FIRST.chain_rows["cut"]
    assert ruleset.chain_rows["playback"] == FIRST.chain_rows["playback"]
    assert ruleset.chain_rows["disc"]["mark_width"] == FIRST.chain_rows["disc"]["mark_width"]
    for check in set(FIRST.limits) - {"groove.last-diameter-too-small", *BY_TIME}:
        first = values(FIRST, check)
        for key, other in OTHERWISE.get(check, {}).items():
            assert first.pop(key) is not None
            first |= other
        if check in SETS_LEVEL_NOW:
            warn, fail, sets, source = first[SETS_LEVEL_NOW[check]]
            assert sets is None
            first[SETS_LEVEL_NOW[check]] = (warn, fail, "fail", source)
        assert values(ruleset, check) == first, check


@each
def test_the_recommended_level_lies_at_the_edge(disc):
    assert loaded(disc).policy == LevelPolicy("edge")
    assert loaded(disc).limits["layout.lead-out-room"]["least"].sets_level == "fail"
    assert loaded(disc).level_rows["margin"] == {"value": "1 dB", "source": "practice"}


@each
def test_what_was_added_is_the_same_on_every_disc(disc):
    ruleset, newest = loaded(disc), loaded(("12in", "33"))
    assert set(ruleset.limits) == set(newest.limits)
    for check in set(newest.limits) - {"groove.last-diameter-too-small"}:
        assert numbers(ruleset, check) == numbers(newest, check), check


def values(ruleset, check):
    return {key: (one.warn, one.fail, one.sets_level, one.source) for key, one in ruleset.limits[check].items()}


def numbers(ruleset, check):
    return {key: (one.warn, one.fail, one.sets_level) for key, one in ruleset.limits[check].items()}


@each
def test_each_disc_is_what_it_was_before_the_six_had_one_parent(disc):
    """Limit for limit and value for value: 2.0.0 is one whole file a disc."""
    name = f"disc-{'-'.join(disc)}"
    ruleset, before = (load_ruleset(find(f"{name}@{version}", [HOME]), SOURCES) for version in ("2.0.1", "2.0.0"))
    assert (before.extends, [parent.name for parent in ruleset.extends]) == ((), ["disc-common"])
    assert {check: cited(ruleset, check) for check in ruleset.limits} == {
        check: cited(before, check) for check in before.limits
    }
    for part in ("chain", "chain_rows", "level_rows", "policy", "off", "measures", "requires", "needs_tool", "serves"):
        assert getattr(ruleset, part) == getattr(before, part), part
    assert list(ruleset.chain_rows["disc"]) == list(before.chain_rows["disc"])


def cited(ruleset, check):
    """Limit -> its values in SI with their unit, what it sets, its source, and how far each key of that is trusted."""
    return {
        key: (
            [None if written is None else parse(written) for written in (limit.warn, limit.fail)],
            limit.sets_level, limit.source,
            [SOURCES[part].confidence for part in keys_of(limit.source) if part in SOURCES],
        )
        for key, limit in ruleset.limits[check].items()
    }  # fmt: skip


@each
def test_a_disc_says_itself_only_what_differs_from_disc_to_disc(disc):
    ruleset = loaded(disc)
    own = f"disc-{'-'.join(disc)}/3.2.0.yaml:"
    origins = {(check, key): limit.origin for check in ruleset.limits for key, limit in ruleset.limits[check].items()}
    assert {place for place, origin in origins.items() if origin.startswith(own)} == {
        ("groove.last-diameter-too-small", "least"), ("layout.lead-out-room", "least"),
    }  # fmt: skip
    assert all(
        origin.startswith((own, "disc-common/3.0.0.yaml:", "disc-common/3.1.0.yaml:", "disc-common/3.2.0.yaml:"))
        for origin in origins.values()
    )


@each
def test_there_is_room_to_lead_out_where_no_warning_is_given(disc):
    """At D-8's 6.4 mm a turn the least diameter that does not warn leaves three quarters of a turn at the least."""
    _, finishing, warn, _ = DISCS[disc]
    assert (read(warn, "mm") - read(finishing, "mm")) / 2.0 / 6.4 >= 0.75


def test_a_delivery_without_a_ruleset_is_read_for_every_disc():
    for size, speed in DISCS:
        text = f"schema: 1\ntitle: x\ndisc: {{size: {size}, speed: {speed}}}\nsides: [{{id: A, audio: a.wav}}]\n"
        disc = parse_delivery(text.encode(), Path("delivery.yaml"), Path()).delivery.disc
        assert (disc.size, disc.speed) == (size, speed)


# -- closed forms on audio -------------------------------------------------------------------------------------


def judged_on(tmp_path, disc, side):
    folder = deliver(tmp_path / "delivery", {"A": side}, size=disc[0], speed=int(disc[1]))
    report = judge(folder, tmp_path / "report.json")
    assert report.report["ruleset"]["name"] == f"disc-{'-'.join(disc)}"
    assert report.report["ruleset"]["version"] == VERSION[disc]
    return report


SPEED_CM_S = {  # at the outer diameter; table 2e
    ("12in", "45"): 68.942,
    ("10in", "33"): 42.202,
    ("7in", "33"): 29.374,
    ("7in", "45"): 39.655,
}
TURNS_A_MINUTE = {"33": 100.0 / 3.0, "45": 45.0}


@pytest.mark.parametrize("disc", SPEED_CM_S, ids="-".join)
def test_the_groove_runs_as_fast_as_table_2e_says(tmp_path, disc):
    """The slope is velocity over groove speed: 1 kHz at -18 dBFS moves at 5 cm/s, on the first two turns."""
    side = Sent(both(tone(1_000.0, 2.0, RATE, ALIGN)), RATE, more={"cut_level": "0 dB"})
    report = judged_on(tmp_path, disc, side)
    speed = 5.0 / report.value("groove.lateral_slope_peak")
    assert speed == pytest.approx(SPEED_CM_S[disc], rel=4e-3)
    assert report.side()["geometry"]["rpm"] == pytest.approx(TURNS_A_MINUTE[disc[1]])


@pytest.mark.parametrize("disc", [("12in", "45"), ("7in", "45")], ids="-".join)
def test_silence_takes_69_um_a_turn(tmp_path, disc):
    """Width 56 and land 13 um: 2 min at 45 are 90 turns and 6.21 mm."""
    x = np.zeros(120 * RATE)
    x[-RATE // 100 :] = tone(5_000.0, 0.01, RATE, np.sqrt(2.0) * 10.0 ** (-50.0 / 20.0), fade=0.001)
    report = judged_on(tmp_path, disc, Sent(x, RATE, coding="PCM_24", more={"cut_level": "0 dB"}))
    outer = read(DISCS[disc][0], "mm")
    assert report.value("groove.travel") == pytest.approx(90.0 * 0.069, abs=0.003)
    assert report.value("groove.last_diameter") == pytest.approx(outer - 2.0 * 90.0 * 0.069, abs=0.006)
    assert report.side()["geometry"]["mean_pitch_um"] == pytest.approx(69.0, abs=0.02)
    assert report.side()["geometry"]["sectors_a_turn"] == 100
    assert report.side()["geometry"]["tracks"][0]["start_radius_mm"] == pytest.approx(outer / 2.0, abs=0.002)


def test_a_seven_inch_side_is_held_to_its_own_last_diameter(tmp_path):
    report = judged_on(tmp_path, ("7in", "45"), Sent(both(tone(1_000.0, 2.0, RATE, 0.05)), RATE))
    limit = report.report["ruleset"]["limits"]["groove.last-diameter-too-small/least"]
    assert (limit["warn"], limit["fail"], limit["unit"]) == (107.95, 106.0, "mm")
    assert limit["source"] == "D-23; 2c"
    assert report.value("groove.last_diameter") < 168.3
