"""The reference model against closed forms and published figures alone; the key of each stands beside it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import scipy.signal

from whole_array import model as m

pytestmark = pytest.mark.long  # the model changes seldom, and no test in here runs the package

CHAIN = m.Chain()
UNIT = m.scale(CHAIN, 0.0)
RATES = tuple(m.GRID)
TURN = CHAIN.sectors_a_turn  # 135
AHEAD = CHAIN.preview_sectors  # 68
BASE = (CHAIN.top_width + CHAIN.land) / TURN
UM = 1e-6
REFERENCE = 10.0 ** (-18.0 / 20.0)  # peak of the line-up tone


def still(sectors: int, **values: float | m.F64) -> m.Envelopes:
    """Envelopes that are zero but for the values given, which hold at a cut level of 0 dB, SI units."""
    kept = m.zero_envelopes(sectors)
    for name, value in values.items():
        kept[name][...] = np.asarray(value) / (UNIT**2 if name == "a_square" else UNIT)
    return kept


def lateral(sectors: int, peak: float) -> m.Envelopes:
    """Give a steady in-phase sine of this lateral peak, m: each wall moves peak/sqrt2 either way."""
    wall = peak / m.SQRT2
    return still(sectors, d_max=wall, d_min=-wall, lateral_max=peak, lateral_min=-peak)


def vertical(sectors: int, peak: float) -> m.Envelopes:
    """Give a steady anti-phase sine of this vertical peak, m."""
    wall = peak / m.SQRT2
    return still(sectors, d_max=wall, d_min=-wall, vertical_max=peak, vertical_min=-peak)


def cut(kept: m.Envelopes, chain: m.Chain = CHAIN, polarity: m.Polarity = "normal") -> m.Groove:
    return m.groove(kept, (0, len(kept["vertical_max"])), [], chain, 0.0, polarity)


def measured(
    kept: m.Envelopes, chain: m.Chain = CHAIN, level_db: float = 0.0, polarity: m.Judged = "worst"
) -> dict[str, float]:
    return m.measure(kept, (0, len(kept["vertical_max"])), [], chain, level_db, polarity)


def best(kept: m.Envelopes, chain: m.Chain = CHAIN) -> m.Level:
    return m.recommended(kept, (0, len(kept["vertical_max"])), [], chain)


def sine(rate: int, seconds: float, hz: float, peak: float, phase: float = 0.0) -> m.F64:
    """Give a sine, (frames,), with a raised-cosine rise and fall of 0.1 s."""
    t = np.arange(round(rate * seconds)) / rate
    edge = np.clip(np.minimum(t, seconds - t) / 0.1, 0.0, 1.0)
    y: m.F64 = peak * 0.5 * (1.0 - np.cos(np.pi * edge)) * np.sin(2.0 * np.pi * hz * t + phase)
    return y


def replay_db(hz: float) -> float:
    """EQ-3 in plain arithmetic, dB re 1 kHz."""

    def power(f: float) -> float:
        w = 2.0 * math.pi * f
        return (1.0 + (w * 318e-6) ** 2) / ((1.0 + (w * 3180e-6) ** 2) * (1.0 + (w * 75e-6) ** 2))

    return 10.0 * math.log10(power(hz) / power(1000.0))


def subsonic(hz: float) -> float:
    """Gain of the second-order Butterworth high-pass at 10 Hz."""
    return 1.0 / math.sqrt(1.0 + (10.0 / hz) ** 4)


def middle(values: m.F64) -> m.F64:
    """Give the sectors between 0.35 s after the start and 0.35 s before the end."""
    return values[..., 26:-26]


# -- responses ---------------------------------------------------------------------------------------------

REPLAY = [  # 1a: Hz, dB re 1 kHz, degrees
    (2, 19.904, -2.1),
    (20, 19.274, -20.0),
    (31.5, 18.478, -29.4),
    (50, 16.946, -40.6),
    (100, 13.088, -54.8),
    (200, 8.219, -59.6),
    (500, 2.648, -52.6),
    (800, 0.751, -49.1),
    (1000, 0.000, -49.0),
    (1500, -1.395, -51.8),
    (2000, -2.589, -55.9),
    (2122, -2.866, -56.9),
    (3150, -5.038, -64.2),
    (5000, -8.210, -72.1),
    (8000, -11.894, -78.4),
    (10000, -13.734, -80.6),
    (12500, -15.609, -82.4),
    (15000, -17.157, -83.7),
    (17000, -18.226, -84.4),
    (20000, -19.620, -85.2),
]


@pytest.mark.parametrize(("hz", "gain_db", "phase"), REPLAY)
def test_recording_characteristic_mirrors_replay(hz: float, gain_db: float, phase: float) -> None:
    g = m.recording_characteristic(np.array([float(hz)]))[0]
    assert 20.0 * math.log10(abs(g)) == pytest.approx(-gain_db, abs=0.0006)  # 1a
    assert math.degrees(np.angle(g)) == pytest.approx(-phase, abs=0.06)  # 1a


@pytest.mark.parametrize("order", [1, 2, 4])
def test_butterworth_against_its_magnitude_and_its_order_one_and_two_forms(order: int) -> None:
    hz = np.array([0.0, 30.0, 300.0, 471.0, 3000.0])
    low, high = m.butterworth(hz, 300.0, order, "low"), m.butterworth(hz, 300.0, order, "high")
    with np.errstate(divide="ignore"):
        assert np.abs(low) == pytest.approx(1.0 / np.sqrt(1.0 + (hz / 300.0) ** (2 * order)), rel=1e-12)
        assert np.abs(high) == pytest.approx(1.0 / np.sqrt(1.0 + (300.0 / hz) ** (2 * order)), abs=1e-12)
    p = 1j * hz / 300.0
    if order == 1:
        assert low == pytest.approx(1.0 / (1.0 + p))
        assert high == pytest.approx(p / (1.0 + p))
    if order == 2:
        assert low == pytest.approx(1.0 / (1.0 + m.SQRT2 * p + p**2))
        assert high == pytest.approx(p**2 / (1.0 + m.SQRT2 * p + p**2))


@pytest.mark.parametrize(("rate", "at"), [(44100, 88200), (48000, 96000), (176400, 88200), (192000, 96000)])
def test_top_is_a_kaiser_windowed_sinc_from_20_to_24_1_khz(rate: int, at: int) -> None:
    hz = np.linspace(0.0, 30000.0, 1201)
    beta = scipy.signal.kaiser_beta(72.0)
    taps, _ = scipy.signal.kaiserord(72.0, 2.0 * 4100.0 / at)
    designed = scipy.signal.firwin(taps + (taps + 1) % 2, 22050.0, window=("kaiser", beta), fs=at)
    _, response = scipy.signal.freqz(designed, worN=hz, fs=at)
    assert m.top_response(hz, 20000.0, rate) == pytest.approx(np.abs(response), abs=5e-4)
    edges = np.array([0.0, 20000.0, 22050.0, 24100.0, 96000.0])
    assert m.top_response(edges, 20000.0, rate) == pytest.approx([1.0, 1.0, 0.5, 0.0, 0.0], abs=1e-4)


def test_scale_is_one_walls_share_of_the_reference() -> None:
    # L-4: 35.4 mm/s a wall combine to 50 mm/s lateral; the line-up tone cuts that at 0 dB
    assert pytest.approx(0.0354, abs=5e-5) == UNIT * REFERENCE
    assert m.scale(CHAIN, 6.0) / UNIT == pytest.approx(10.0**0.3)


# -- motion and its envelopes ------------------------------------------------------------------------------

# 4a: Hz, peak velocity cm/s, peak displacement um, peak acceleration g, of the line-up tone at 0 dB
CONSTANT_LEVEL = [
    (20, 0.544, 43.26, 0.07),
    (30, 0.588, 31.19, 0.11),
    (50, 0.711, 22.62, 0.23),
    (100, 1.108, 17.64, 0.71),
    (200, 1.941, 15.45, 2.5),
    (500, 3.686, 11.73, 11.8),
    (1000, 5.000, 7.958, 32.0),
    (2000, 6.736, 5.360, 86.3),
    (5000, 12.866, 4.095, 412),
    (10000, 24.305, 3.868, 1557),
    (15000, 36.043, 3.824, 3464),
    (20000, 47.862, 3.809, 6133),
]
EACH_ROW_AT_SOME_RATE = [(RATES[i % len(RATES)], *row) for i, row in enumerate(CONSTANT_LEVEL)]
ENDS_AT_EVERY_RATE = [(rate, *CONSTANT_LEVEL[i]) for rate in RATES for i in (3, 11)]


@pytest.mark.parametrize(
    ("rate", "hz", "v_cm_s", "d_um", "a_g"), sorted(set(EACH_ROW_AT_SOME_RATE + ENDS_AT_EVERY_RATE))
)
def test_constant_level_tone(rate: int, hz: float, v_cm_s: float, d_um: float, a_g: float) -> None:
    tone = sine(rate, 1.0, hz, REFERENCE, phase=0.7)
    kept = m.scaled(m.envelopes(m.motion(np.stack([tone, tone]), rate, CHAIN)), UNIT)
    gain = subsonic(hz)
    v = middle(kept["lateral_v_abs"]).max() * 100.0
    d = middle(kept["lateral_max"]).max() * 1e6
    a = middle(kept["a_abs"]).max() * m.SQRT2 / m.STANDARD_GRAVITY  # lateral, from one wall

    def half_a_digit(printed: float) -> float:
        text = f"{printed:g}"
        return 0.5 * 10.0 ** -(len(text.partition(".")[2])) + 0.0004 * printed

    assert v == pytest.approx(v_cm_s * gain, abs=half_a_digit(v_cm_s))  # 4a
    assert d == pytest.approx(d_um * gain, abs=half_a_digit(d_um))  # 4a
    assert a == pytest.approx(a_g * gain, abs=half_a_digit(a_g))  # 4a

    exact = 0.05 * 10.0 ** (-replay_db(hz) / 20.0) * gain  # EQ-3
    assert v / 100.0 == pytest.approx(exact, rel=6e-4)
    assert d * UM == pytest.approx(exact / (2.0 * math.pi * hz), rel=6e-4)
    assert -middle(kept["lateral_min"]).min() == pytest.approx(d * UM, rel=1e-3)
    assert a * m.STANDARD_GRAVITY == pytest.approx(exact * 2.0 * math.pi * hz, rel=6e-4)
    assert middle(kept["v_abs"]).max(axis=1) == pytest.approx(np.full(2, exact / m.SQRT2), rel=6e-4)
    assert middle(kept["d_max"]).max(axis=1) == pytest.approx(np.full(2, d * UM / m.SQRT2), rel=1e-3)
    assert middle(kept["vertical_v_abs"]).max() < 1e-9 * exact
    if hz % 75 == 0 or hz > 2000:  # whole periods in a sector, or nearly
        rms = (exact * 2.0 * math.pi * hz) ** 2 / 4.0  # one wall's mean square: (peak/sqrt2)**2/2
        assert middle(kept["a_square"]) == pytest.approx(rms, rel=0.01)


def test_subsonic_takes_a_quarter_of_a_db_at_20_hz_and_0_leaves_it_out() -> None:
    assert 20.0 * math.log10(subsonic(20.0)) == pytest.approx(-0.26, abs=0.005)
    tone = sine(48000, 2.0, 20.0, 1.0)
    with_it, without = (
        middle(m.envelopes(m.motion(np.stack([tone, tone]), 48000, chain))["v_abs"]).max()
        for chain in (CHAIN, m.Chain(subsonic_hz=0.0))
    )
    assert with_it / without == pytest.approx(subsonic(20.0), rel=1e-3)


@pytest.mark.parametrize(("hz", "loss_db"), [(10900.0, -0.201), (20000.0, -0.643)])
def test_cutter_pole(hz: float, loss_db: float) -> None:
    tone = sine(96000, 1.0, hz, 1.0)
    off, on = (
        middle(m.envelopes(m.motion(np.stack([tone, tone]), 96000, chain))["v_abs"]).max()
        for chain in (CHAIN, m.Chain(cutter_pole_s=3.18e-6))
    )
    assert 20.0 * math.log10(on / off) == pytest.approx(loss_db, abs=0.002)  # EQ-6


def test_bass_mono_turns_the_difference_alone() -> None:
    chain = m.Chain(bass_mono_hz=150.0)  # C-13, first order
    tone = sine(48000, 1.0, 150.0, 0.1)
    one_wall = np.stack([tone, np.zeros_like(tone)])
    plain = m.envelopes(m.motion(one_wall, 48000, CHAIN))
    mono = m.envelopes(m.motion(one_wall, 48000, chain))
    names = ("lateral_max", "vertical_max", "v_abs")
    ratio = {name: middle(mono[name]).max() / middle(plain[name]).max() for name in names}
    assert ratio["lateral_max"] == pytest.approx(1.0, rel=1e-4)
    assert ratio["vertical_max"] == pytest.approx(1.0 / m.SQRT2, rel=1e-3)  # -3.01 dB at the corner
    # left = half the sum and half the difference, turned by 45 degrees: |1 + (1 + j)/2| / 2 of a full wall
    assert ratio["v_abs"] == pytest.approx(math.sqrt(2.5) / 2.0, rel=1e-3)


@pytest.mark.parametrize("hz", [60.0, 300.0, 600.0])
def test_vertical_below_300_hz(hz: float) -> None:
    tone = sine(44100, 1.0, hz, 0.1)
    kept = m.envelopes(m.motion(np.stack([tone, -tone]), 44100, CHAIN))
    low = middle(kept["low_vertical_abs"]).max() / middle(kept["vertical_max"]).max()
    assert low == pytest.approx(1.0 / math.sqrt(1.0 + (hz / 300.0) ** 8), rel=1e-3)
    assert middle(kept["lateral_max"]).max() < 1e-9 * middle(kept["vertical_max"]).max()


@pytest.mark.parametrize("hz", [2500.0, 5000.0, 7746.0, 12000.0, 18000.0])
def test_sibilance_band(hz: float) -> None:
    tone = sine(88200, 1.0, hz, 0.1)
    kept = m.envelopes(m.motion(np.stack([tone, 0.5 * tone]), 88200, CHAIN))
    share = middle(kept["sibilance_a"]).max(axis=1) / middle(kept["a_abs"]).max(axis=1)
    expected = 1.0 / math.sqrt((1.0 + (5000.0 / hz) ** 8) * (1.0 + (hz / 12000.0) ** 8))
    assert share == pytest.approx(np.full(2, expected), rel=1e-3)


@pytest.mark.parametrize("rate", RATES)
def test_an_extremum_is_that_of_the_signal_and_not_of_its_samples(rate: int) -> None:
    hz = 11025.0 if rate % 44100 == 0 else 12000.0
    tone = sine(rate, 0.8, hz, 0.1, phase=math.pi / 4.0)  # a quarter of 44.1 or 48 kHz: samples 3 dB low
    kept = m.envelopes(m.motion(np.stack([tone, tone]), rate, CHAIN))
    v = 0.1 * 10.0 ** (-replay_db(hz) / 20.0)  # EQ-3
    assert middle(kept["v_abs"]) == pytest.approx(v, rel=1e-3)
    assert middle(kept["a_abs"]) == pytest.approx(v * 2.0 * math.pi * hz, rel=1e-3)
    assert middle(kept["d_max"]) == pytest.approx(v / (2.0 * math.pi * hz), rel=1e-3)


def test_left_up_and_right_down_is_up_out_of_the_disc() -> None:
    # a fast push of velocity one way displaces that way; L-1, vertical = (L - R)/sqrt2
    push = np.zeros((2, 9600))
    push[0, 4800:4824], push[1, 4800:4824] = 0.1, -0.1
    kept = m.envelopes(m.motion(push, 48000, m.Chain(subsonic_hz=0.0)))
    assert kept["d_max"][0].max() > 5.0 * -kept["d_min"][0].min()
    assert -kept["d_min"][1].min() > 5.0 * kept["d_max"][1].max()
    assert kept["vertical_max"].max() == pytest.approx(m.SQRT2 * kept["d_max"][0].max())
    assert np.abs(kept["lateral_max"]).max() < 1e-12


def test_the_last_part_sector_counts_over_its_own_frames() -> None:
    moved = m.motion(np.ones((2, 640 * 3 + 100)) * 0.1, 48000, CHAIN)
    kept = m.envelopes(moved)
    assert all(values.shape[-1] == 4 for values in kept.values())
    assert moved.d.shape == (2, (640 * 3 + 100) * 8)
    assert m.mean_square(np.array([1.0, 1.0, 1.0, 1.0, 3.0]), 2).tolist() == [1.0, 1.0, 9.0]


def test_extremes_between_grid_points() -> None:
    t = np.arange(1000)
    y = np.cos(2.0 * np.pi * (t - 0.5) / 17.6)  # 20 kHz on a grid of 352.8 kHz, a crest half-way
    greatest, least = m.extremes(y, 100)
    assert greatest == pytest.approx(1.0, abs=4e-4)
    assert least == pytest.approx(-1.0, abs=4e-4)
    assert m.extremes(np.arange(10.0), 4)[0].tolist() == [3.0, 7.0, 9.0]
    assert m.extremes(np.zeros(5), 4)[1].tolist() == [0.0, 0.0]


def test_the_same_programme_at_every_rate_cuts_the_same_groove() -> None:
    found = []
    for rate in RATES:
        left, right = np.zeros(rate * 2), np.zeros(rate * 2)
        for k, hz in enumerate((47.0, 113.0, 420.0, 1730.0, 6900.0, 15100.0)):
            left += sine(rate, 2.0, hz, 0.04, phase=0.3 * k)
            right += sine(rate, 2.0, hz, 0.03, phase=1.1 * k * k)
        found.append(m.envelopes(m.motion(np.stack([left, right]), rate, CHAIN)))
    for name in m.ENVELOPES:
        for other in found[1:]:
            near = 2e-3 * np.abs(found[0][name]).max()
            assert middle(other[name]) == pytest.approx(middle(found[0][name]), abs=near), name


# -- where the side starts and ends ------------------------------------------------------------------------


def test_programme_stands_clear_of_the_noise_floor_in_10_ms_windows() -> None:
    """1 kHz at -30 dBFS peak from 0.5 s to 0.9 s of 3 s; beside it nothing, an offset, 8 Hz, hiss at -59 dBFS."""
    t = np.arange(3 * 48000) / 48000
    rng = np.random.default_rng(1)
    burst = 10.0 ** (-30.0 / 20.0) * np.sin(2.0 * np.pi * 1000.0 * t) * ((t >= 0.5) & (t < 0.9))
    assert m.programme(np.zeros((2, 48000)), 48000) is None
    for beside in (0.0, 0.01, 0.03 * np.cos(2.0 * np.pi * 8.0 * t)):
        found = m.programme(np.vstack([burst + beside, 0.0 * t + beside]), 48000)
        assert found == (24000, 43200)
    loud = 10.0 * burst + 10.0 ** (-59.0 / 20.0) * rng.standard_normal(len(t))
    assert m.programme(np.vstack([loud, loud]), 48000) == (24000, 43680)  # the high-pass rings on for a window


def test_span_goes_from_the_earlier_start_to_the_later_end() -> None:
    frames = 640 * 100 + 1
    heard = (640 * 10 + 1, 640 * 50 + 1)
    assert m.span(frames, 48000, [], heard) == (10, 51)
    assert m.span(frames, 48000, [(0.1, 0.2, True), (0.3, 1.0, True)], heard) == (7, 75)
    assert m.span(frames, 48000, [(0.28, 0.5, True)], (640 * 30, 640 * 31)) == (21, 38)  # 75 x 0.28 = 21
    assert m.span(frames, 48000, [(0.2, 0.28, True)], None) == (15, 21)
    assert m.span(frames, 48000, [(0.0, 99.0, True)], heard) == (0, 101)  # the last part-sector counts
    with pytest.raises(ValueError, match="silent"):
        m.span(frames, 48000, [], None)


def test_marks_lie_in_declared_gaps_of_more_than_three_tenths_of_a_second() -> None:
    tracks = [(0.0, 10.0, True), (10.3, 20.0, True), (22.0, 30.0, False), (33.0, 40.0, True)]
    assert m.gaps(tracks) == [(1500, 1650)]
    assert m.gaps([(0.0, 10.0, True), (10.32, 12.0, True)]) == [(750, 774)]


# -- the disc ----------------------------------------------------------------------------------------------

GROOVE_SPEED = [  # 2e: mm, cm/s at 33 1/3, cm/s at 45
    (292.6, 51.068, 68.942),
    (292.1, 50.981, 68.824),
    (241.8, 42.202, 56.973),
    (241.3, 42.115, 56.855),
    (168.3, 29.374, 39.655),
    (120.65, 21.057, 28.427),
    (120.0, 20.944, 28.274),
    (115.2, 20.106, 27.143),
    (115.0, 20.071, 27.096),
    (106.4, 18.570, 25.070),
    (106.0, 18.500, 24.976),
    (97.4, 17.000, 22.949),
]


@pytest.mark.parametrize(("mm", "at_33", "at_45"), GROOVE_SPEED)
def test_groove_speed(mm: float, at_33: float, at_45: float) -> None:
    radius = np.array([mm / 2000.0])
    assert m.groove_speed(radius, 100.0 / 3.0)[0] * 100.0 == pytest.approx(at_33, abs=0.0006)  # 2e
    assert m.groove_speed(radius, 45.0)[0] * 100.0 == pytest.approx(at_45, abs=0.0006)  # 2e


def test_speed_never_falls_below_the_finishing_groove() -> None:
    laid = cut(still(1000), m.Chain(outer_diameter=0.1066))
    assert laid.last_diameter < 0.1064
    assert laid.speed.min() * 100.0 == pytest.approx(18.570, abs=0.0006)  # 2e, D-9


def test_sectors_and_preview() -> None:
    assert (TURN, AHEAD) == (135, 68)  # 67.5 rounds up
    at_45 = m.Chain(rpm=45.0)
    assert (at_45.sectors_a_turn, at_45.preview_sectors) == (100, 50)
    with pytest.raises(ValueError, match="below one turn"):
        _ = m.Chain(preview_turn=0.999).preview_sectors


def test_ten_minutes_of_silence() -> None:
    # w0 56, land 13 um: pitch 69 um, 333 1/3 turns, 23.0 mm, last diameter 292.6 - 46.0 = 246.6 mm
    found = measured(still(45000))
    assert found["groove.travel"] == pytest.approx(23.0, abs=1e-6)
    assert found["groove.travel_least"] == pytest.approx(23.0, abs=1e-6)
    assert found["groove.last_diameter"] == pytest.approx(246.6, abs=1e-6)
    assert found["groove.land_min"] == pytest.approx(13.0, abs=1e-6)
    assert found["groove.top_width_min"] == pytest.approx(56.0)
    assert found["groove.depth_max"] == pytest.approx(28.0)


def test_twenty_minutes_over_76_mm_is_223_lines_an_inch() -> None:
    pitch = 0.0254 / 223.0  # T-2
    chain = m.Chain(land=pitch - 56 * UM, outer_diameter=0.292)
    travel = measured(still(4500), chain)["groove.travel"] * 20.0  # a minute, twenty times
    assert travel == pytest.approx(76.0, abs=0.2)


MINUTES = [  # 5b: lines an inch, then minutes
    (150, 15.19, 15.73, 11.25, 10.69, 3.96, 5.52),
    (180, 18.23, 18.88, 13.50, 12.82, 4.75, 6.62),
    (200, 20.25, 20.98, 15.00, 14.25, 5.28, 7.36),
    (250, 25.31, 26.22, 18.75, 17.81, 6.59, 9.20),
    (300, 30.38, 31.46, 22.50, 21.38, 7.91, 11.04),
    (400, 40.50, 41.95, 30.00, 28.50, 10.55, 14.72),
]
SIDES = [  # 5b: outer, inner mm, r/min
    (292.1, 120.65, 100.0 / 3.0),
    (292.6, 115.0, 100.0 / 3.0),
    (292.1, 120.65, 45.0),
    (241.3, 120.65, 100.0 / 3.0),
    (168.3, 108.0, 45.0),
    (168.3, 106.0, 100.0 / 3.0),
]


@pytest.mark.parametrize("row", MINUTES)
def test_minutes_from_constant_pitch(row: tuple[float, ...]) -> None:
    for (outer, inner, rpm), minutes in zip(SIDES, row[1:], strict=True):
        chain = m.Chain(rpm=rpm, land=0.0254 / row[0] - 56 * UM, outer_diameter=outer / 1000.0)
        a_minute = measured(still(4500), chain)["groove.travel"]
        assert (outer - inner) / 2.0 / a_minute == pytest.approx(minutes, abs=0.0051)  # 5b


# -- how the turns lie -------------------------------------------------------------------------------------


@pytest.mark.parametrize("x_um", [5.0, 20.0, 120.0])
def test_steady_lateral_sine(x_um: float) -> None:
    laid = cut(lateral(3000, x_um * UM))
    assert laid.demand[:TURN] == pytest.approx((69.0 + x_um) * UM)  # beside the unmodulated lead-in
    assert laid.demand[TURN:] == pytest.approx((69.0 + 2.0 * x_um) * UM)  # w0 + land + 2X
    pitch = laid.radius[:-TURN] - laid.radius[TURN:]
    # the onset asks for more than a steady turn, and each turn repeats the last; it evens out in some turns
    assert pitch.min() > (69.0 + 2.0 * x_um - 1e-6) * UM
    assert pitch[15 * TURN :] == pytest.approx((69.0 + 2.0 * x_um) * UM)
    assert laid.land.min() == pytest.approx(13.0 * UM)
    assert laid.top_width == pytest.approx(56.0 * UM)  # lateral motion leaves the width as it is (3)


def test_pitch_of_a_lateral_peak_of_20_um_is_233_lines_an_inch() -> None:
    laid = cut(lateral(600, 20.0 * UM))
    assert laid.demand[-1] == pytest.approx(109.0 * UM)  # 8, required pitch
    assert 0.0254 / laid.demand[-1] == pytest.approx(233.0, abs=0.5)


@pytest.mark.parametrize("y_um", [13.0, 30.0, 60.0])
def test_steady_vertical_sine(y_um: float) -> None:
    found = measured(vertical(600, y_um * UM))
    laid = cut(vertical(600, y_um * UM))
    assert laid.depth == pytest.approx((15.0 + y_um) * UM)  # w_keep/2 + Y
    assert found["groove.top_width_min"] == pytest.approx(30.0)  # w_keep
    assert found["groove.depth_max"] == pytest.approx(15.0 + 2.0 * y_um)
    # each edge moves by Y and each groove is 2(w_keep/2 + Y) wide before it is moved
    assert laid.demand[TURN:] == pytest.approx((30.0 + 13.0 + 4.0 * y_um) * UM)


def test_depth_is_held_between_the_plain_groove_and_the_nominal_depth() -> None:
    assert cut(vertical(300, 5.0 * UM)).depth == pytest.approx(28.0 * UM)
    assert cut(vertical(300, 100.0 * UM)).depth == pytest.approx(75.0 * UM)
    assert measured(vertical(300, 100.0 * UM))["groove.top_width_min"] == pytest.approx(2.0 * (75.0 - 100.0))
    fixed = measured(vertical(300, 20.0 * UM), m.Chain(depth="fixed"))
    assert fixed["groove.top_width_min"] == pytest.approx(2.0 * (28.0 - 20.0))  # w = w0 - 2z (3)
    assert fixed["groove.depth_max"] == pytest.approx(48.0)


def test_depth_is_told_a_preview_before_and_holds_as_long_after() -> None:
    up = np.zeros(400)
    up[200] = 40.0 * UM
    depth = cut(still(400, vertical_max=up)).depth
    assert np.flatnonzero(depth > 28.5 * UM).tolist() == list(range(200 - AHEAD, 200 + AHEAD + 1))
    assert depth[200] == pytest.approx(55.0 * UM)
    up = np.zeros(400)
    up[0] = 40.0 * UM  # the window is cut at the span's ends
    depth = cut(still(400, vertical_max=up)).depth
    assert np.flatnonzero(depth > 28.5 * UM).tolist() == list(range(AHEAD + 1))


def test_the_old_turns_left_wall_and_the_new_turns_right_wall_face_each_other() -> None:
    walls = {name: np.zeros((2, 400)) for name in ("d_max", "d_min")}
    walls["d_max"][1, 250] = 10.0 * UM  # right wall outward at 250
    walls["d_min"][0, 50] = -7.0 * UM  # left wall inward at 50
    walls["d_max"][0, 60] = 99.0 * UM  # away from the next turn
    walls["d_min"][1, 70] = -99.0 * UM  # away from the turn before
    demand = cut(still(400, **walls)).demand
    assert np.flatnonzero(demand > 69.001 * UM).tolist() == [50 + TURN, 250]
    assert demand[250] == pytest.approx((69.0 + m.SQRT2 * 10.0) * UM)
    assert demand[50 + TURN] == pytest.approx((69.0 + m.SQRT2 * 7.0) * UM)
    turned = cut(still(400, **walls), polarity="inverted").demand
    assert np.flatnonzero(turned > 69.001 * UM).tolist() == [70, 60 + TURN]  # what pointed away faces now
    assert turned[70] == pytest.approx((69.0 + m.SQRT2 * 99.0) * UM)


def test_a_demand_is_spread_evenly_over_the_time_it_is_known() -> None:
    right = np.zeros((2, 400))
    right[1, 300] = 14.0 * UM
    extra = m.SQRT2 * 14.0 * UM
    laid = cut(still(400, d_max=right))
    # the land holds at both ends of sector 300: the end of 299 is the first to ask
    expected = np.full(400, BASE)
    expected[299 - AHEAD : 300] += extra / (AHEAD + 1)
    assert laid.advance == pytest.approx(expected)
    assert laid.travel == pytest.approx(400 * BASE + extra)
    assert laid.land[300] == pytest.approx(13.0 * UM)
    assert laid.land.min() == pytest.approx(13.0 * UM)


def test_least_possible_travel_takes_a_push_back_in_the_turn_after() -> None:
    right = np.zeros((2, 400))
    right[1, 300] = 10.0 * BASE / m.SQRT2  # ten plain advances
    laid = cut(still(400, d_max=right))
    # at 299 the carriage jumps by 11, then stands for 10 until the turn is as long as it need be. Sector 300
    # asks as much as 299, so the jump is paid back from 301 on.
    assert laid.travel_least == pytest.approx(400 * BASE)
    least = m.spiral_least(laid.wanted, CHAIN)
    expected = np.full(400, BASE)
    expected[299] = 11.0 * BASE
    expected[301:311] = 0.0
    assert least == pytest.approx(expected, abs=1e-12)
    assert laid.travel == pytest.approx(410 * BASE)


def test_the_lead_in_serves_the_first_demand() -> None:
    right = np.zeros((2, 300))
    right[1, 0] = 14.0 * UM
    extra = m.SQRT2 * 14.0 * UM
    laid = cut(still(300, d_max=right))
    assert laid.run_in[-AHEAD:] == pytest.approx(BASE + extra / (AHEAD + 1))
    assert laid.run_in[:-AHEAD] == pytest.approx(BASE)
    assert laid.travel == pytest.approx(300 * BASE + extra / (AHEAD + 1))  # travel counts from sector 0
    assert laid.radius[0] == pytest.approx(0.1463 - BASE - extra / (AHEAD + 1))


def test_land_falls_short_where_the_pitch_is_at_its_greatest() -> None:
    laid = cut(lateral(1200, 230.0 * UM))
    assert laid.advance.max() == pytest.approx(500.0 * UM / TURN)
    assert laid.land[-1] == pytest.approx((500.0 - 56.0 - 460.0) * UM)
    assert laid.overlaps
    assert laid.overlaps[-1][1] == 1200
    assert not cut(lateral(600, 100.0 * UM)).overlaps


def test_land_is_that_of_the_tighter_end_of_a_sector() -> None:
    right = np.zeros((2, 400))
    right[1, 300] = 300.0 * UM / m.SQRT2
    laid = cut(still(400, d_max=right))
    # told K sectors ahead, the carriage runs as fast as it may; the start of 300 comes one sector sooner
    gained = (AHEAD + 1) * (500.0 * UM / TURN - BASE)
    assert laid.land[300] == pytest.approx(13.0 * UM + gained - 300.0 * UM)
    assert laid.land[299] > 13.0 * UM
    assert laid.overlaps == ((300, 301),)


def test_marks_are_laid_and_not_held_back_by_the_greatest_pitch() -> None:
    kept = still(1000)
    laid = m.groove(kept, (0, 1000), [(400, 550)], CHAIN, 0.0, "normal")
    assert laid.advance[400:550] == pytest.approx(1e-3 / 150)
    assert laid.advance.max() * TURN > 500.0 * UM
    assert laid.travel == pytest.approx(850 * BASE + 1e-3)
    assert laid.travel_least == pytest.approx(1000 * BASE)  # no marks
    shifted = m.groove(kept, (390, 500), [(400, 550)], CHAIN, 0.0, "normal")
    assert shifted.travel == pytest.approx(10 * BASE + 100 * 1e-3 / 150)
    wide = m.groove(kept, (0, 1000), [(0, 1000)], m.Chain(mark_width=0.1e-3), 0.0, "normal")
    assert wide.travel == pytest.approx(1000 * BASE)  # a plain spiral is wider than this mark


def test_lowering_the_level_never_increases_travel() -> None:
    rng = np.random.default_rng(7)
    up, down, out, inward = rng.exponential(8.0 * UM, (4, 2, 900))
    kept = still(900, d_max=up, d_min=-down, vertical_max=out[0], vertical_min=-inward[0])
    travel = [measured(kept, level_db=level)["groove.travel"] for level in range(-30, 21, 5)]
    assert all(low <= high + 1e-9 for low, high in pairwise(travel))


# -- what limits the cut -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("mm", "v_cm_s"), [(292.1, 50.98), (120.65, 21.06)])
def test_slope_limit(mm: float, v_cm_s: float) -> None:
    chain = m.Chain(outer_diameter=mm / 1000.0)
    found = measured(still(1, lateral_v_abs=v_cm_s / 100.0, vertical_v_abs=v_cm_s / 200.0), chain)
    assert found["groove.lateral_slope_peak"] == pytest.approx(1.0, abs=5e-4)  # C-1
    assert found["groove.vertical_slope_peak"] == pytest.approx(0.5, abs=5e-4)
    steep = m.Chain(outer_diameter=mm / 1000.0, back_angle_deg=60.0)
    found = measured(still(1, lateral_v_abs=v_cm_s / 100.0), steep)
    assert found["groove.lateral_slope_peak"] == pytest.approx(1.0 / math.sqrt(3.0), abs=5e-4)


CURVATURE = [  # 6a: tip um, mm, greatest cm/s at 1, 2, 5, 10, 15, 20 kHz
    (18, 292.1, (229.8, 114.9, 46.0, 23.0, 15.3, 11.5)),
    (18, 120.65, (39.2, 19.6, 7.8, 3.9, 2.6, 2.0)),
    (15, 292.1, (275.8, 137.9, 55.2, 27.6, 18.4, 13.8)),
    (15, 120.65, (47.0, 23.5, 9.4, 4.7, 3.1, 2.4)),
    (8, 292.1, (517.1, 258.5, 103.4, 51.7, 34.5, 25.9)),
    (8, 120.65, (88.2, 44.1, 17.6, 8.8, 5.9, 4.4)),
    (5, 120.65, (141.1, 70.6, 28.2, 14.1, 9.4, 7.1)),
]


@pytest.mark.parametrize(("tip_um", "mm", "row"), CURVATURE)
def test_curvature_limit(tip_um: float, mm: float, row: tuple[float, ...]) -> None:
    chain = m.Chain(outer_diameter=mm / 1000.0, tip_radius=tip_um * UM)
    for khz, v_cm_s in zip((1, 2, 5, 10, 15, 20), row, strict=True):
        a = 2.0 * math.pi * khz * 1000.0 * v_cm_s / 100.0
        found = measured(still(1, a_abs=np.array([[0.3 * a], [a]]), sibilance_a=0.5 * a), chain)
        assert found["groove.tracing_ratio_peak"] == pytest.approx(1.0, rel=0.051 / v_cm_s)  # 6a, C-3
        assert found["groove.acceleration_peak"] == pytest.approx(a / 9.80665)


TRACING = [  # 7a: tip um, Hz, cm/s, m/s, e
    (18, 1000, 5, 0.2106, 0.1275),
    (15, 1000, 5, 0.2094, 0.1075),
    (18, 3000, 5, 0.2106, 0.3825),
    (18, 10000, 5, 0.5098, 0.2176),
    (5, 10000, 5, 0.2106, 0.3542),
    (8, 10000, 5, 0.2106, 0.5667),
]


@pytest.mark.parametrize(("tip_um", "hz", "v_cm_s", "speed", "e"), TRACING)
def test_tracing_ratio(tip_um: float, hz: float, v_cm_s: float, speed: float, e: float) -> None:
    diameter = speed * 60.0 / (math.pi * CHAIN.rpm)
    chain = m.Chain(outer_diameter=diameter, tip_radius=tip_um * UM)
    found = measured(still(1, a_abs=2.0 * math.pi * hz * v_cm_s / 100.0), chain)
    assert found["groove.tracing_ratio_peak"] == pytest.approx(e, rel=1e-3)  # 7a: e = R omega v/V**2


def test_shares_are_of_the_worst_ten_seconds_or_of_all_of_a_shorter_side() -> None:
    fast = np.zeros(2000)
    fast[1000:1075] = 10.0  # m/s, far over any groove speed
    sharp = np.zeros((2, 2000))
    sharp[0, 500:530] = 1e6
    kept = still(2000, lateral_v_abs=fast, vertical_v_abs=fast, a_abs=sharp, sibilance_a=sharp)
    found = measured(kept)
    assert found["groove.lateral_slope_share"] == pytest.approx(0.1)  # 75 of 750
    assert found["groove.vertical_slope_share"] == pytest.approx(0.1)
    assert found["groove.tracing_ratio_share"] == pytest.approx(0.04)  # 30 of 750
    assert found["groove.sibilance_share"] == pytest.approx(0.4)  # 30 of 75
    short = measured(still(50, lateral_v_abs=fast[1070:1120], sibilance_a=sharp[:, 525:575]))
    assert short["groove.lateral_slope_share"] == pytest.approx(0.1)  # 5 of 50
    assert short["groove.sibilance_share"] == pytest.approx(0.1)


def test_drive_is_the_greater_walls_rms() -> None:
    square = np.zeros((2, 2000))
    square[0, :] = 100.0**2
    square[1, 300:375] = 400.0**2
    found = measured(still(2000, a_square=square))
    assert found["groove.drive_1s"] == pytest.approx(400.0 / 9.80665)
    assert found["groove.drive_10s"] == pytest.approx(400.0 / math.sqrt(10.0) / 9.80665)
    short = measured(still(40, a_square=square[:, 360:400]))
    assert short["groove.drive_10s"] == pytest.approx(400.0 * math.sqrt(15 / 40) / 9.80665)


def test_peaks_in_their_units() -> None:
    moved = {"lateral_max": 30 * UM, "lateral_min": -31 * UM, "low_vertical_abs": 9 * UM}
    kept = still(10, v_abs=0.2, lateral_v_abs=0.25, **moved)
    found = measured(kept)
    assert found["groove.wall_velocity_peak"] == pytest.approx(20.0)
    assert found["groove.lateral_velocity_peak"] == pytest.approx(25.0)
    assert found["groove.lateral_displacement_peak"] == pytest.approx(31.0)
    assert found["groove.low_vertical_peak"] == pytest.approx(9.0)


def test_worst_takes_each_number_from_its_own_worse_polarity() -> None:
    right = np.zeros((2, 300))
    right[1] = 10.0 * UM
    kept = still(300, vertical_max=20 * UM, vertical_min=-5 * UM, d_max=right)
    normal, turned, worst = (measured(kept, polarity=p) for p in ("normal", "inverted", "worst"))
    # normal: depth 15 + 20, inverted: the plain 28
    for name, one, other in (
        ("groove.top_width_min", 30.0, 46.0),
        ("groove.depth_max", 40.0, 48.0),
        ("groove.vertical_up_peak", 20.0, 5.0),
    ):
        assert (normal[name], turned[name]) == pytest.approx((one, other))
    assert worst["groove.top_width_min"] == pytest.approx(30.0)
    assert worst["groove.depth_max"] == pytest.approx(48.0)
    assert worst["groove.vertical_up_peak"] == worst["groove.vertical_down_peak"] == pytest.approx(20.0)
    assert worst["groove.travel"] == normal["groove.travel"] > turned["groove.travel"]
    assert worst["groove.last_diameter"] == normal["groove.last_diameter"]
    assert measured(m.inverted(kept)) == pytest.approx(worst)
    outward = m.inverted(still(3, lateral_max=4 * UM, lateral_min=-9 * UM))
    assert outward["lateral_max"] * UNIT == pytest.approx(9 * UM)
    assert outward["lateral_min"] * UNIT == pytest.approx(-4 * UM)


# -- the level that a side can take ------------------------------------------------------------------------


def test_silence_can_be_cut_at_any_level_and_too_long_a_side_at_none() -> None:
    assert best(still(500)) == m.Level(20.0, ">")
    assert best(still(500), m.Chain(outer_diameter=0.1207)) == m.Level(-40.0, "<")


def test_level_at_which_the_drive_rules() -> None:
    # steady 1000 m/s2 rms: 300 g over 10 s is reached 9.37 dB higher (C-10)
    assert 20.0 * math.log10(300.0 * 9.80665 / 1000.0) == pytest.approx(9.37, abs=0.005)
    kept = still(900, a_square=1000.0**2)
    assert best(kept) == m.Level(9.3)
    # 150 g warns: 20 log10(150 g/1000) = 3.35 dB
    assert m.clean(kept, (0, 900), [], CHAIN) == m.Level(3.3)


def test_level_at_which_the_depth_rules() -> None:
    # w_keep/2 + 2Y = 127 um at Y = 56 um: 20 log10(56/10) = 14.96 dB
    assert best(vertical(300, 10.0 * UM)) == m.Level(14.9)
    width = m.limits_of()[1:2]
    # 2(75 - Y) = 25.4 um at Y = 62.3 um: 20 log10(62.3/10) = 15.89 dB
    assert m.recommended(vertical(300, 10.0 * UM), (0, 300), [], CHAIN, limits=width) == m.Level(15.8)


def test_level_at_which_the_tracing_ratio_rules() -> None:
    # V = 51.06 cm/s all along so short a side; a = V**2/R = 32590 m/s2 (C-4): 10.26 dB over 10000 m/s2
    assert best(still(100, a_abs=1e4)) == m.Level(10.2)
    # of 1000 sectors 75 in any ten seconds are 10 %, which holds
    some = np.zeros((2, 1000))
    some[:, 500:575] = 1e4
    assert best(still(1000, a_abs=some)) == m.Level(20.0, ">")


def test_level_at_which_the_last_diameter_rules() -> None:
    kept, chain = lateral(3000, 40.0 * UM), m.Chain(outer_diameter=0.125)
    found = best(kept, chain)
    assert found.bound == ""
    fits = measured(kept, chain, found.level_db)["groove.last_diameter"]
    one_up = measured(kept, chain, found.level_db + 0.1)["groove.last_diameter"]
    assert fits >= 120.64  # a diameter within 0.01 mm of its limit meets it
    assert one_up < 120.64
    # 22.2 turns of w0 + land + 2X in 2.18 mm, the first of them beside the unmodulated lead-in
    x_um = 40.0 * 10.0 ** (found.level_db / 20.0)
    turns = 3000 / TURN
    assert (turns - 1.0) * (69.0 + 2.0 * x_um) < 2180.0 < (turns + 0.5) * (69.0 + 2.0 * x_um)


# -- a whole file ------------------------------------------------------------------------------------------


def test_in_phase_tone_through_the_whole_model() -> None:
    rate, hz = 48000, 300.0
    tone = sine(rate, 8.0, hz, REFERENCE)
    side = m.side_of(np.stack([tone, tone]), rate, [(0.0, 8.0, True)], CHAIN)
    assert side.span == (0, 600)
    x = 0.05 * 10.0 ** (-replay_db(hz) / 20.0) / (2.0 * math.pi * hz)
    laid = m.groove(side.envelopes, side.span, side.gaps, CHAIN, 0.0, "normal")
    assert laid.demand[TURN + 20 : -20] == pytest.approx(69.0 * UM + 2.0 * x, rel=1e-4)
    assert laid.land.min() == pytest.approx(13.0 * UM)


def test_anti_phase_tone_through_the_whole_model() -> None:
    rate, hz = 44100, 100.0
    at_reference = 17.64 * UM  # 4a
    tone = sine(rate, 4.0, hz, REFERENCE * 30.0 * UM / at_reference)
    side = m.side_of(np.stack([tone, -tone]), rate, [], CHAIN)
    found = m.measure(side.envelopes, side.span, side.gaps, CHAIN, 0.0)
    assert found["groove.vertical_up_peak"] == pytest.approx(30.0, rel=1e-3)
    assert found["groove.depth_max"] == pytest.approx(75.0, rel=1e-3)  # w_keep/2 + 2Y
    assert found["groove.top_width_min"] == pytest.approx(30.0, rel=2e-3)  # w_keep
    assert found["groove.lateral_displacement_peak"] < 1e-6


def test_a_declared_silence_with_a_tone_at_its_end_is_a_plain_spiral() -> None:
    rate = 44100
    x = np.zeros((2, rate * 12))
    x[:, -441:] = 10.0 ** (-50.0 / 20.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(441) / rate)
    assert m.programme(x, rate) == (rate * 12 - 441, rate * 12)
    side = m.side_of(x, rate, [(0.0, 12.0, True)], CHAIN)
    assert side.span == (0, 900)
    found = m.measure(side.envelopes, side.span, side.gaps, CHAIN, 0.0)
    assert found["groove.travel"] == pytest.approx(900 / TURN * 0.069, rel=0.01)


def test_both_channels_turned_over_change_nothing_under_worst() -> None:
    rng = np.random.default_rng(11)
    x = rng.normal(0.0, 0.05, (2, 48000 * 3)) * np.linspace(0.0, 1.0, 48000 * 3)
    one, other = (m.side_of(y, 48000, [], CHAIN) for y in (x, -x))
    assert one.span == other.span
    a = m.measure(one.envelopes, one.span, [], CHAIN, 3.0)
    b = m.measure(other.envelopes, other.span, [], CHAIN, 3.0)
    assert a == pytest.approx(b, rel=1e-9)


def test_gain_in_the_file_moves_the_recommended_level_the_other_way() -> None:
    rng = np.random.default_rng(12)
    x = rng.normal(0.0, 0.05, (2, 48000 * 3))
    loud = m.side_of(x * 2.0, 48000, [], CHAIN)
    soft = m.side_of(x, 48000, [], CHAIN)
    high = m.recommended(soft.envelopes, soft.span, [], CHAIN)
    low = m.recommended(loud.envelopes, loud.span, [], CHAIN)
    assert high.bound == low.bound == ""
    assert high.level_db - low.level_db == pytest.approx(20.0 * math.log10(2.0), abs=0.1)
