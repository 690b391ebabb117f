"""Print-through, against echoes that are mixed in at a known level and turn, and scipy's own correlation."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.noise.print_through import PrintThrough

RATE = 48_000


def music(seconds, rate, seed):
    """Notes of noise and tones of 0.05 to 0.3 s, (2, frames), at an rms of about -20 dBFS."""
    rng, n = np.random.default_rng(seed), int(seconds * rate)
    x, at = np.zeros(n), 0
    while at < n:
        length = min(n - at, int(rng.uniform(0.05, 0.3) * rate))
        t = np.arange(length) / rate
        note = np.sin(2.0 * np.pi * rng.uniform(300.0, 2_000.0) * t) + 0.5 * rng.standard_normal(length)
        x[at : at + length] = rng.uniform(0.05, 0.3) * np.exp(-6.0 * t) * note
        at += length
    return np.stack([x, 0.8 * x])


def side(echo_db, turn_s, rate=RATE, hiss_db=-85.0, seed=1):
    """Three pieces of music of 6 s, each after 3 s of quiet, their echoes one turn ahead, and hiss."""
    parts = [np.concatenate([np.zeros((2, 3 * rate)), music(6.0, rate, seed + k)], axis=1) for k in range(3)]
    x = np.concatenate(parts, axis=1)
    ahead = round(turn_s * rate)
    if echo_db is not None:
        x[:, :-ahead] += 10.0 ** (echo_db / 20.0) * x[:, ahead:]
    return x + 10.0 ** (hiss_db / 20.0) * np.random.default_rng(seed).standard_normal(x.shape)


def found(samples, rate=RATE, blocks=65_536):
    return run_need(PrintThrough(), samples, rate, blocks)


@pytest.mark.parametrize("rate", [44_100, 96_000])
@pytest.mark.parametrize(("echo_db", "turn_s"), [(-42.0, 0.7), (-50.0, 1.3), (-56.0, 2.1)])
def test_an_echo_has_its_level_and_its_turn(echo_db, turn_s, rate):
    echoes = found(side(echo_db, turn_s, rate), rate)
    assert [echo.entry_s for echo in echoes] == pytest.approx([3.0, 12.0, 21.0], abs=0.05)
    for echo in echoes:
        assert echo.level_db == pytest.approx(echo_db, abs=0.5)
        assert echo.turn_s == pytest.approx(turn_s, abs=0.012)


def test_the_turn_is_the_lag_at_which_scipy_correlates_quiet_and_entry():
    samples = side(-45.0, 1.7)
    (echo, *_) = found(samples)
    thinned = signal.resample_poly(samples[0], 1, 8)
    quiet, later = thinned[: 3 * RATE // 8], thinned[: 6 * RATE // 8]
    across = signal.correlate(later, quiet, "valid")
    lag = int(np.abs(across[3_000:]).argmax()) + 3_000  # 6,000 values a second, from half a second on
    assert echo.turn_s == pytest.approx(lag / (RATE / 8), abs=0.012)


@pytest.mark.parametrize("hiss_db", [-100.0, -75.0])
@pytest.mark.parametrize("seed", range(4))
def test_quiet_without_an_echo_has_none(hiss_db, seed):
    assert found(side(None, 1.0, hiss_db=hiss_db, seed=10 * seed)) == ()


@pytest.mark.parametrize("turn_s", [0.2, 2.9])
def test_an_echo_that_no_turn_of_a_reel_makes_is_none(turn_s):
    assert all(echo.correlation < 0.95 for echo in found(side(-50.0, turn_s)))


def test_an_upbeat_30_db_below_the_entry_is_no_echo():
    assert found(side(-30.0, 1.3)) == ()


def test_an_echo_under_the_hiss_has_none():
    assert found(side(-60.0, 1.3, hiss_db=-60.0)) == ()


@pytest.mark.parametrize("samples", [np.zeros((2, 10 * RATE)), np.zeros((2, 10)), music(8.0, RATE, 3)])
def test_silence_and_music_without_a_pause_have_none(samples):
    need = PrintThrough()
    assert need.publish(found(samples)) == {}


def test_the_strongest_echo_is_published_with_the_quiet_it_lies_in():
    need = PrintThrough()
    numbers = need.publish(found(side(-48.0, 1.5)))
    assert numbers["noise.print_through"].value == pytest.approx(-48.0, abs=0.5)
    assert numbers["noise.print_through_turn"].value == pytest.approx(1.5, abs=0.012)
    at = numbers["noise.print_through"].at
    assert at.end_s - at.start_s == pytest.approx(1.5, abs=0.012)
