"""Balance and its drift along a side, against closed forms and the rms levels of ffmpeg's astats."""

import re
import subprocess

import numpy as np
import pytest
import soundfile

from qc.testing.drive import run_need
from qc_standard.channels.balance import Balance

RATE = 8_000


def side(balance_db, seed=1):
    """Noise of both channels that swings; right over left has the level `balance_db` (frames,)."""
    n = len(balance_db)
    rng, t = np.random.default_rng(seed), np.arange(n) / RATE
    swing = 0.05 * (1.0 + 0.5 * np.sin(2.0 * np.pi * 0.7 * t))
    left, right = swing * rng.standard_normal((2, n))
    return np.stack([left, right * 10.0 ** (balance_db / 20.0)])


def balance(samples, rate=RATE):
    return run_need(Balance(20.0, 20_000.0), samples, rate)


@pytest.mark.parametrize("change", [-2.0, 0.0, 0.5, 3.0])
def test_a_gain_that_changes_along_the_side_is_its_drift(change):
    n = 200 * RATE
    found = balance(side(np.linspace(0.0, change, n)) + np.array([[0.01], [-0.02]]))
    assert found.drift == pytest.approx(change, abs=0.1)
    middle = found.values[100]
    assert middle == pytest.approx(0.5 * change, abs=0.15)


def test_one_track_that_leans_is_a_departure_and_no_drift():
    lean = np.zeros(240 * RATE)
    lean[150 * RATE : 190 * RATE] = -4.0
    found = balance(side(lean))
    assert found.drift == pytest.approx(0.0, abs=0.15)
    assert found.departure.value == pytest.approx(-4.0, abs=0.2)
    assert found.departure.at.start_s == pytest.approx(170.0, abs=25.0)
    assert found.departure.at.end_s - found.departure.at.start_s == pytest.approx(20.5)


def test_a_solo_of_15_s_on_one_side_is_no_departure():
    lean = np.zeros(150 * RATE)
    lean[60 * RATE : 75 * RATE] = 12.0
    assert abs(balance(side(lean)).departure.value) < 0.5


@pytest.mark.ffmpeg
def test_the_balance_is_the_difference_of_the_levels_that_ffmpeg_measures(tmp_path):
    samples = side(np.full(60 * RATE, -1.7))
    soundfile.write(tmp_path / "side.wav", samples.T, RATE, subtype="FLOAT")
    command = ["ffmpeg", "-hide_banner", "-i", str(tmp_path / "side.wav"), "-af", "astats", "-f", "null", "-"]
    log = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    left, right = (float(level) for level in re.findall(r"RMS level dB: (-[\d.]+)", log)[:2])
    assert np.nanmedian(balance(samples).values) == pytest.approx(right - left, abs=0.05)


def test_a_short_side_has_no_drift_and_silence_no_balance():
    need = Balance(20.0, 20_000.0)
    assert balance(side(np.zeros(60 * RATE))).drift is None
    for samples in (np.zeros((2, 130 * RATE)), np.zeros((2, 10)), side(np.zeros(130 * RATE)) * [[1.0], [0.0]]):
        found = balance(samples)
        assert need.publish(found) == {}
        assert need.curves(found) == {}


def test_the_curve_has_the_balance_of_each_second():
    need = Balance(20.0, 20_000.0)
    found = balance(side(np.full(130 * RATE, 2.0)))
    (curve,) = need.curves(found).values()
    assert (curve.start_s, curve.step_s, len(curve.values)) == (0.5, 1.0, 130)
    assert np.nanmax(np.abs(curve.values - 2.0)) < 0.2
