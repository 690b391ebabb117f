"""Loudness by track against ffmpeg's meter and the closed form of a sine, through the whole command."""

from __future__ import annotations

import re
import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from qc import api
from qc.testing.deliveries import Sent, deliver
from support.real_music import needed

RATE = 48_000
LEVELS = (-20.0, -23.0, -14.0)
TRACKS = ((1.0, 6.0), (8.0, 13.0), (15.0, 20.0))


def three_tones():
    """Tones of 997 Hz in both channels, at their levels in dBFS."""
    x, seconds = np.zeros((2, 21 * RATE)), np.arange(21 * RATE) / RATE
    for level, (start, end) in zip(LEVELS, TRACKS, strict=True):
        inside = (seconds >= start) & (seconds < end)
        x[:, inside] = 10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * 997.0 * seconds[inside])
    return x


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tones")
    return api.check(deliver(folder, {"A": Sent(three_tones(), RATE, tracks=TRACKS)}), api.Options(workers=1))


def test_a_sine_in_both_channels_has_the_loudness_of_its_level(report):
    """BS.1770-5: a 997 Hz sine at 0 dBFS in both channels reads 0 LUFS."""
    measured = report.sides[0].measurements
    assert measured["loudness.loudest_track"].value == pytest.approx(-14.0, abs=0.05)
    assert measured["loudness.quietest_track"].value == pytest.approx(-23.0, abs=0.05)
    assert [measured[f"loudness.{name}_track"].at.track for name in ("loudest", "quietest")] == [3, 2]


def test_the_greatest_jump_is_at_the_start_of_the_later_track(report):
    jump = report.sides[0].measurements["loudness.greatest_jump"]
    assert jump.value == pytest.approx(9.0, abs=0.05)
    assert (jump.at.start_s, jump.at.track) == (pytest.approx(15.0), 3)


def test_the_peak_of_a_sine_is_3_db_over_its_loudness_in_one_channel(tmp_path):
    """A sine of -20 dBFS in one channel has a true peak of -20 dBTP and reads -23 LUFS (BS.1770-5)."""
    x = np.zeros((2, 10 * RATE))
    x[0] = 0.1 * np.sin(2.0 * np.pi * 997.0 * np.arange(10 * RATE) / RATE)
    report = api.check(deliver(tmp_path, {"A": Sent(x, RATE)}), api.Options(workers=1))
    assert report.sides[0].measurements["loudness.peak_to_loudness"].value == pytest.approx(3.01, abs=0.05)


def test_a_note_lists_the_loudness_of_each_track(report):
    result = next(result for result in report.results if result.check == "loudness.outside-range")
    assert "1 -20.0 (-20.0), 2 -23.0 (-23.0), 3 -14.0 (-14.0)" in result.reason


def test_the_note_is_there_beside_a_finding_too(tmp_path):
    x = 10.0 ** (-16.0 / 20.0) * three_tones()
    report = api.check(deliver(tmp_path, {"A": Sent(x, RATE, tracks=TRACKS)}), api.Options(workers=1))
    result = next(result for result in report.results if result.check == "loudness.outside-range")
    assert [finding.severity for finding in result.findings] == ["warn"]
    assert "1 -36.0 (-36.0), 2 -39.0 (-39.0), 3 -30.0 (-30.0)" in result.reason


def test_a_track_is_as_loud_as_ffmpeg_says_of_it_alone(tmp_path, report):
    needed(shutil.which("ffmpeg"), "ffmpeg is not here")
    file = tmp_path / "track.wav"
    soundfile.write(file, three_tones()[:, 8 * RATE : 13 * RATE].T, RATE, subtype="FLOAT")
    command = ["ffmpeg", "-nostats", "-i", str(file), "-af", "ebur128", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    loudness = float(re.findall(r"I:\s+(-?[0-9.]+) LUFS", said)[-1])
    assert report.sides[0].measurements["loudness.quietest_track"].value == pytest.approx(loudness, abs=0.1)


def test_a_track_that_is_declared_beyond_the_end_of_the_file_is_measured_up_to_there(tmp_path):
    x = three_tones()[:, : 20 * RATE]
    tracks = (*TRACKS[:2], (15.0, 25.0), (27.0, 30.0))
    report = api.check(deliver(tmp_path, {"A": Sent(x, RATE, tracks=tracks)}), api.Options(workers=1))
    loudest = report.sides[0].measurements["loudness.loudest_track"]
    assert loudest.value == pytest.approx(-14.0, abs=0.05)
    assert loudest.at.end_s == pytest.approx(20.0)
    assert not report.plugin_failures
    assert "error" not in {result.outcome for result in report.results}
