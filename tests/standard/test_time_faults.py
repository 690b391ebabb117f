"""Faults in time: clicks, against closed forms and an independent prediction, and whole tracks without any."""

import math
import re
import shutil
import subprocess
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.linalg
import scipy.signal
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.model.cutting_chain import Chain
from qc.plugin_api import Stream
from qc.testing import faults as faulty
from qc.testing.drive import run_need
from qc_standard.time_faults import edges, prediction
from qc_standard.time_faults.analysis import FaultsInTime
from qc_standard.time_faults.clicks import suspects
from qc_standard.time_faults.parts import LEVEL, MARGIN, MOST, POWER, SQUARES, differences
from support.real_music import needed

RATE = 48_000
NOISE = np.random.default_rng(11).standard_normal((2, 5 * RATE))


def faults(x, rate=RATE, blocks=8192):
    return run_need(FaultsInTime.of(Chain()), x, rate, blocks)


def resonance(rate=RATE, hz=900.0, radius=0.995):
    """Noise through one resonance: its innovation is the noise itself, so what a click stands out by is known."""
    a = [1.0, -2.0 * radius * math.cos(2.0 * math.pi * hz / rate), radius * radius]
    return scipy.signal.lfilter([1.0], a, 1e-3 * np.tile(NOISE, 4), axis=1)[:, : 5 * rate]


@pytest.mark.parametrize("size", [0.1, 0.3])
def test_the_step_of_a_click_is_its_height_over_the_innovation_of_the_sound(size):
    x = resonance()
    x[1, 2 * RATE] += size
    (click,) = faults(x).clicks
    assert (click.channel, click.count) == ("right", 1)
    assert click.first <= 2 * RATE < click.end
    largest_coefficient = 2.0 * 0.995  # the click leaves the prediction at the samples that follow it, too
    assert 20.0 * math.log10(size / 1e-3) - 0.5 < click.step_db
    assert click.step_db < 20.0 * math.log10(largest_coefficient * size / 1e-3) + 0.5
    assert click.size == pytest.approx(size, rel=0.1)


def test_the_prediction_is_that_of_a_toeplitz_solver():
    x = resonance()[0, : 2 * prediction.WINDOW]
    ours = np.zeros(prediction.ORDER + 1)
    prediction._coefficients(x, prediction.taper(), ours)
    tapered = x * np.hanning(len(x) + 2)[1:-1]
    r = np.array([tapered[: len(x) - k] @ tapered[k:] for k in range(prediction.ORDER + 1)])
    r[0] = r[0] * (1.0 + 1e-9) + 1e-12
    theirs = scipy.linalg.solve_toeplitz(r[:-1], r[1:])
    assert -ours[1:] == pytest.approx(theirs, rel=1e-6, abs=1e-8)
    residual = np.zeros(len(x))
    prediction._residual(x, ours, residual)
    expected = scipy.signal.lfilter(ours, 1.0, x)
    assert residual[prediction.ORDER :] == pytest.approx(expected[prediction.ORDER :], abs=1e-12)


def test_a_repair_leaves_the_least_residual():
    x = resonance()[0, : 2 * prediction.WINDOW]
    a = np.zeros(prediction.ORDER + 1)
    prediction._coefficients(x, prediction.taper(), a)
    first, end = 1000, 1012
    repaired = x.copy()
    repaired[first:end] = 1.0
    prediction._repair(repaired, a, first, end)
    rows = scipy.linalg.convolution_matrix(a, len(x), mode="valid")
    unknown = rows[:, first:end]
    rest = x.copy()
    rest[first:end] = 0.0
    expected = np.linalg.lstsq(unknown, -rows @ rest, rcond=None)[0]
    assert repaired[first:end] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("part", [32, 44, 48, 96, 177, 192])
def test_differences_are_those_of_numpy(part):
    row = NOISE[0, : 20 * part + 2 * MARGIN].astype(np.float32)
    found = differences(row, part)
    fourth = np.diff(row.astype(np.float64), 4).reshape(20, part)
    first = np.diff(row.astype(np.float64))[MARGIN - 1 : -MARGIN].reshape(20, part)
    assert found[MOST] == pytest.approx(np.abs(fourth).max(axis=1), rel=1e-5)
    assert found[SQUARES] == pytest.approx((fourth**2).mean(axis=1), rel=1e-5)
    assert found[LEVEL] == pytest.approx((first**2).mean(axis=1), rel=1e-5)
    inner = row[MARGIN:-MARGIN].astype(np.float64).reshape(20, part)
    assert found[POWER] == pytest.approx((inner**2).mean(axis=1), rel=1e-5)


def test_what_is_looked_at_is_what_stands_out_from_the_ten_milliseconds_before_and_after():
    squares = np.exp(NOISE[1, :3000]).astype(np.float32)
    most = np.sqrt(squares) * (3.0 + 20.0 * (NOISE[0, :3000] > 2.3)).astype(np.float32)
    found = suspects(most, squares, 500, 2500)
    expected = []
    for k in range(500, 2500):
        beside = math.sqrt(max(squares[k - 11 : k - 1].mean(), squares[k + 2 : k + 12].mean()))
        around = np.concatenate([most[k - 60 : k - 1], most[k + 2 : k + 61]])
        if most[k] > 8.0 * beside and np.sum(around > 0.4 * most[k]) <= 2:
            expected.append((most[k] / beside, k))
    assert len(expected) > 10  # more than are looked at
    assert found.tolist() == sorted(k for _, k in sorted(expected)[-10:])


def test_a_steady_fall_is_where_the_least_of_before_is_above_the_greatest_behind():
    level = np.exp(0.15 * NOISE[0, :3000])
    for at in range(600, 2400, 90):
        level[at : at + 40] *= 10.0 ** (-0.1 * (6.0 + at / 200.0))
    smooth = np.convolve(level, [0.5, 0.5], mode="valid")
    least = np.array([smooth[k - 51 : k - 2].min() for k in range(499, 2501)])
    fall = least / np.array([level[k + 1 : k + 5].max() for k in range(499, 2501)])
    peaks = (fall[1:-1] > 10.0**0.9) & (fall[1:-1] >= fall[:-2]) & (fall[1:-1] >= fall[2:])
    expected = (np.flatnonzero(peaks) + 500).tolist()
    assert 5 < len(expected) < 60
    assert edges.steady_falls(level, 500, 2000).tolist() == expected


def test_a_sudden_fall_is_where_two_of_three_powers_fall_from_eight_parts_to_eight():
    rows = np.exp(0.4 * NOISE.reshape(-1)[:9000].reshape(3, 3000))
    for at in range(600, 2400, 90):
        rows[:, at : at + 40] *= 0.03
    mean = np.apply_along_axis(lambda row: np.convolve(row, np.full(8, 0.125), mode="valid"), 1, rows)
    fall = np.array([mean[:, k - 8] / mean[:, k + 1] for k in range(499, 2501)]).T
    found, least, second = edges.sudden_falls(rows, 500, 2000)
    assert least == pytest.approx(fall.min(axis=0), rel=1e-9)
    assert second == pytest.approx(np.median(fall, axis=0), rel=1e-9)
    middle = np.median(fall, axis=0)
    peaks = (middle[1:-1] >= 4.0) & (middle[1:-1] >= middle[:-2]) & (middle[1:-1] > middle[2:])
    assert found.tolist() == (np.flatnonzero(peaks) + 500).tolist()
    assert len(found) >= 20


@settings(max_examples=15, deadline=None)
@given(sizes=st.lists(st.integers(0, 60_000), max_size=8))
def test_any_blocks_give_the_same_digits(sizes):
    x = resonance(8_000)
    x[:, 27_000:27_400] = 0.0
    for at in (100, 9_000, 16_000, 23_999, 31_990, 39_990):
        x[at % 2, at] += 0.4
    assert faults(x, 8_000) == faults(x, 8_000, sizes)
    assert len(faults(x, 8_000).clicks) >= 3


@pytest.mark.parametrize("rate", [44_100, 48_000, 88_200, 96_000, 192_000])
def test_a_click_is_found_at_every_rate(rate):
    x = resonance(rate)[:, : 3 * rate]
    x[:, rate] += 0.16
    x[:, rate + rate // 2 : rate + rate // 2 + round(0.0002 * rate)] += 0.16
    found = faults(x, rate).clicks
    assert [round(click.first / rate, 2) for click in found] == [1.0, 1.5]
    assert [click.channel for click in found] == ["", ""]


def test_a_click_of_a_file_with_one_channel_names_none():
    x = resonance()[:, : 3 * RATE]
    x[:, RATE] += 0.2
    running = FaultsInTime().start(Stream("side:A", RATE, 2, x.shape[1], mono=True))
    running.push(SimpleNamespace(samples=x, start=0))
    (click,) = running.finish().clicks
    assert click.channel == ""


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize(("seconds", "gain"), [(0.005, 0.0), (0.12, 10.0 ** (-15.0 / 20.0)), (0.3, 0.0), (2.5, 0.0)])
def test_a_dropout_is_found_with_its_place_and_depth(seconds, gain, rate):
    x = 0.1 * np.tile(NOISE, 4)[:, : 7 * rate]
    first, end = round(2.1237 * rate), round((2.1237 + seconds) * rate)
    x[:, first:end] *= gain
    result = faults(x, rate)
    (dropout,) = result.dropouts
    assert dropout.first == pytest.approx(first, abs=0.0025 * rate)
    assert dropout.end == pytest.approx(end, abs=0.0025 * rate)
    assert dropout.channel == ""
    assert dropout.depth_db > 40.0 if gain == 0.0 else dropout.depth_db == pytest.approx(15.0, abs=0.5)
    assert result.clicks == ()  # its edges are no clicks


@pytest.mark.ffmpeg
def test_a_silent_stretch_is_that_of_ffmpeg(tmp_path):
    needed(shutil.which("ffmpeg"), "ffmpeg is missing")
    x = 0.1 * NOISE
    x[:, round(1.7 * RATE) : round(1.85 * RATE)] = 0.0
    soundfile.write(tmp_path / "side.wav", x.T, RATE, subtype="PCM_24")
    command = ["ffmpeg", "-hide_banner", "-i", str(tmp_path / "side.wav"), "-af", "silencedetect=n=-60dB:d=0.05"]
    said = subprocess.run([*command, "-f", "null", "-"], capture_output=True, text=True, check=True).stderr
    start, end = (float(re.search(rf"silence_{word}: ([0-9.]+)", said)[1]) for word in ("start", "end"))
    (dropout,) = faults(x).dropouts
    assert (dropout.first / RATE, dropout.end / RATE) == pytest.approx((start, end), abs=0.002)


def test_a_fall_of_one_channel_names_it():
    x = 0.1 * NOISE[:, : 4 * RATE]
    x[1, 2 * RATE : 2 * RATE + 2400] = 0.0
    (dropout,) = faults(x).dropouts
    assert dropout.channel == "right"


TIME = np.arange(3 * RATE) / RATE
WITHOUT_FAULTS = {
    "silence": np.zeros(2 * RATE),
    "nothing": np.zeros(0),
    "direct current": np.full(1000, 0.5),
    "sine": 0.5 * np.sin(2.0 * np.pi * 1000.0 * TIME),
    "square wave": 0.5 * scipy.signal.square(2.0 * np.pi * 55.0 * TIME),
    "sawtooth": 0.5 * scipy.signal.sawtooth(2.0 * np.pi * 41.2 * TIME),
    "clipped sine": np.clip(2.0 * np.sin(2.0 * np.pi * 110.0 * TIME), -0.5, 0.5),
    "noise": 0.3 * NOISE[0],
    "clipped noise": np.clip(0.5 * NOISE[0], -1.0, 1.0),
    "gated noise": np.where(TIME % 0.5 < 0.25, NOISE[0, : 3 * RATE], 0.0) * 0.2,
    "drums": 0.5 * NOISE[0, : 3 * RATE] * np.exp(-np.mod(TIME, 0.375) / 0.02),
}


@pytest.mark.parametrize("wave", WITHOUT_FAULTS.values(), ids=WITHOUT_FAULTS)
def test_what_music_is_made_of_has_no_faults(wave):
    result = faults(np.vstack([wave, 0.7 * wave]))
    assert result.clicks == ()
    assert result.dropouts == ()
    assert FaultsInTime().publish(result) == {}


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize(("seconds", "times"), [(0.005, 1), (0.05, 1), (0.02, 3), (0.2, 1)])
def test_a_stretch_that_comes_again_is_found_to_the_frame(seconds, times, rate):
    x = 0.1 * np.tile(NOISE, 2)[:, : 4 * rate]
    at, again = round(2.1237 * rate), round(seconds * rate)
    y = faulty.stuttered(x, rate, at_s=2.1237, seconds=seconds, times=times)
    assert np.array_equal(y[:, at : at + again], y[:, at - again : at])  # by its definition
    (repeat,) = faults(y, rate).repeats
    assert (repeat.first, repeat.end, repeat.lag, repeat.channel) == (at, at + times * again, again, "")


@pytest.mark.parametrize("noise_db", [-80.0, -100.0])
def test_noise_that_was_added_hides_no_repeat(noise_db):
    y = faulty.stuttered(0.2 * NOISE, RATE, at_s=2.0, seconds=0.05)
    y = y + 10.0 ** (noise_db / 20.0) * np.random.default_rng(5).standard_normal(y.shape)
    (repeat,) = faults(y).repeats
    assert repeat.first == pytest.approx(2 * RATE, abs=3)
    assert repeat.end - repeat.first == pytest.approx(0.05 * RATE, abs=6)


def test_a_repeat_of_one_channel_names_it():
    x = 0.1 * NOISE
    x[1, 2 * RATE : 2 * RATE + 2400] = x[1, 2 * RATE - 2400 : 2 * RATE]
    (repeat,) = faults(x).repeats
    assert repeat.channel == "right"


def notes(wave, seconds=0.1, count=40):
    """Return notes of whole periods, each equal to itself after its period."""
    frequencies = 10 * np.random.default_rng(7).integers(10, 100, count)
    return np.concatenate([wave(2.0 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE) for hz in frequencies])


HIT = np.random.default_rng(3).standard_normal(RATE // 10) * np.exp(-np.arange(RATE // 10) / 600.0)
WITHOUT_REPEATS = {
    "notes of sines": 0.4 * notes(np.sin),
    "notes of squares": 0.4 * notes(scipy.signal.square),
    "plucked sines": 0.4 * notes(np.sin) * np.tile(np.exp(-np.arange(RATE // 10) / 4800.0), 40),
    "a roll of one drum": 0.3 * np.concatenate([HIT, HIT, HIT, 0.0 * HIT, HIT, HIT, 0.5 * HIT] * 5),
    "bars that repeat": 0.1 * np.tile(NOISE[0, : RATE // 2], 8),
}


@pytest.mark.parametrize("wave", WITHOUT_REPEATS.values(), ids=WITHOUT_REPEATS)
def test_music_that_repeats_itself_is_no_repeat(wave):
    assert faults(np.vstack([wave, 0.7 * wave])).repeats == ()
