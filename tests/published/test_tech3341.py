"""EBU Tech 3341, table 1, cases 1 to 5 and 9 to 19, at 48 kHz, heard by the analyses themselves."""

import numpy as np
import pytest

from qc.testing.drive import hear
from qc_standard.loudness import Loudness
from qc_standard.peaks import Peaks

RATE = 48_000


def sine(*steps):
    """Stereo 1 kHz sine: (level in dBFS peak or None, seconds), one after another."""
    gains = [np.full(round(s * RATE), 0.0 if dbfs is None else 10.0 ** (dbfs / 20.0)) for dbfs, s in steps]
    gain = np.concatenate(gains)
    x = gain * np.sin(2.0 * np.pi * 1000.0 * np.arange(len(gain)) / RATE)
    return np.vstack([x, x])


def loudness(*steps):
    return hear(Loudness(), sine(*steps), RATE)


@pytest.mark.parametrize("level", [-23.0, -33.0])
def test_cases_1_and_2(level):
    result = loudness((level, 20.0))
    assert result.integrated == pytest.approx(level, abs=0.1)
    np.testing.assert_allclose(result.momentary, level, atol=0.1)
    np.testing.assert_allclose(result.short_term, level, atol=0.1)
    assert result.momentary_max.loudness == pytest.approx(level, abs=0.1)
    assert result.short_term_max.loudness == pytest.approx(level, abs=0.1)


@pytest.mark.parametrize(
    "steps",
    [
        [(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)],
        [(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)],
        [(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)],
    ],
    ids=["case 3", "case 4", "case 5"],
)
def test_cases_3_to_5(steps):
    assert loudness(*steps).integrated == pytest.approx(-23.0, abs=0.1)


def test_case_9():
    result = loudness(*[(-20.0, 1.34), (-30.0, 1.66)] * 5)
    np.testing.assert_allclose(result.short_term, -23.0, atol=0.1)
    assert result.short_term_max.loudness == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(20))
def test_case_10(i):
    result = loudness((None, i * 0.15), (-23.0, 3.0), (None, 1.0))
    assert result.short_term_max.loudness == pytest.approx(-23.0, abs=0.1)


def test_case_11():
    steps = [[(None, i * 0.15), (-38.0 + i, 3.0), (None, 3.0 - i * 0.15)] for i in range(20)]
    for i in range(20):  # a file meter keeps one maximum: that of the segments so far
        result = loudness(*[step for segment in steps[: i + 1] for step in segment])
        assert result.short_term_max.loudness == pytest.approx(-38.0 + i, abs=0.1)


def test_case_12():
    result = loudness(*[(-20.0, 0.18), (-30.0, 0.22)] * 25)
    np.testing.assert_allclose(result.momentary, -23.0, atol=0.1)
    assert result.momentary_max.loudness == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(20))
def test_case_13(i):
    result = loudness((None, i * 0.02), (-23.0, 0.4), (None, 1.0))
    assert result.momentary_max.loudness == pytest.approx(-23.0, abs=0.1)


def test_case_14():
    steps = [[(None, i * 0.02), (-38.0 + i, 0.4), (None, 0.4 - i * 0.02)] for i in range(20)]
    for i in range(20):
        result = loudness(*[step for segment in steps[: i + 1] for step in segment])
        assert result.momentary_max.loudness == pytest.approx(-38.0 + i, abs=0.1)


@pytest.mark.parametrize("rate", [RATE, 192_000])
@pytest.mark.parametrize(
    ("part", "gain", "degrees", "wanted"),
    [(4, 0.5, 0.0, -6.0), (4, 0.5, 45.0, -6.0), (6, 0.5, 60.0, -6.0), (8, 0.5, 67.5, -6.0), (4, 1.41, 45.0, 3.0)],
    ids=["case 15", "case 16", "case 17", "case 18", "case 19"],
)
def test_cases_15_to_19(part, gain, degrees, wanted, rate):
    n = np.arange(rate)
    fade = np.clip(np.minimum(n, n[::-1]) / (0.01 * rate), 0.0, 1.0)
    x = fade * gain * np.sin(2.0 * np.pi * n / part + np.radians(degrees))
    peak = Peaks().publish(hear(Peaks(), x, rate))["level.true_peak"]
    assert wanted - 0.4 <= peak.value <= wanted + 0.2
