"""The hum against tones whose level is known, and against itself with other blocks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from lowtide_rules.hum import MainsHum
from numpy.typing import NDArray

from qc.testing.drive import run_need
from qc.testing.signals import sine

RATE = 48_000
NOISE = 1e-5 * np.random.default_rng(7).standard_normal((2, 4 * RATE))


def tone(hz: float, dbfs: float, rate: int = RATE, seconds: float = 4.0) -> NDArray[np.float64]:
    return sine(hz, seconds, rate, 10 ** (dbfs / 20))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_a_tone_alone_is_its_own_level(hz: float, rate: int) -> None:
    found = run_need(MainsHum(), tone(hz, -62.0, rate), rate)
    assert found is not None
    assert found.level == pytest.approx(-62.0, abs=0.01)


def test_harmonics_add_their_powers_to_it() -> None:
    x = tone(50.0, -70.0) + tone(100.0, -70.0) + tone(150.0, -70.0)
    found = run_need(MainsHum(), x + NOISE, RATE)
    assert found is not None
    assert found.level == pytest.approx(-70.0 + 10.0 * math.log10(3.0), abs=0.05)


@pytest.mark.parametrize("off", [-0.2, 0.2])
def test_mains_that_wander_are_the_same_hum(off: float) -> None:
    found = run_need(MainsHum(), tone(50.0 + off, -70.0) + NOISE, RATE)
    assert found is not None
    assert found.level == pytest.approx(-70.0, abs=0.1)


def test_the_louder_channel_is_named() -> None:
    x = NOISE.copy()
    x[1] += tone(60.0, -70.0)[1]
    found = run_need(MainsHum(), x, RATE)
    assert found is not None
    assert found.channel == "right"


def test_a_side_that_is_never_quiet_has_no_hum() -> None:
    assert run_need(MainsHum(), tone(440.0, -12.0), RATE) is None
    assert MainsHum().publish(None) == {}


def test_music_around_the_quiet_changes_nothing() -> None:
    quiet = tone(50.0, -66.0)
    loud = tone(50.0, -6.0, seconds=6.0) + tone(311.0, -6.0, seconds=6.0)
    found = run_need(MainsHum(), np.concatenate([loud, quiet, loud], axis=1), RATE)
    assert found is not None
    assert found.level == pytest.approx(-66.0, abs=0.01)
    assert 6.0 <= found.start_s < 10.0


def test_digital_silence_has_none_to_speak_of() -> None:
    quantity = MainsHum().publish(run_need(MainsHum(), np.zeros((2, 4 * RATE)), RATE))["lowtide.hum_level"]
    assert (quantity.value, quantity.bound) == (-140.0, "<")


@pytest.mark.parametrize("blocks", [1_000, 48_000, 131_072])
def test_the_size_of_blocks_changes_nothing(blocks: int) -> None:
    x = tone(50.0, -70.0) + NOISE
    assert run_need(MainsHum(), x, RATE, blocks) == run_need(MainsHum(), x, RATE)
