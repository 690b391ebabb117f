"""Table 7a of the facts page and the expansions beside it, against the rolling tip of the playback model (S17)."""

import math

import numpy as np
import pytest

from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip

RATE = 96_000
TABLE_7A = (  # R um, f Hz, V m/s, e, HD2 %, HD3 %; v is 5 cm/s normal to the wall
    (18, 1_000, 0.2106, 0.1275, 6.267, 0.581), (15, 1_000, 0.2094, 0.1075, 5.287, 0.413),
    (18, 3_000, 0.2106, 0.3825, 18.32, 4.95), (18, 10_000, 0.5098, 0.2176, 10.75, 1.73),
    (5, 10_000, 0.2106, 0.3542, 17.03, 4.28), (8, 10_000, 0.2106, 0.5667, 26.18, 10.07),
)  # fmt: skip


def traced(hz, velocity, speed, tip_um, walls):
    """Amplitudes at 0, 1, 2 and 3 times a sine's frequency of each wall's path, m, (2, 4) complex, sines real.

    The sine has a peak velocity in m/s, `walls` the part of it that each wall takes. The cutter has no back.
    """
    t = np.arange(RATE // 10) / RATE
    d = velocity / (2.0 * math.pi * hz) * np.sin(2.0 * math.pi * hz * t)
    passage = CutPassage(np.vstack([part * d for part in walls]), RATE, 1.0)
    path = passage.traced(PlaybackSetup(0.0, speed, Tip.spherical(tip_um * 1e-6), math.radians(89.999)))
    n = RATE // 20
    middle = path[:, n // 2 : n // 2 + n]
    number = np.arange(4)[:, None] * round(hz * n / RATE)
    phase = 2.0j * np.pi * number * np.arange(n // 2, n // 2 + n) / n
    return 2.0 / n * middle @ np.exp(-phase).T


def velocity_ratio(amplitudes, number):
    """Harmonic distortion of replayed velocity."""
    return number * abs(amplitudes[number]) / abs(amplitudes[1])


@pytest.mark.parametrize(("tip", "hz", "speed", "e", "hd2", "hd3"), TABLE_7A)
def test_harmonics_of_one_wall_are_table_7a(tip, hz, speed, e, hd2, hd3):
    """Within 1 %, as printed to three or four digits; and the series' own rule to e = 0.3."""
    wall = traced(hz, 0.05, speed, tip, (0.0, 1.0))[1]
    assert 100.0 * velocity_ratio(wall, 2) == pytest.approx(hd2, rel=0.01)
    assert 100.0 * velocity_ratio(wall, 3) == pytest.approx(hd3, rel=0.01)
    if e <= 0.3:
        assert velocity_ratio(wall, 2) == pytest.approx(e / 2.0, rel=0.05)
        assert velocity_ratio(wall, 3) == pytest.approx(3.0 * e**2 / 8.0, rel=0.05)


LATERAL, VERTICAL = (math.sqrt(0.5), math.sqrt(0.5)), (math.sqrt(0.5), -math.sqrt(0.5))


@pytest.mark.parametrize(("tip", "hz", "speed"), [(18, 1_000, 0.25), (8, 2_000, 0.25), (18, 3_000, 0.5)])
def test_a_lateral_cut_loses_its_second_harmonic_to_the_pinch_effect(tip, hz, speed):
    """7a: the third remains, 3/16 of the lateral e squared; the second is vertical, sqrt2 R a^2 k^2 / 8, and upward."""
    velocity = 0.05
    left, right = traced(hz, velocity, speed, tip, LATERAL)
    lateral, vertical = math.sqrt(0.5) * (left + right), math.sqrt(0.5) * (left - right)
    e = tip * 1e-6 * 2.0 * math.pi * hz * velocity / speed**2
    assert velocity_ratio(lateral, 2) < 1e-4
    assert velocity_ratio(lateral, 3) == pytest.approx(3.0 / 16.0 * e**2, rel=0.05)
    k = 2.0 * math.pi * hz / speed
    amplitude = velocity / (2.0 * math.pi * hz)
    pinch = math.sqrt(2.0) * tip * 1e-6 * (amplitude * k) ** 2 / 8.0
    assert abs(vertical[2]) == pytest.approx(pinch, rel=0.05)
    assert vertical[0].real / 2.0 == pytest.approx(pinch, rel=0.05)  # the tip is lifted, twice a period
    assert abs(vertical[1]) < 1e-3 * pinch


@pytest.mark.parametrize(("tip", "hz", "speed"), [(18, 1_000, 0.25), (8, 2_000, 0.25), (18, 3_000, 0.5)])
def test_a_vertical_cut_has_the_second_harmonic_of_its_walls(tip, hz, speed):
    """7a with the wall's own velocity, v / sqrt2: nothing lateral, HD2 = e / 2."""
    velocity = 0.05
    left, right = traced(hz, velocity, speed, tip, VERTICAL)
    vertical, lateral = math.sqrt(0.5) * (left - right), math.sqrt(0.5) * (left + right)
    e = tip * 1e-6 * 2.0 * math.pi * hz * velocity * math.sqrt(0.5) / speed**2
    assert velocity_ratio(vertical, 2) == pytest.approx(e / 2.0, rel=0.05)
    assert velocity_ratio(vertical, 3) == pytest.approx(3.0 * e**2 / 8.0, rel=0.05)
    assert np.abs(lateral).max() < 1e-12
