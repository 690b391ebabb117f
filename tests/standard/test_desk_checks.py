"""What a mastering desk looks at beside the groove: clipping, loudness, layout, papers - on audio made for each.

Through the whole command and the shipped rulesets as they stand. Sides are cut at -40 dB, where the programme takes
no room: the spiral is then the plain one of 69 um a turn and 1 mm a mark, and a radius is arithmetic.
"""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver, judge
from support.signals import both

RATE = 48_000
TURN_S, OUTER_MM, PLAIN_MM = 1.8, 146.3, 0.069
LOUD = 0.13  # gain at which the programme below reads about -18 LUFS
NEAR_S, NEAR_MM = 0.020, 0.05
PLAIN = {"cut_level": "-40 dB"}
TWO = [(2.0, 8.0), (10.0, 16.0)]


@cache
def music(seconds, gain=LOUD, treble=0.0):
    """Two tones that differ between the channels, with soft ends; on request something bright on top."""
    t = np.arange(round(seconds * RATE)) / RATE
    x = np.vstack([np.sin(2.0 * np.pi * 440.0 * t), np.sin(2.0 * np.pi * 554.0 * t)])
    x = gain * (x + 0.5 * np.sin(2.0 * np.pi * 110.0 * t)) + treble * np.sin(2.0 * np.pi * 8_000.0 * t)
    # soft enough that the 20 Hz high-pass, by which programme is told, does not ring on behind it
    return x * (0.5 - 0.5 * np.cos(np.pi * np.clip(np.minimum(t, t[::-1]) / 0.03, 0.0, 1.0)))


def silence(seconds):
    return np.zeros((2, round(seconds * RATE)))


def laid(*parts):
    """Join parts: a number is so many seconds of silence, anything else is sound."""
    return np.hstack([silence(part) if isinstance(part, float) else part for part in parts])


def good():
    """2 s of silence, 6 s of music, a gap of 2 s, 6 s of music, 4 s of silence."""
    return laid(2.0, music(6.0), 2.0, music(6.0), 4.0)


def brief():
    """1 s of music between two of silence, for what no sample decides."""
    return Sent(laid(1.0, music(1.0), 1.0), RATE)


def radius(second, begins, marks=0.0):
    """mm, at a second of a plain side whose span begins at another and that has opened so many marks before."""
    return OUTER_MM - PLAIN_MM * (second - begins) / TURN_S - marks


def only(report, check, side="A"):
    (found,) = report.result(check, side)["findings"]
    return found


def is_graded(report, check, found, severity, *, side="A"):
    """One finding of that severity, with words, a limit with its source, and a margin that it is over."""
    assert found["severity"] == severity == report.outcome(check, side)
    assert len(found["remedy"]) > 15
    assert found["sources"]
    assert found["margin"] < 0.0
    assert found["limit"][severity] is not None
    assert report.code == 1 or severity == "warn"


def lies_at(found, second, mm=None, *, end=None, track=None):
    where = found["location"]
    assert where["side"] == "A"
    assert where["start_s"] == pytest.approx(second, abs=NEAR_S)
    if end is not None:
        assert where["end_s"] == pytest.approx(end, abs=NEAR_S)
    if mm is not None:
        assert where["radius_mm"] == pytest.approx(mm, abs=NEAR_MM)
    if track is not None:
        assert where["track"] == track


# -- nothing to find -------------------------------------------------------------------------------------------


def test_a_side_in_order_passes_every_check(judged):
    side = laid(2.0, music(15.0), 2.0, music(15.0), 4.0)
    report = judged({"A": Sent(side, RATE, tracks=[(2.0, 17.0), (19.0, 34.0)], more={"cut_level": "0 dB"})}, "--strict")
    assert report.report["ruleset"]["version"] == "3.2.0"
    outcomes = {r["check"]: r["outcome"] for r in report.report["results"]}
    # one side alone has nothing to compare it with, no paper says anything, this music has no treble to distort and no
    # middle common to both channels, and is too short to judge its spectrum
    alone = {
        "delivery.same-audio-twice", "delivery.papers-disagree", "loudness.sides-unequal", "groove.playback-distorted",
        "delivery.sides-exchanged", "delivery.sample-rates-differ", "programme.channels-exchanged",
        "programme.channels-out-of-time", "programme.pre-emphasised",
    }  # fmt: skip
    assert {check for check, outcome in outcomes.items() if outcome == "not_applicable"} == alone
    assert {outcome for check, outcome in outcomes.items() if check not in alone} == {"pass"}
    assert report.code == 0


# -- level and loudness ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("runs", "severity"), [(2, "warn"), (101, "fail")])
def test_clipped_runs_are_placed_at_the_longest(judged, runs, severity):
    x = good()
    first = 3 * RATE
    for k in range(runs - 1):
        x[0, first + 20 * k : first + 20 * k + 4] = 0.995
    x[1, 12 * RATE : 12 * RATE + 9] = 0.995
    report = judged({"A": Sent(x, RATE, tracks=TWO, more=PLAIN)})
    found = only(report, "level.clipped")
    is_graded(report, "level.clipped", found, severity)
    assert found["measured"]["value"] == runs
    lies_at(found, 12.0, radius(12.0, 2.0, 1.0 - PLAIN_MM * 2.0 / TURN_S), track=2)
    assert found["location"]["channel"] == "right"


@pytest.fixture(scope="module")
def loudness_of_good(tmp_path_factory):
    folder = tmp_path_factory.mktemp("good")
    side = Sent(good(), RATE, tracks=TWO, more=PLAIN)
    return judge(deliver(folder / "d", {"A": side}), folder / "report.json").value("loudness.integrated")


@pytest.mark.parametrize(
    ("wanted", "limit", "severity"),
    [(-11.0, "loudest", "warn"), (-5.0, "loudest", "fail"), (-33.0, "quietest", "warn")],
)
def test_loudness_outside_its_range_is_found(judged, loudness_of_good, wanted, limit, severity):
    x = good() * 10.0 ** ((wanted - loudness_of_good) / 20.0)
    report = judged({"A": Sent(x, RATE, tracks=TWO, more=PLAIN)})
    found = only(report, "loudness.outside-range")
    is_graded(report, "loudness.outside-range", found, severity)
    assert found["measured"]["value"] == pytest.approx(wanted, abs=0.05)
    assert ("above" if limit == "loudest" else "below") in found["message"]
    assert found["location"]["side"] == "A"


@pytest.mark.parametrize(("part", "outcome"), [(1.3, "pass"), (1.6, "warn")])
def test_sides_of_unequal_loudness_are_found(judged, part, outcome):
    other = laid(2.0, music(7.0, LOUD / part), 4.0)
    sides = {"A": Sent(good(), RATE, tracks=TWO), "B": Sent(other, RATE, tracks=[(2.0, 9.0)])}
    report = judged(sides)
    assert report.outcome("loudness.sides-unequal", None) == outcome
    if outcome == "warn":
        found = only(report, "loudness.sides-unequal", None)
        is_graded(report, "loudness.sides-unequal", found, "warn", side=None)
        assert found["measured"]["value"] == pytest.approx(20.0 * np.log10(part), abs=0.05)
        assert found["measured"]["unit"] == "LU"
        assert found["location"]["side"] == "B"
        assert "side A" in found["message"]
        assert "side B" in found["message"]


# -- layout ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def long_seven_inch(tmp_path_factory):
    """A delivery of 4 min 42 s of a tone at -20 dBFS, and a store in which it is measured once for all its levels."""
    folder, rate = tmp_path_factory.mktemp("seven-inch"), 44_100
    t = np.arange(282 * rate) / rate
    side = Sent(0.1 * both(np.sin(2.0 * np.pi * 997.0 * t)), rate, coding="PCM_24", more={"cut_level": "LEVEL dB"})
    return deliver(folder / "d", {"A": side}, size="7in", speed=45), folder / "store"


@pytest.mark.parametrize(
    ("on_disc", "allowed", "outcome"), [(1.9, 5.0 + 1.0 / 3.0, "pass"), (4.4, 4.5, "warn"), (7.9, 4.0, "warn")]
)
def test_a_seven_inch_side_that_is_too_long_is_found(long_seven_inch, tmp_path, on_disc, allowed, outcome):
    """4 min 42 s at 45: the chart has 4 min at +3 dB and 5 at 0, by the loudness that ends up on the disc.

    Its 0 dB is the RIAA's reference of 7 cm/s, 2.9 dB above the 5 of the chain (L-8).
    """
    (folder, store), seconds = long_seven_inch, 282.0
    level = round(on_disc + 0.691 - 20.0 * np.log10(0.1) - 0.691 - 18.0, 1)
    paper = folder / f"{level}.yaml"
    text = (folder / "delivery.yaml").read_text(encoding="utf-8")
    paper.write_text(text.replace("LEVEL", f"{level}"), encoding="utf-8")
    report = judge(paper, tmp_path / "report.json", "--cache", str(store))
    assert report.value("groove.level_on_disc") == pytest.approx(on_disc, abs=0.06)
    over = report.value("layout.minutes_over_chart")
    assert over == pytest.approx(seconds / 60.0 - allowed, abs=0.025)
    assert report.outcome("layout.side-too-long") == outcome
    if outcome == "warn":
        found = only(report, "layout.side-too-long")
        is_graded(report, "layout.side-too-long", found, "warn")
        assert found["sources"] == ["5a", "S13", "L-8"]
        assert found["measured"]["unit"] == "min"


@pytest.mark.parametrize(("seconds", "word"), [(0.5, "below"), (3.5, "above")])
def test_silence_before_the_programme_is_judged(judged, seconds, word):
    x = laid(seconds, music(6.0), 4.0)
    report = judged({"A": Sent(x, RATE, tracks=[(0.0, 6.0 + seconds)], more=PLAIN)})
    found = only(report, "layout.lead-in-silence")
    is_graded(report, "layout.lead-in-silence", found, "warn")
    assert word in found["message"]
    lies_at(found, 0.0, radius(0.0, 0.0), end=seconds, track=1)
    assert found["measured"]["value"] == pytest.approx(seconds, abs=0.011)
    assert report.outcome("layout.lead-out-silence") == "pass"


def test_silence_after_the_programme_is_judged(judged):
    x = laid(2.0, music(6.0), 1.0)
    report = judged({"A": Sent(x, RATE, tracks=[(2.0, 9.0)], more=PLAIN)})
    found = only(report, "layout.lead-out-silence")
    is_graded(report, "layout.lead-out-silence", found, "warn")
    lies_at(found, 8.0, radius(8.0, 2.0), end=9.0, track=1)
    assert found["measured"]["value"] == pytest.approx(1.0, abs=0.011)
    assert report.outcome("layout.lead-in-silence") == "pass"


@pytest.mark.parametrize(("marks", "outcome"), [(28, "pass"), (30, "warn"), (32, "fail")])
def test_missing_room_for_the_lead_out_is_found(tmp_path, marks, outcome):
    """Tracks of 0.6 s with gaps of 0.4 s on a 7-inch side at 45: each mark takes 1 mm, the rest 69 um a turn."""
    seconds, turn_s = marks + 0.6, 60.0 / 45.0
    tracks = [(float(k), k + 0.6) for k in range(marks + 1)]
    side = Sent(music(seconds, 0.02), RATE, tracks=tracks, more=PLAIN)
    report = judge(deliver(tmp_path / "d", {"A": side}, size="7in", speed=45), tmp_path / "report.json")
    travel = marks * (1.0 + PLAIN_MM * 0.6 / turn_s) + PLAIN_MM * 0.6 / turn_s
    last = 168.3 - 2.0 * travel
    room = (last - 97.4) / 2.0 / 6.4
    assert report.value("layout.lead_out_room") == pytest.approx(room, abs=0.01)
    assert report.outcome("layout.lead-out-room") == outcome
    if outcome != "pass":
        found = only(report, "layout.lead-out-room")
        is_graded(report, "layout.lead-out-room", found, outcome)
        lies_at(found, seconds - 1.0 / 75.0, last / 2.0, track=marks + 1)
        assert found["sources"] == ["D-8", "D-10"]


HALF = 1.0 - PLAIN_MM * 2.0 / TURN_S  # what a mark of 1 mm in a gap of 2 s takes more than the plain spiral


@pytest.mark.parametrize(
    ("gap", "apart", "severity", "mark"),
    [(2.8, 0.8, "warn", HALF), (5.0, 3.0, "fail", HALF), (1.0, 1.0, "warn", HALF / 2.0)],
)
def test_a_track_that_starts_elsewhere_is_found(judged, gap, apart, severity, mark):
    """The paper has track 2 at 10 s; it is heard after so much of a gap that begins at 8 s."""
    x = laid(2.0, music(6.0), gap, music(8.0), 4.0)
    heard = 8.0 + gap
    report = judged({"A": Sent(x, RATE, tracks=[(2.0, 8.0), (10.0, 16.0)], more=PLAIN)})
    found = only(report, "layout.track-times-disagree")
    is_graded(report, "layout.track-times-disagree", found, severity)
    lies_at(found, heard, radius(heard, 2.0, mark), track=2)
    assert found["measured"]["value"] == pytest.approx(apart, abs=0.011)
    assert found["location"]["field"] == "tracks.1.start"
    assert found["location"]["line"] is not None
    assert "track 2" in found["message"]


@pytest.mark.parametrize(("declared", "severity"), [(1.0, "warn"), (0.0, "warn"), (3.0, "warn"), (5.0, "fail")])
def test_a_first_track_that_starts_elsewhere_is_found(judged, declared, severity):
    """Heard at 2.6 s: late is only lead-in and never fails, early would be left out of the first track."""
    x = laid(2.6, music(9.0), 4.0)
    report = judged({"A": Sent(x, RATE, tracks=[(declared, 11.6)], more=PLAIN)})
    if declared == 3.0:  # within half a second
        assert report.outcome("layout.track-times-disagree") == "pass"
        return
    found = only(report, "layout.track-times-disagree")
    assert found["severity"] == severity
    lies_at(found, 2.6, radius(2.6, min(declared, 2.6)), track=1)


def test_a_segue_and_adjacent_tracks_have_no_audible_start(judged):
    x = laid(2.0, music(12.0), 4.0)
    tracks = [
        {"number": 1, "start": 2.0, "end": 6.0, "gap_after": "segue"},
        {"number": 2, "start": 7.0, "end": 10.0},
        {"number": 3, "start": 10.0, "end": 14.0},
    ]
    report = judged({"A": Sent(x, RATE, tracks=(), more={"tracks": tracks, **PLAIN})})
    assert report.outcome("layout.track-times-disagree") == "pass"
    assert report.outcome("layout.gap-disagrees") == "pass"


@pytest.mark.parametrize(("into", "severity"), [(1.0, "warn"), (2.0, "fail")])
def test_programme_in_a_declared_gap_is_found(judged, into, severity):
    parts = (music(6.0 + into), 2.0 - into) if into < 2.0 else (music(8.0),)
    x = laid(2.0, *parts, music(6.0), 4.0)
    report = judged({"A": Sent(x, RATE, tracks=TWO, more=PLAIN)})
    found = only(report, "layout.gap-disagrees")
    is_graded(report, "layout.gap-disagrees", found, severity)
    lies_at(found, 8.0, radius(8.0, 2.0), end=10.0, track=1)
    assert found["measured"]["value"] == pytest.approx(50.0 * into, abs=1.0)
    assert found["measured"]["unit"] == "%"
    assert report.outcome("layout.track-times-disagree") == "pass"


@pytest.mark.parametrize(("seconds", "severity"), [(2.5, "warn"), (11.0, "fail")])
def test_silence_where_no_gap_is_declared_is_found(judged, seconds, severity):
    x = laid(2.0, music(3.0), seconds, music(3.0), 4.0)
    report = judged({"A": Sent(x, RATE, tracks=[(2.0, 8.0 + seconds)], more=PLAIN)})
    found = only(report, "layout.gap-disagrees")
    is_graded(report, "layout.gap-disagrees", found, severity)
    lies_at(found, 5.0, radius(5.0, 2.0), end=5.0 + seconds, track=1)
    assert found["measured"]["value"] == pytest.approx(seconds, abs=0.011)


def test_only_the_undeclared_part_of_a_silence_counts(judged):
    """Silent from 8 to 15 s, and the paper has a gap from 8 to 10 s: the other 5 s are declared as music."""
    x = laid(2.0, music(6.0), 7.0, music(3.0), 4.0)
    report = judged({"A": Sent(x, RATE, tracks=[(2.0, 8.0), (10.0, 18.0)], more=PLAIN)})
    found = only(report, "layout.gap-disagrees")
    is_graded(report, "layout.gap-disagrees", found, "warn")
    lies_at(found, 10.0, radius(10.0, 2.0, HALF), end=15.0, track=2)


def test_checks_of_track_times_need_track_times(judged):
    report = judged({"A": Sent(good(), RATE, tracks=())})
    for check in ("layout.track-times-disagree", "layout.gap-disagrees", "layout.loudest-or-brightest-last"):
        assert report.outcome(check) == "not_applicable"


@pytest.mark.parametrize(
    ("first", "second", "says"),
    [
        ((LOUD, 0.0), (LOUD / 2.0, 0.0), "track 1 is the loudest and the brightest; it is not the last"),
        ((LOUD, 0.0), (LOUD / 2.0, 0.02), "track 1 is the loudest, track 2 the brightest; track 2 is the last"),
        ((LOUD / 2.0, 0.02), (LOUD, 0.0), "track 2 is the loudest, track 1 the brightest; track 2 is the last"),
    ],
)  # fmt: skip
def test_the_loudest_and_brightest_tracks_are_named(judged, first, second, says):
    """8 kHz at 0.02 accelerates the wall far more than the tones below it."""
    x = laid(2.0, music(6.0, *first), 2.0, music(6.0, *second), 4.0)
    result = judged({"A": Sent(x, RATE, tracks=TWO)}).result("layout.loudest-or-brightest-last")
    assert result["outcome"] == "pass"
    assert result["findings"] == []
    assert result["reason"].startswith(says)


# -- papers ----------------------------------------------------------------------------------------------------


def test_the_same_audio_in_two_containers_is_found(judged):
    once = np.round(brief().samples * 2.0**15) / 2.0**15  # no container rounds these
    sides = {
        "A": Sent(once, RATE, coding="PCM_24"),
        "B": Sent(laid(1.0, music(2.0), 1.0), RATE, tracks=(), coding="PCM_24"),
        "C": Sent(once, RATE, coding="PCM_24", container="FLAC"),
    }
    report = judged(sides)
    found = only(report, "delivery.same-audio-twice", None)
    assert (found["severity"], found["location"]["side"], found["measured"]) == ("fail", "C", "as side A")
    assert found["message"] == "side C holds the same audio as side A"
    assert found["location"]["field"] == "audio"
    assert found["location"]["line"] is not None
    assert report.code == 1


def test_almost_the_same_audio_is_not_the_same(judged):
    once = brief().samples
    other = once.copy()
    other[1, RATE : RATE + 48] += 2.0**-20
    sides = {"A": Sent(once, RATE, coding="PCM_24"), "B": Sent(other, RATE, coding="PCM_24")}
    assert judged(sides).outcome("delivery.same-audio-twice", None) == "pass"


def listed(numbers, isrc=None):
    """A side whose tracks have these numbers, a second each, and codes where given."""
    tracks = [
        {"number": n, "start": 2.0 + i, "end": 3.0 + i, **({"isrc": isrc[i]} if isrc and isrc[i] else {})}
        for i, n in enumerate(numbers)
    ]
    x = laid(2.0, music(float(len(numbers))), 0.5)
    return Sent(x, RATE, tracks=(), more={"tracks": tracks})


@pytest.mark.parametrize(
    "sides",
    [
        {"A": [1, 2], "B": [3, 4]},
        {"A": [1, 2], "B": [1, 2]},
        {"A": [1, 2], "B": [3], "C": [1], "D": [2, 3]},
        {"C": [5, 6], "D": [7]},
    ],
    ids=["over the delivery", "on each side", "over each disc", "a second disc"],
)
def test_consecutive_numbers_pass(judged, sides):
    report = judged({name: listed(numbers) for name, numbers in sides.items()})
    assert report.outcome("delivery.number-or-isrc", None) == "pass"


@pytest.mark.parametrize(
    ("sides", "side", "number", "due"),
    [
        ({"A": [1, 2, 4], "B": [5, 6]}, "A", 4, 3),
        ({"A": [2, 3], "B": [4, 5]}, "A", 2, 1),
        ({"A": [1, 2], "B": [4, 5]}, "B", 4, 3),
    ],
)
def test_a_missing_number_is_found(judged, sides, side, number, due):
    report = judged({name: listed(numbers) for name, numbers in sides.items()})
    found = only(report, "delivery.number-or-isrc", None)
    assert found["severity"] == report.outcome("delivery.number-or-isrc", None) == "warn"
    assert found["message"] == f"track {number} stands where number {due} is due"
    assert (found["location"]["side"], found["location"]["track"]) == (side, number)
    assert found["location"]["field"].endswith(".number")


def test_wrong_recording_codes_are_found(tmp_path):
    """Well formed with and without hyphens; malformed; the same one twice, however it is written."""
    sides = {
        "A": listed([1, 2, 3], ["XX-QH1-26-00001", "XXQH12600002", "XX-QH126-00003"]),
        "B": listed([4, 5, 6], ["XX-QH1-26-00002", "1X-QH1-26-00004", "XX-QH1-26-0005"]),
    }
    folder = deliver(tmp_path / "delivery", sides)
    report = judge(folder, tmp_path / "report.json")
    findings = report.result("delivery.number-or-isrc", None)["findings"]
    where = [(f["location"]["side"], f["location"]["track"], f["measured"]) for f in findings]
    assert sorted(where) == [
        ("A", 3, "XX-QH126-00003"),
        ("B", 4, "XX-QH1-26-00002"),
        ("B", 5, "1X-QH1-26-00004"),
        ("B", 6, "XX-QH1-26-0005"),
    ]
    assert {f["severity"] for f in findings} == {"fail"}
    twice = next(f for f in findings if f["location"]["track"] == 4)
    assert "given twice, here and for track 2 of side A" in twice["message"]
    assert twice["location"]["field"] == "tracks.0.isrc"
    lines = (folder / "delivery.yaml").read_text(encoding="utf-8").splitlines()
    assert "XX-QH1-26-00002" in lines[twice["location"]["line"] - 1]
    assert report.code == 1


@pytest.mark.parametrize(
    ("inscription", "says"),
    [
        ("QH-001 A", None),
        ("qh001-a2 x", None),
        ("SIDE A - QH 001", None),
        ("QH-002 A", "does not hold the catalogue number QH-001"),
        ("QH-001 B", "does not name its side, A"),
        ("QH-001", "does not name its side, A"),
    ],
)
def test_an_inscription_names_the_catalogue_and_the_side(judged, inscription, says):
    report = judged({"A": replace(brief(), more={"inscription": inscription})})
    check = "delivery.papers-disagree"
    assert report.outcome(check) == ("pass" if says is None else "warn")
    if says is not None:
        found = only(report, check)
        assert says in found["message"]
        assert (found["severity"], found["location"]["field"]) == ("warn", "inscription")
        assert found["location"]["line"] is not None


@pytest.mark.parametrize(
    ("on", "level", "changed", "says"),
    [
        ("2026-03-02", "-20 dB", "2026-03-01", None),
        ("2026-03-01", None, "2026-03-01", None),
        ("2026-02-27", None, "2026-02-27", "client is of 2026-02-27, before the transfer of 2026-03-01"),
        ("2026-03-02", None, "2026-03-03", "client is of 2026-03-02, older than the file, last changed on 2026-03-03"),
        ("2026-03-02", "+19 dB", "2026-03-02", "recommends +19.0 dB, and the groove allows "),
    ],
)
def test_approvals_are_compared_with_transfer_file_and_groove(judged, on, level, changed, says):
    approval = {"by": "the client", "on": on} | ({} if level is None else {"recommended_level": level})
    source = {"medium": "tape", "transferred_on": "2026-03-01", "approvals": [approval]}
    report = judged({"A": replace(brief(), more={"source": source}, changed=changed)})
    check = "delivery.papers-disagree"
    assert report.outcome(check) == ("pass" if says is None else "warn"), json.dumps(report.result(check))
    if says is not None:
        found = only(report, check)
        assert says in found["message"]
        assert found["location"]["field"].startswith("source.approvals.0.")


def test_an_unreadable_side_is_no_pass_of_checks_that_compare_sides(judged):
    broken = brief().samples
    broken[0, RATE] = np.nan
    report = judged({"A": brief(), "B": Sent(broken, RATE)})
    for check in ("delivery.same-audio-twice", "loudness.sides-unequal"):
        assert report.outcome(check, None) == "not_measured"
