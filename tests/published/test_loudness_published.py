"""Loudness, peaks and stereo through the whole command: each number comes from a file by way of the JSON report.

The signals are those of EBU Tech 3341 (table 1) and EBU Tech 3342 (table 1), each at full length and held to the
standard's own tolerance, and of ITU-R BS.1770; what no standard tabulates is held against its closed form.
"""

import shutil

import numpy as np
import pyloudnorm as pyln
import pytest

from qc.testing.deliveries import Sent
from qc.testing.music import Song, song
from support.signals import both, tone

RATES = (44_100, 48_000, 192_000)
"""the lowest, the one that filters are printed for, and the highest; ALL_RATES where a filter itself is on trial"""
ALL_RATES = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


def each(rates):
    """48 kHz always, the other rates where the longest laws run."""
    return [rate if rate == 48_000 else pytest.param(rate, marks=pytest.mark.long) for rate in rates]


LENGTHY_RATES = (44_100, 48_000)
"""of signals of minutes, and of the windows of 3 s"""
MOMENTARY_RATES = (48_000, 192_000)
"""of the windows of 400 ms, which slide as those of 3 s do"""


def some_of(table, *quick):
    """(rate, cases) to try: so many at 48 kHz, and the whole table at the rates of minutes in the long run."""
    whole = [pytest.param(rate, table, marks=pytest.mark.long, id=f"{rate}-all") for rate in LENGTHY_RATES]
    return [pytest.param(48_000, {case: table[case] for case in quick}, id="48000-some"), *whole]


MOMENTARY, SHORT_TERM = "loudness.momentary_max", "loudness.short_term_max"
INTEGRATED, LRA = "loudness.integrated", "loudness.range"
SAMPLE, TRUE, RUNS, DC = "level.sample_peak", "level.true_peak", "level.clipped_runs", "level.dc_offset"
BALANCE, CORRELATION, LOW = "stereo.balance", "stereo.correlation_min", "stereo.low_correlation"


@pytest.fixture
def measured(judged, tmp_path):
    """Judge signals, (2, frames) or Sent, as the sides of one delivery; its audio, gigabytes at 192 kHz, goes again."""

    def run(signals, rate=48_000):
        names = [f"S{i:02d}" for i in range(len(signals))]
        sides = {name: x if isinstance(x, Sent) else Sent(x, rate) for name, x in zip(names, signals, strict=True)}
        report = judged(sides)
        for folder in tmp_path.glob("delivery-*"):
            shutil.rmtree(folder)
        assert report.code in (0, 1)
        assert not report.report["plugin_failures"]
        return [report.side(name)["measurements"] for name in names]

    return run


def sine(rate, *steps):
    """Stereo sine of 1 kHz in steps of (peak in dBFS or None, seconds), each of them whole periods and whole 10 ms."""
    levels = np.array([-np.inf if dbfs is None else dbfs for dbfs, _ in steps], dtype=float)
    times = [round(100.0 * seconds) for _, seconds in steps]
    ten_ms = np.sin(2.0 * np.pi * 1000.0 * np.arange(rate // 100) / rate)
    x = np.outer(np.repeat(10.0 ** (levels / 20.0), times), ten_ms).reshape(-1)
    return np.broadcast_to(x, (2, len(x)))


def near(value, expected, within, about):
    assert value["value"] == pytest.approx(expected, abs=within), about


# -- EBU Tech 3341, table 1, cases 1-5 and 9-14 (stereo sine of 1 kHz): +/-0.1 LU ------------------------------------

WITHIN_3341 = 0.1

CASES_1_TO_5 = {  # case: steps of (dBFS, s), what is read, expected LUFS
    1: ([(-23, 20)], (MOMENTARY, SHORT_TERM, INTEGRATED), -23.0),
    2: ([(-33, 20)], (MOMENTARY, SHORT_TERM, INTEGRATED), -33.0),
    3: ([(-36, 10), (-23, 60), (-36, 10)], (INTEGRATED,), -23.0),
    4: ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], (INTEGRATED,), -23.0),
    5: ([(-26, 20), (-20, 20.1), (-26, 20)], (INTEGRATED,), -23.0),
}
CASES_9_AND_12 = {  # case: steps, what is read, its window in s, its constant LUFS
    9: ([(-20, 1.34), (-30, 1.66)] * 5, SHORT_TERM, 3.0, -23.0),
    12: ([(-20, 0.18), (-30, 0.22)] * 25, MOMENTARY, 0.4, -23.0),
}
CASES_10_AND_13 = {  # case: steps of segment i = 0..19, what is read, its greatest LUFS in each segment
    10: (lambda i: [(None, 0.15 * i), (-23, 3.0), (None, 1.0)], SHORT_TERM, -23.0),
    13: (lambda i: [(None, 0.02 * i), (-23, 0.4), (None, 1.0)], MOMENTARY, -23.0),
}
CASES_11_AND_14 = {  # case: steps of segment i = 0..19, what is read, its greatest LUFS in segment i, a segment's s
    11: (lambda i: [(None, 0.15 * i), (-38 + i, 3.0), (None, 3.0 - 0.15 * i)], SHORT_TERM, lambda i: -38.0 + i, 6.0),
    14: (lambda i: [(None, 0.02 * i), (-38 + i, 0.4), (None, 0.4 - 0.02 * i)], MOMENTARY, lambda i: -38.0 + i, 0.8),
}
SEGMENTS = range(20)


@pytest.mark.parametrize(("rate", "cases"), some_of(CASES_1_TO_5, 1, 2, 5))
def test_tech_3341_cases_1_to_5(measured, rate, cases):
    found = measured([sine(rate, *steps) for steps, _, _ in cases.values()], rate)
    for (case, (_, read, expected)), values in zip(cases.items(), found, strict=True):
        for name in read:
            near(values[name], expected, WITHIN_3341, f"case {case}: {name}")


@pytest.mark.parametrize(
    ("case", "rate", "apart"),
    [
        (9, 48_000, 5),
        *(pytest.param(9, rate, 1, marks=pytest.mark.long) for rate in LENGTHY_RATES),
        (12, 48_000, 1),
        pytest.param(12, 192_000, 1, marks=pytest.mark.long),
    ],
)
def test_tech_3341_cases_9_and_12(measured, case, rate, apart):
    """The reading is constant, not only its greatest: windows of a period, so many 100 ms apart, are sides too."""
    steps, name, window, expected = CASES_9_AND_12[case]
    whole = sine(rate, *steps)
    period = round(10 * (steps[0][1] + steps[1][1]))
    starts = range(0, period, apart)
    windows = [whole[:, k * rate // 10 :][:, : round(window * rate)] for k in starts]
    found = measured([whole, *windows], rate)
    near(found[0][name], expected, WITHIN_3341, f"case {case}")
    for k, values in zip(starts, found[1:], strict=True):
        near(values[name], expected, WITHIN_3341, f"case {case}, window from {k / 10} s")


@pytest.mark.long
@pytest.mark.parametrize(
    ("case", "rate"), [*((10, rate) for rate in LENGTHY_RATES), *((13, rate) for rate in MOMENTARY_RATES)]
)
def test_tech_3341_cases_10_and_13(measured, case, rate):
    """For meters of files: every segment is a file, hence a side."""
    segment, name, expected = CASES_10_AND_13[case]
    found = measured([sine(rate, *segment(i)) for i in SEGMENTS], rate)
    for i, values in enumerate(found):
        near(values[name], expected, WITHIN_3341, f"case {case}, segment {i}")


@pytest.mark.long
@pytest.mark.parametrize(
    ("case", "rate"), [*((11, rate) for rate in LENGTHY_RATES), *((14, rate) for rate in MOMENTARY_RATES)]
)
def test_tech_3341_cases_11_and_14(measured, case, rate):
    """For live meters, reset at each segment: so every segment is a side.

    The series unbroken is a side too; without a reset the greatest of it is the last segment's, and it lies there.
    """
    segment, name, expected, seconds = CASES_11_AND_14[case]
    series = sine(rate, *(step for i in SEGMENTS for step in segment(i)))
    found = measured([series, *(sine(rate, *segment(i)) for i in SEGMENTS)], rate)
    for i, values in enumerate(found[1:]):
        near(values[name], expected(i), WITHIN_3341, f"case {case}, segment {i}")
    last = SEGMENTS[-1]
    silence, sounding, _ = (step[1] for step in segment(last))
    near(found[0][name], expected(last), WITHIN_3341, f"case {case}, the series")
    start = last * seconds + silence
    assert found[0][name]["at"]["start_s"] == pytest.approx(start, abs=1e-6)
    assert found[0][name]["at"]["end_s"] == pytest.approx(start + sounding, abs=1e-6)


# -- EBU Tech 3341, table 1, cases 15-19 (true peak): +0.2/-0.4 dB ---------------------------------------------------

ABOVE_3341, BELOW_3341 = 0.2, 0.4

CASES_15_TO_19 = {  # case: frequency as a part of the rate, peak re full scale, phase in degrees, expected dBTP
    15: (4, 0.50, 0.0, -6.0),
    16: (4, 0.50, 45.0, -6.0),
    17: (6, 0.50, 60.0, -6.0),
    18: (8, 0.50, 67.5, -6.0),
    19: (4, 1.41, 45.0, +3.0),
}


def behind_programme(x, rate):
    """A second of 1 kHz at -40 dBFS before a signal: one above 20 kHz alone is no programme, hence not measured."""
    return np.concatenate([both(tone(1_000.0, 1.0, rate, 0.01, fade=0.05)), x], axis=1)


@pytest.mark.parametrize("rate", each(RATES))
def test_tech_3341_cases_15_to_19(measured, rate):
    """Stereo sines with soft ends: cut off hard, the band-limited wave itself would overshoot at its ends."""
    signals = [
        behind_programme(both(tone(rate / part, 1.0, rate, peak, np.radians(degrees), fade=0.05)), rate)
        for part, peak, degrees, _ in CASES_15_TO_19.values()
    ]
    found = measured(signals, rate)
    for (case, (*_, expected)), values in zip(CASES_15_TO_19.items(), found, strict=True):
        value = values[TRUE]["value"]
        assert expected - BELOW_3341 <= value <= expected + ABOVE_3341, f"case {case}: {value}"


@pytest.mark.parametrize(
    ("rates", "peaks"),
    [(RATES, (1.41, 0.05)), pytest.param(ALL_RATES, (1.41, 1.0, 0.5, 0.05), marks=pytest.mark.long)],
    ids=["ends", "all"],
)
def test_tones_at_a_quarter_of_the_rate_are_read_to_a_tenth_of_a_decibel(measured, rates, peaks):
    """At 45 degrees every sample is peak/sqrt(2): the peak lies between samples, 3.01 dB above all of them."""
    wanted = [(rate, peak) for rate in rates for peak in peaks]
    tones = [both(tone(rate / 4, 0.4, rate, peak, np.pi / 4.0, fade=0.05)) for rate, peak in wanted]
    found = measured([Sent(behind_programme(x, rate), rate) for x, (rate, _) in zip(tones, wanted, strict=True)])
    for (rate, peak), values in zip(wanted, found, strict=True):
        near(values[TRUE], 20.0 * np.log10(peak), 0.1, f"{peak} at {rate} Hz")
        near(values[SAMPLE], 20.0 * np.log10(peak / np.sqrt(2.0)), 0.001, f"{peak} at {rate} Hz")


# -- EBU Tech 3342, table 1, cases 1-4 (stereo sine of 1 kHz, 20 s a step): +/-1 LU ----------------------------------

WITHIN_3342 = 1.0

CASES_3342 = {  # case: dBFS of each 20 s, expected LU
    1: ((-20, -30), 10.0),
    2: ((-20, -15), 5.0),
    3: ((-40, -20), 20.0),
    4: ((-50, -35, -20, -35, -50), 15.0),
}


@pytest.mark.parametrize(("rate", "cases"), some_of(CASES_3342, 2, 3))
def test_tech_3342_cases_1_to_4(measured, rate, cases):
    found = measured([sine(rate, *((dbfs, 20) for dbfs in levels)) for levels, _ in cases.values()], rate)
    for (case, (_, expected)), values in zip(cases.items(), found, strict=True):
        near(values[LRA], expected, WITHIN_3342, f"case {case}")


# -- ITU-R BS.1770 ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rates", [RATES, pytest.param(ALL_RATES, marks=pytest.mark.long)], ids=["ends", "all"])
def test_997_hz_at_full_scale_in_one_channel(measured, rates):
    """ITU-R BS.1770, annex 1: a sine of 997 Hz at 0 dBFS in the left or the right channel alone is -3.01 LKFS.

    The printed filter is for 48 kHz and gives all the printed digits there; at the other rates it is one worked out
    to the same response, within 0.006 dB at this frequency.
    """
    wanted = [(rate, channel) for rate in rates for channel in (0, 1)]
    signals = []
    for rate, channel in wanted:
        x = np.zeros((2, 3 * rate))
        x[channel] = np.sin(2.0 * np.pi * 997.0 * np.arange(3 * rate) / rate)
        signals.append(Sent(x, rate))
    for (rate, channel), values in zip(wanted, measured(signals), strict=True):
        near(values[INTEGRATED], -3.01, 0.005 if rate == 48_000 else 0.01, f"channel {channel} at {rate} Hz")


K_WEIGHTING = {  # Hz: dB, of the two sections that ITU-R BS.1770, annex 1, prints for 48 kHz
    20: -13.275, 31.5: -7.790, 50: -3.934, 63: -2.664, 100: -1.134, 200: -0.265, 500: +0.043, 1000: +0.698,
    2000: +3.071, 5000: +4.013, 10000: +4.042,
}  # fmt: skip


@pytest.mark.parametrize("rate", each(ALL_RATES))
def test_sines_are_weighted_as_printed(measured, rate):
    """A sine of peak p in one channel reads -0.691 + 20 lg p - 3.010 + the weighting's gain."""
    signals = []
    for hz in K_WEIGHTING:
        x = np.zeros((2, 4 * rate))
        x[0] = 0.5 * np.sin(2.0 * np.pi * hz * np.arange(4 * rate) / rate)
        signals.append(x)
    for (hz, gain), values in zip(K_WEIGHTING.items(), measured(signals, rate), strict=True):
        near(values[INTEGRATED], -0.691 + 20.0 * np.log10(0.5 / np.sqrt(2.0)) + gain, 0.01, f"{hz} Hz")


# -- a reference meter, and the other rates --------------------------------------------------------------------------


def stepped(x, *decibels):
    """Cut x into as many equal pieces and set each to its own level, so that both gates have something to close."""
    return x * np.repeat(10.0 ** (np.array(decibels) / 20.0), x.shape[1] // len(decibels))


def test_integrated_loudness_is_that_of_a_reference_meter(measured):
    """Music made by code, and noise, in whole blocks of 400 ms: the reference counts a last part of one as well."""
    music = song(Song(16.0, 48_000, seed=3))
    noise = np.random.default_rng(7).standard_normal((2, 48_000 * 10)) * 0.1
    slope = np.cumsum(noise - noise.mean(axis=1, keepdims=True), axis=1)
    signals = [
        music,
        stepped(music, 0.0, -24.0, -6.0, -90.0),
        music[:, : 48_000 * 4] * [[1.0], [0.1]],
        noise,
        stepped(noise, -3.0, -30.0, 0.0, -12.0, -80.0),
        slope / np.abs(slope).max(),
    ]
    meter = pyln.Meter(48_000, filter_class="DeMan")
    for k, (x, values) in enumerate(zip(signals, measured(signals), strict=True)):
        as_written = x.astype(np.float32).astype(np.float64)
        near(values[INTEGRATED], meter.integrated_loudness(as_written.T), 0.01, f"signal {k}")


PARTIALS = (31.5, 55.0, 110.0, 196.0, 330.0, 587.3, 997.0, 1661.2, 2489.0, 4186.0, 7040.0, 11_175.0, 16_000.0)


def programme(rate, tilt):
    """Six seconds of sines that swell and pause, by formula alone, so that every rate samples the same wave."""
    t = np.arange(6 * rate) / rate
    swell = 0.55 + 0.45 * np.cos(2.0 * np.pi * t / 6.0)  # falls below the relative gate and rises again
    weights = [(hz / 1000.0) ** tilt for hz in PARTIALS]
    channels = []
    for turn in (1.0, 2.0):
        x = sum(
            w * np.sin(2.0 * np.pi * hz * t + turn * k) for k, (w, hz) in enumerate(zip(weights, PARTIALS, strict=True))
        )
        channels.append(swell**3 * x / sum(weights) / turn)
    return np.array(channels)


@pytest.mark.parametrize(
    ("tilt", "rates"),
    [
        pytest.param(-0.5, ALL_RATES, id="falling", marks=pytest.mark.long),
        pytest.param(0.0, RATES, id="flat"),
        pytest.param(0.5, ALL_RATES, id="rising", marks=pytest.mark.long),
    ],
)
def test_integrated_loudness_is_the_same_at_every_rate(measured, tilt, rates):
    found = measured([Sent(programme(rate, tilt), rate) for rate in rates])
    at = dict(zip(rates, found, strict=True))
    for rate, values in at.items():
        near(values[INTEGRATED], at[48_000][INTEGRATED]["value"], 0.01, f"{rate} Hz")
    reference = pyln.Meter(48_000, filter_class="DeMan").integrated_loudness(programme(48_000, tilt).T)
    near(at[48_000][INTEGRATED], reference, 0.01, "48000 Hz against the reference")


# -- peaks: closed forms ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("container", "coding"), [("WAV", "FLOAT"), ("WAV", "PCM_24"), ("FLAC", "PCM_16")])
def test_clipped_runs_are_one_for_each_crest(measured, container, coding):
    """A sine of 100 Hz driven 3.5 dB into a ceiling is flat on both crests of every one of its periods.

    The crest lasts for acos(1/1.5)/pi of a period: 128 samples at 48 kHz, so no run is missed and none is two.
    """
    rate, seconds = 48_000, 2.0
    period = np.sin(2.0 * np.pi * 100.0 * (np.arange(round(seconds * rate)) + 0.5) / rate)

    def clipped(ceiling):
        return np.clip(1.5 * ceiling * period, -ceiling, ceiling)

    full, short = clipped(1.0 - 2.0**-15), clipped(10.0 ** (-0.2 / 20.0))
    late = full.copy()
    late[: rate // 2] *= 0.5  # the first half second has no crest at the ceiling
    table = (  # left, right, runs, frame of the first of the longest
        (full, full, 800, None),
        (full, 0.5 * full, 400, None),
        (late, np.zeros_like(full), 300, rate // 2),
        (short, short, 0, None),  # flat, but 0.2 dB below full scale
        (tone(1000.0, seconds, rate, 0.99999), tone(1000.0, seconds, rate, 0.99999), 0, None),  # round crests
    )
    sent = [Sent(np.array([left, right]), rate, container=container, coding=coding) for left, right, *_ in table]
    for k, (values, (_, _, runs, first)) in enumerate(zip(measured(sent), table, strict=True)):
        assert values[RUNS]["value"] == runs, f"signal {k}"
        if first is not None:
            crest = np.arcsin(1.0 / 1.5) / (2.0 * np.pi * 100.0)
            assert values[RUNS]["at"]["channel"] == "left"
            assert values[RUNS]["at"]["start_s"] == pytest.approx(first / rate + crest, abs=1.5 / rate)


def test_direct_current_is_the_mean(measured):
    """Whole periods have no mean of their own, so what was added is what is found: the channel with more of it."""
    x = both(0.3 * np.sin(2.0 * np.pi * 250.0 * np.arange(96_000) / 48_000))
    table = (  # left, right, expected dBFS, channel
        (0.01, -0.02, 20.0 * np.log10(0.02), "right"),
        (-0.25, 0.0, 20.0 * np.log10(0.25), "left"),
        (1e-4, 1e-5, -80.0, "left"),
    )
    found = measured([x + np.array([[left], [right]]) for left, right, *_ in table])
    for values, (_, _, expected, channel) in zip(found, table, strict=True):
        near(values[DC], expected, 0.001, channel)
        assert values[DC]["at"]["channel"] == channel


# -- stereo: closed forms --------------------------------------------------------------------------------------------


def pair(hz, seconds, rate, degrees=0.0, ratio=1.0):
    """A sine and the same `degrees` later and `ratio` times as high: their correlation is cos(degrees)."""
    phase = 2.0 * np.pi * hz * np.arange(round(seconds * rate)) / rate
    return 0.25 * np.array([np.sin(phase), ratio * np.sin(phase - np.radians(degrees))])


@pytest.mark.parametrize("rate", each(RATES))
def test_balance_is_the_ratio_of_the_powers(measured, rate):
    """Right against left over the whole side, at any correlation."""
    table = ((1.0, 0.0), (2.0, 0.0), (0.5, 90.0), (10.0 ** (-1.5 / 20.0), 180.0), (0.1, 60.0))
    found = measured([pair(500.0, 2.0, rate, degrees, ratio) for ratio, degrees in table], rate)
    for (ratio, degrees), values in zip(table, found, strict=True):
        near(values[BALANCE], 20.0 * np.log10(ratio), 0.001, f"{ratio} at {degrees} degrees")


@pytest.mark.parametrize("rate", each(LENGTHY_RATES))
def test_correlation_is_the_cosine_of_the_angle(measured, rate):
    """Of 400 ms anywhere; below 300 Hz of 10 s, where the treble's angle counts for nothing."""
    degrees = (0.0, 30.0, 60.0, 90.0, 120.0, 180.0)
    found = measured([pair(500.0, 1.0, rate, angle, 0.4) for angle in degrees], rate)
    for angle, values in zip(degrees, found, strict=True):
        near(values[CORRELATION], np.cos(np.radians(angle)), 1e-5, f"{angle} degrees")
    found = measured(
        [pair(100.0, 10.2, rate, angle) + pair(5000.0, 10.2, rate, 180.0 - angle) for angle in degrees], rate
    )
    for angle, values in zip(degrees, found, strict=True):
        near(values[LOW], np.cos(np.radians(angle)), 0.001, f"{angle} degrees below 300 Hz")


def test_least_correlation_is_where_it_is(measured):
    """One second at 120 degrees, from 2.0 s on, among four that agree."""
    rate = 48_000
    x = pair(500.0, 5.0, rate)
    x[:, 2 * rate : 3 * rate] = pair(500.0, 1.0, rate, 120.0)
    (values,) = measured([x])
    near(values[CORRELATION], -0.5, 1e-5, "a window within that second")
    place = values[CORRELATION]["at"]
    assert 2.0 <= place["start_s"] < place["end_s"] <= 3.0
    assert place["end_s"] - place["start_s"] == pytest.approx(0.4)
