"""Handbook tables through the whole command: each number comes from a file by way of the JSON report.

Tables are of the facts page that sources.yaml names: 2e groove speed, 4a recorded sine, 5b minutes, 6a curvature,
7a tracing; T-2 is a handbook's worked example (S8).
"""

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver, judge
from support.signals import both, tone

ALIGN = 10.0 ** (-18.0 / 20.0)
FREE = ("--side", "A")


def named(count):
    """Side ids for a table's columns."""
    return [f"S{i:02d}" for i in range(count)]


# -- 4a ----------------------------------------------------------------------------------------------------------

HZ_4A = (20, 30, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 15000, 20000)
VELOCITY_4A = (0.544, 0.588, 0.711, 1.108, 1.941, 3.686, 5.000, 6.736, 12.866, 24.305, 36.043, 47.862)
DISPLACEMENT_4A = (43.26, 31.19, 22.62, 17.64, 15.45, 11.73, 7.958, 5.360, 4.095, 3.868, 3.824, 3.809)
ACCELERATION_4A = (0.07, 0.11, 0.23, 0.71, 2.5, 11.8, 32.0, 86.3, 412, 1557, 3464, 6133)


@pytest.mark.parametrize(
    "rate",
    [44_100, 96_000, *(pytest.param(rate, marks=pytest.mark.long) for rate in (48_000, 88_200, 176_400, 192_000))],
)
def test_constant_level_sine_is_table_4a(judged, rate):
    """5 cm/s peak lateral at 1 kHz (L-5): velocity, displacement and acceleration at twelve frequencies."""
    names = named(len(HZ_4A))
    sides = {
        name: Sent(both(tone(hz, 0.7, rate, ALIGN, phase=0.3)), rate, more={"cut_level": "0 dB"})
        for name, hz in zip(names, HZ_4A, strict=True)
    }
    report = judged(sides)
    tables = zip(names, HZ_4A, VELOCITY_4A, DISPLACEMENT_4A, ACCELERATION_4A, strict=True)
    for name, hz, velocity, displacement, acceleration in tables:
        subsonic = 1.0 / np.sqrt(1.0 + (10.0 / hz) ** 4)  # 2nd-order Butterworth, on top of the table
        within = 10.0 ** (0.05 / 20.0) - 1.0
        lateral = report.value("groove.lateral_velocity_peak", name) / subsonic
        assert lateral == pytest.approx(velocity, rel=within, abs=5e-4), f"{hz} Hz velocity"
        moved = report.value("groove.lateral_displacement_peak", name) / subsonic
        assert moved == pytest.approx(displacement, rel=within, abs=5e-3), f"{hz} Hz displacement"
        pressed = report.value("groove.acceleration_peak", name) * np.sqrt(2.0) / subsonic  # wall to lateral
        half_digit = 0.5 * 10.0 ** -len(f"{acceleration}".partition(".")[2])
        assert pressed == pytest.approx(acceleration, rel=within, abs=half_digit), f"{hz} Hz acceleration"


# -- 2e ----------------------------------------------------------------------------------------------------------

MM_2E = (292.6, 292.1, 241.8, 241.3, 168.3, 120.65, 120, 115.2, 115, 106.4, 106, 97.4)
SPEED_2E = {
    "33": (51.068, 50.981, 42.202, 42.115, 29.374, 21.057, 20.944, 20.106, 20.071, 18.570, 18.500, 17.000),
    "45": (68.942, 68.824, 56.973, 56.855, 39.655, 28.427, 28.274, 27.143, 27.096, 25.070, 24.976, 22.949),
}


@pytest.mark.parametrize("speed", ["33", "45"])
def test_groove_speed_is_table_2e(tmp_path, variant, speed):
    """Lateral velocity over lateral slope at a 45 degree back angle is the groove's own speed."""
    side = {"A": Sent(both(tone(1_000.0, 0.5, 48_000, ALIGN, fade=0.05)))}
    folder, store = deliver(tmp_path / "side", side, speed=int(speed)), ("--cache", str(tmp_path / "store"))
    for mm, cm_s in zip(MM_2E, SPEED_2E[speed], strict=True):
        ruleset = variant({"outer": f"{mm} mm", "finishing": "90 mm"}, speed)
        report = judge(folder, tmp_path / "report.json", "--ruleset", str(ruleset), *store)  # measured once
        measured = report.side()["measurements"]["groove.lateral_slope_peak"]
        diameter = 2.0 * measured["at"]["radius_mm"]
        assert mm - 0.3 < diameter <= mm
        speed_there = report.value("groove.lateral_velocity_peak") / measured["value"]
        assert speed_there * mm / diameter == pytest.approx(cm_s, rel=2e-4)


# -- 5b and T-2 --------------------------------------------------------------------------------------------------

DIAMETERS_5B = (("33", 292.1, 120.65), ("33", 292.6, 115), ("45", 292.1, 120.65), ("33", 241.3, 120.65),
                ("45", 168.3, 108), ("33", 168.3, 106))  # fmt: skip
MINUTES_5B = {
    169.33: (15.19, 15.73, 11.25, 10.69, 3.96, 5.52), 141.11: (18.23, 18.88, 13.50, 12.82, 4.75, 6.62),
    127.00: (20.25, 20.98, 15.00, 14.25, 5.28, 7.36), 101.60: (25.31, 26.22, 18.75, 17.81, 6.59, 9.20),
    84.67: (30.38, 31.46, 22.50, 21.38, 7.91, 11.04), 63.50: (40.50, 41.95, 30.00, 28.50, 10.55, 14.72),
}  # fmt: skip


def still(seconds, rate):
    """Silence with a 10 ms tone at -50 dBFS at its end, so that the side is not silent."""
    x = np.zeros(round(seconds * rate))
    n = rate // 100
    x[-n:] = tone(5_000.0, 0.01, rate, np.sqrt(2.0) * 10.0 ** (-50.0 / 20.0), fade=0.001)
    return x


RPM = {"33": 100.0 / 3.0, "45": 45.0}
HALF_A_DIGIT = 0.005
"""Of the table's minutes, and of its pitch in um: both are printed to the hundredth."""
TONE_UM = DISPLACEMENT_4A[HZ_4A.index(5000)] * np.sqrt(2.0) * 10.0 ** (-50.0 / 20.0) / ALIGN
"""Lateral peak of the tone of `still`, beside a turn that stands still: what it adds to the travel at most."""


@pytest.mark.parametrize("speed", ["33", "45"])
def test_minutes_from_constant_pitch_are_table_5b(tmp_path, variant, speed):
    """A silent groove at the pitch of each row; its travel a minute gives the minutes between two diameters.

    What may differ is what the table rounds, its minutes and the pitch of its row, and the room of the tone.
    """
    minutes = 2.0
    side = Sent(still(60.0 * minutes, 44_100), 44_100, more={"cut_level": "0 dB"})
    folder, store = deliver(tmp_path / "side", {"A": side}, speed=int(speed)), ("--cache", str(tmp_path / "store"))
    for pitch, row in MINUTES_5B.items():
        width = 50.0
        ruleset = variant({"land": f"{pitch - width} um", "top_width": f"{width} um"}, speed)
        report = judge(folder, tmp_path / "report.json", "--ruleset", str(ruleset), *store)  # measured once
        travel = report.value("groove.travel")
        for (row_speed, outer, inner), expected in zip(DIAMETERS_5B, row, strict=True):
            if row_speed == speed:
                rounded = HALF_A_DIGIT + expected * HALF_A_DIGIT / pitch
                tone_takes = expected * TONE_UM / (pitch * RPM[speed] * minutes)
                measured = (outer - inner) / 2.0 / (travel / minutes)
                assert measured == pytest.approx(expected, abs=rounded + tone_takes), f"{pitch} um, {outer} to {inner}"


@pytest.mark.long
def test_twenty_minutes_over_76_mm_are_223_lines_an_inch(judged, variant):
    """T-2: the handbook's worked example, on a whole side of 20 minutes."""
    ruleset = variant({"land": "58 um", "top_width": "56 um"})
    side = {"A": Sent(still(1200.0, 44_100), 44_100, container="FLAC", coding="PCM_16", more={"cut_level": "0 dB"})}
    report = judged(side, "--ruleset", str(ruleset))
    assert report.value("groove.travel") == pytest.approx(76.0, abs=0.05)
    assert 25_400.0 / report.side()["geometry"]["mean_pitch_um"] == pytest.approx(223.0, abs=0.5)


# -- 6a and 7a ---------------------------------------------------------------------------------------------------

HZ_6A = (1000, 2000, 5000, 10000, 15000, 20000)
VELOCITY_6A = {
    (18, 292.1): (229.8, 114.9, 46.0, 23.0, 15.3, 11.5), (18, 120.65): (39.2, 19.6, 7.8, 3.9, 2.6, 2.0),
    (15, 292.1): (275.8, 137.9, 55.2, 27.6, 18.4, 13.8), (15, 120.65): (47.0, 23.5, 9.4, 4.7, 3.1, 2.4),
    (8, 292.1): (517.1, 258.5, 103.4, 51.7, 34.5, 25.9), (8, 120.65): (88.2, 44.1, 17.6, 8.8, 5.9, 4.4),
    (5, 120.65): (141.1, 70.6, 28.2, 14.1, 9.4, 7.1),
}  # fmt: skip


ENDS_OF_6A = [
    pytest.param(*row, marks=pytest.mark.long if 0 < number < len(VELOCITY_6A) - 1 else ())
    for number, row in enumerate(VELOCITY_6A)
]
"""the first and the last row in the quick tests, those between them in the long run"""


@pytest.fixture(scope="module")
def tones_6a(tmp_path_factory):
    """A delivery of the table's tones, a side each, and a store in which they are measured once for all rows."""
    folder = tmp_path_factory.mktemp("tones")
    sides = {
        name: Sent(both(tone(hz, 0.5, 96_000, 0.01, fade=0.05)), 96_000, more={"cut_level": "0 dB"})
        for name, hz in zip(named(len(HZ_6A)), HZ_6A, strict=True)
    }
    return deliver(folder / "tones", sides), folder / "store"


@pytest.mark.parametrize(("tip", "mm"), ENDS_OF_6A)
def test_velocity_that_curvature_allows_is_table_6a(tones_6a, tmp_path, variant, tip, mm):
    """Wall velocity over tracing ratio is the velocity at which the ratio is 1 (C-3)."""
    names, (folder, store) = named(len(HZ_6A)), tones_6a
    ruleset = variant({"outer": f"{mm} mm", "tip_radius": f"{tip} um"})
    report = judge(folder, tmp_path / "report.json", "--ruleset", str(ruleset), "--cache", str(store))
    for name, hz, expected in zip(names, HZ_6A, VELOCITY_6A[tip, mm], strict=True):
        ratio = report.side(name)["measurements"]["groove.tracing_ratio_peak"]
        allowed = report.value("groove.wall_velocity_peak", name) / ratio["value"]
        allowed *= (mm / 2.0 / ratio["at"]["radius_mm"]) ** 2
        assert allowed == pytest.approx(expected, rel=5e-3, abs=0.051), f"{hz} Hz"


TRACING_7A = (  # R um, f Hz, V m/s, D mm, e, HD2 %, HD3 %; v is 5 cm/s
    (18, 1_000, 0.2106, 120.65, 0.1275, 6.267, 0.581), (15, 1_000, 0.2094, 120.0, 0.1075, 5.287, 0.413),
    (18, 3_000, 0.2106, 120.65, 0.3825, 18.32, 4.95), (18, 10_000, 0.5098, 292.1, 0.2176, 10.75, 1.73),
    (5, 10_000, 0.2106, 120.65, 0.3542, 17.03, 4.28), (8, 10_000, 0.2106, 120.65, 0.5667, 26.18, 10.07),
)  # fmt: skip


@pytest.mark.parametrize(("tip", "hz", "speed", "mm", "e", "hd2", "hd3"), TRACING_7A)
def test_tracing_ratio_is_table_7a(judged, variant, tip, hz, speed, mm, e, hd2, hd3):
    """A wall velocity of 5 cm/s peak; e by way of the report's tracing ratio, scaled to 5 cm/s exactly."""
    side = {"A": Sent(both(tone(hz, 0.5, 96_000, 0.05, fade=0.05)), 96_000, more={"cut_level": "0 dB"})}
    report = judged(side, "--ruleset", str(variant({"outer": f"{mm} mm", "tip_radius": f"{tip} um"})))
    ratio = report.side()["measurements"]["groove.tracing_ratio_peak"]
    at_five = ratio["value"] * 5.0 / report.value("groove.wall_velocity_peak")
    measured = at_five * (ratio["at"]["radius_mm"] / (mm / 2.0)) ** 2
    assert measured == pytest.approx(e, rel=4e-3)
    second, third = traced(tip * 1e-6, hz, 0.05, speed)
    assert 100.0 * second == pytest.approx(hd2, rel=5e-3)
    assert 100.0 * third == pytest.approx(hd3, rel=1.5e-2)
    if measured <= 0.3:
        assert second == pytest.approx(measured / 2.0, rel=0.05)  # the series' own rule


def traced(tip, hz, velocity, speed):
    """Harmonic distortion of a circle rolled over a sine, as velocity: the centre's path resampled evenly."""
    k = 2.0 * np.pi * hz / speed
    amplitude = velocity / (2.0 * np.pi * hz)
    x = np.linspace(0.0, 4.0 * np.pi / k, 200_001)
    slope = amplitude * k * np.cos(k * x)
    length = np.sqrt(1.0 + slope**2)
    centre_x, centre_y = x - tip * slope / length, amplitude * np.sin(k * x) + tip / length
    even = np.linspace(np.pi / k, 3.0 * np.pi / k, 8192, endpoint=False)
    spectrum = np.abs(np.fft.rfft(np.interp(even, centre_x, centre_y)))
    return 2.0 * spectrum[2] / spectrum[1], 3.0 * spectrum[3] / spectrum[1]
