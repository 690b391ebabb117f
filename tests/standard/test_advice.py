"""Remedies with numbers, against closed forms: tones of known size in, corners, decibels, milliseconds, seconds out."""

import math

import numpy as np
import pytest
import soundfile

from qc.judge import session as checking
from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.music import Song, song
from support.signals import both, opposed, tone

RATE = 48_000
BASS, DEEP, SIBILANCE = "stereo.low-end-out-of-phase", "groove.cut-too-deep", "hf.sibilance-or-cymbals-too-strong"
BEND, CLIPPED, DIAMETER = "groove.curvature-too-tight", "level.clipped", "groove.last-diameter-too-small"
PITCH_MM, TURNS_A_SECOND = 0.069, 100.0 / 3.0 / 60.0
TIP, OUTER_MM = 8e-6, 292.6


def velocity(hz, level=0.0):
    """m/s of the groove, lateral or vertical, at full scale in both channels.

    The recording characteristic is that of IEC 60098 (3180, 318 and 75 us), over its value at 1 kHz.
    """

    def curve(hz):
        w = 2j * np.pi * hz
        return abs((1.0 + 3180e-6 * w) * (1.0 + 75e-6 * w) / (1.0 + 318e-6 * w))

    return 0.05 * 10.0 ** ((18.0 + level) / 20.0) * curve(hz) / curve(1000.0)


def peak_for(um, hz, level=0.0):
    return um * 1e-6 * 2.0 * np.pi * hz / velocity(hz, level)


def quiet(seconds):
    return 0.002 * both(tone(440.0, seconds, RATE))


def plant(x, samples, second):
    at = round(second * RATE)
    x[:, at : at + samples.shape[1]] += samples
    return x


def findings(report, check, measure):
    return [one for one in report.result(check)["findings"] if one["measure"] == measure]


def remedies(finding):
    return {one["kind"]: {name: q["value"] for name, q in one["numbers"].items()} for one in finding["remedies"]}


def sent(x, level="0 dB"):
    return {"A": Sent(x, RATE, more={"cut_level": level})}


# -- wide bass -------------------------------------------------------------------------------------------------


def of_first_order(corner, hz):
    return 1.0 / math.hypot(1.0, corner / hz)


@pytest.mark.parametrize("corner", [60.0, 80.0, 120.0, 200.0, 300.0])
def test_a_bass_tone_needs_the_lowest_corner_that_fits(judged, corner):
    """80 Hz in opposite phase, so large that the corner leaves 58 um of the 60 that are allowed."""
    um = 58.0 / of_first_order(corner, 80.0)
    x = plant(quiet(6.0), opposed(tone(80.0, 1.2, RATE, peak_for(um, 80.0), fade=0.4)), 2.0)
    (one,) = [f for f in findings(judged(sent(x)), BASS, "groove.low_vertical_peak") if f["severity"] == "fail"]
    numbers = remedies(one)["bass_mono"]
    assert numbers["corner"] == corner
    assert numbers["left"] == pytest.approx(58.0, rel=0.005)
    assert numbers["at_corner"] == pytest.approx(-3.01, abs=0.005)
    assert numbers["at_twice"] == pytest.approx(-0.97, abs=0.005)
    assert one["remedy"].startswith(f"Bass mono below {corner:.0f} Hz makes this passage fit")
    assert one["remedy"].endswith("or cut lower.")


def test_bass_mono_that_does_not_suffice_is_reported(judged):
    um = 66.0 / of_first_order(300.0, 80.0)
    x = plant(quiet(6.0), opposed(tone(80.0, 1.2, RATE, peak_for(um, 80.0), fade=0.4)), 2.0)
    (one,) = [f for f in findings(judged(sent(x)), BASS, "groove.low_vertical_peak") if f["severity"] == "fail"]
    assert remedies(one)["bass_mono_will_not_do"]["left"] == pytest.approx(66.0, rel=0.005)
    assert "alone will not do" in one["remedy"]


def test_bass_mono_does_not_help_an_excursion_above_300_hz(judged):
    x = plant(quiet(6.0), opposed(tone(900.0, 1.0, RATE, peak_for(60.0, 900.0), fade=0.2)), 2.0)
    (one,) = findings(judged(sent(x)), DEEP, "groove.depth_max")
    left = 15.0 + 2.0 * 60.0 * of_first_order(300.0, 900.0)
    assert remedies(one)["bass_mono_will_not_do"]["left"] == pytest.approx(left, rel=0.01)
    assert "most of the excursion lies above 300 Hz" in one["remedy"]


# -- treble ----------------------------------------------------------------------------------------------------


def test_a_sibilant_burst_is_cut_in_its_band(judged):
    """0.6 s of 7.9 kHz in one of many quiet seconds: all of it is equally too much, and one band holds it."""
    hz, level, length, fade = 7_943.0, 8.0, 0.6, 0.01
    x = plant(quiet(20.0), both(tone(hz, length, RATE, 0.9, fade=fade)), 8.0)
    report = judged(sent(x, f"{level} dB"))
    (one,) = findings(report, SIBILANCE, "groove.sibilance_time")
    radius = one["location"]["radius_mm"] * 1e-3
    speed = 2.0 * np.pi * TURNS_A_SECOND * radius
    e = TIP * 0.9 * velocity(hz, level) / math.sqrt(2.0) * 2.0 * np.pi * hz / speed**2
    e /= math.sqrt((1.0 + (5_000.0 / hz) ** 8) * (1.0 + (hz / 12_000.0) ** 8))  # the band's own edges
    numbers = remedies(one)
    cut = numbers["band_cut"]
    assert cut["whole"] == pytest.approx(20.0 * math.log10(e), abs=0.02)
    assert cut["cut"] == pytest.approx(0.5 * math.ceil(2.0 * cut["whole"]))
    assert cut["from"] < hz < cut["to"]
    assert cut["to"] / cut["from"] == pytest.approx(10.0**0.1)
    above = length - 2.0 * fade * math.acos(1.0 - 2.0 / e) / np.pi  # the ends rise as raised cosines
    assert cut["over"] == pytest.approx(1e3 * above, abs=1.0)
    (band,) = [r for r in one["remedies"] if r["kind"] == "band_cut"]
    (moment,) = band["stretches"]
    assert moment["start_s"] == pytest.approx(8.0 + (length - above) / 2.0, abs=0.001)
    place = numbers["no_place"]
    assert place["diameter"] == pytest.approx(2e3 * radius * math.sqrt(e), rel=0.006)


@pytest.mark.long
def test_a_bend_passes_outside_its_least_diameter(judged):
    """In silence the radius is known at every second, and e falls with its square."""
    seconds, hz, level = 200.0, 10_000.0, 8.0
    speed = 2.0 * np.pi * TURNS_A_SECOND * 1e-3 * (OUTER_MM / 2.0 - PITCH_MM * TURNS_A_SECOND * 190.0)
    peak = 1.05 * 4.0 * speed**2 / (TIP * velocity(hz, level) / math.sqrt(2.0) * 2.0 * np.pi * hz)
    x = plant(quiet(seconds), both(tone(hz, 0.1, RATE, peak, fade=0.02)), 190.0)
    report = judged(sent(x, f"{level} dB"))
    (one,) = findings(report, BEND, "groove.tracing_ratio_peak")
    ratio = one["measured"]["value"] / 4.0
    assert ratio == pytest.approx(1.05, rel=0.01)
    numbers = remedies(one)
    assert numbers["band_cut"]["whole"] == pytest.approx(20.0 * math.log10(ratio))
    assert numbers["band_cut"]["cut"] == pytest.approx(0.5 * math.ceil(40.0 * math.log10(ratio)))
    assert numbers["band_cut"]["from"] < hz < numbers["band_cut"]["to"]
    place = numbers["further_out"]
    assert place["diameter"] == pytest.approx(2.0 * one["measured"]["at"]["radius_mm"] * math.sqrt(ratio))
    geometry = report.side()["geometry"]
    fallen = (OUTER_MM - place["diameter"]) / (OUTER_MM - 2.0 * one["measured"]["at"]["radius_mm"])
    assert geometry["travel_mm"] > 7.0
    assert place["before"] == pytest.approx(fallen * one["measured"]["at"]["start_s"], rel=0.05)
    assert "It would pass untouched outside" in one["remedy"]


# -- clipped runs ----------------------------------------------------------------------------------------------


def clipped(channels):
    x = tone(100.0, 3.0, RATE, 1.2, fade=0.25)
    top = 10.0 ** (-0.05 / 20.0)
    return np.vstack([np.clip(x, -top, top), 0.3 * x])[:channels]


def test_clipped_runs_are_counted_with_their_level(judged):
    report = judged({"A": Sent(clipped(2), RATE, more={"cut_level": "-20 dB"})})
    (one,) = report.result(CLIPPED)["findings"]
    numbers = remedies(one)["unclipped_mix"]
    assert numbers["left_runs"] == one["measured"]["value"]
    assert numbers["left_level"] == pytest.approx(-0.05, abs=1e-4)
    top = math.asin(10.0 ** (-0.05 / 20.0) / 1.2)
    assert numbers["left_samples"] == pytest.approx(RATE / 100.0 * (np.pi - 2.0 * top) / (2.0 * np.pi), abs=1.0)
    assert "right_runs" not in numbers
    assert "on the left at -0.05 dBFS" in one["remedy"]
    assert report.side()["second_look_s"] < 0.1
    assert report.side()["passes"] == 1


def test_attenuated_clipping_is_reported_with_its_level(judged):
    x = 10.0 ** (-1.57 / 20.0) * clipped(2)
    (one,) = judged({"A": Sent(x, RATE, more={"cut_level": "-20 dB"})}).result(CLIPPED)["findings"]
    assert one["measure"] == "level.flat_top_runs"
    assert "the longest cut off at -1.62 dBFS, from 0:00." in one["message"]
    assert "on the left at -1.62 dBFS" in one["remedy"]
    numbers = remedies(one)["unclipped_mix"]
    assert numbers["left_level"] == pytest.approx(-1.62, abs=1e-3)
    assert numbers["left_runs"] == one["measured"]["value"] == pytest.approx(2 * 100 * 2.7, rel=0.1)


def test_a_mono_side_has_no_left(judged):
    (one,) = judged({"A": Sent(clipped(1)[0], RATE, more={"cut_level": "-20 dB"})}).result(CLIPPED)["findings"]
    assert "left" not in one["remedy"]
    assert "at -0.05 dBFS" in one["remedy"]


# -- too long --------------------------------------------------------------------------------------------------


def test_a_silent_side_loses_seconds_by_plain_pitch(variant, judged):
    """A disc so small that 40 s run in too far: plain pitch says how many seconds that is."""
    x = np.zeros((2, 40 * RATE))
    x[:, -480:] = 0.003 * both(tone(1_000.0, 0.01, RATE, fade=0.002))
    report = judged(sent(x), "--ruleset", str(variant({"outer": "122 mm"})))
    (one,) = findings(report, DIAMETER, "groove.last_diameter")
    numbers = remedies(one)["shorter"]
    over = (120.65 - one["measured"]["value"]) / 2.0
    assert numbers["diameter"] == 120.65
    assert numbers["seconds"] == pytest.approx(over / (PITCH_MM * TURNS_A_SECOND), abs=0.5)
    assert "level" not in numbers  # silence is no shorter when it is cut lower
    assert numbers["other_depth_ends"] == pytest.approx(one["measured"]["value"], abs=0.05)


# -- how it is done --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def music():
    return 0.7 * song(Song(12.0, RATE, seed=5, tempo=110.0, cymbals=2.0, bass_width=0.9))


def test_one_file_a_track_is_advised_as_one_file_is(music, tmp_path):
    whole = judge(deliver(tmp_path / "one", sent(music, "12 dB")), tmp_path / "one.json").report
    parts = tmp_path / "parts"
    parts.mkdir()
    lines = ["schema: 1", "title: Quiet Harbour", "disc: {size: 12in, speed: 33}", "sides:", "  - id: A"]
    lines += ["    cut_level: 12 dB", "    tracks:"]
    for number, x in enumerate(np.split(music, [5 * RATE], axis=1), start=1):
        soundfile.write(parts / f"{number}.wav", x.T, RATE, subtype="FLOAT")
        lines.append(f"      - {{number: {number}, title: Slack Water, audio: {number}.wav, gap_after: segue}}")
    (parts / "delivery.yaml").write_text("\n".join(lines) + "\n")
    joined = judge(parts, tmp_path / "parts.json").report
    checks = (DEEP, BEND, SIBILANCE)

    def advice(report):
        found = [f for r in report["results"] if r["check"] in checks for f in r["findings"]]
        return [(f["measure"], f["location"]["start_s"], f["remedies"]) for f in found]

    assert sum(bool(told) for *_, told in advice(whole)) >= 2
    assert advice(joined) == advice(whole)
    assert joined["sides"][0]["second_look_s"] == whole["sides"][0]["second_look_s"] > 0.0


def test_a_file_removed_after_the_pass_leaves_the_finding(music, tmp_path, monkeypatch):
    folder = deliver(tmp_path / "gone", sent(music, "12 dB"))
    real = checking.judge_side

    def judged_and_lost(*given):
        (folder / "side-a.wav").unlink(missing_ok=True)  # judged again at the recommended level
        return real(*given)

    monkeypatch.setattr(checking, "judge_side", judged_and_lost)
    told = judge(folder, tmp_path / "gone.json")
    assert told.code == 1
    assert told.report["plugin_failures"] == []
    (changed,) = told.result("delivery.audio-disagrees")["findings"]
    assert changed["message"] == "side-a.wav changed while it was read: it went away"
    assert told.result(DEEP)["outcome"] == "fail"
    assert all(not remedies(one) for one in told.result(DEEP)["findings"])
