"""Every check of the first ruleset on audio, through the whole command and the shipped rulesets as they stand.

A fault is planted where and as strong as a test says: its amplitude comes from the IEC time constants and the
alignment, its radius from the plain spiral of 69 um a turn before it and the room that it demands itself. It must
be found within 20 ms and 0.05 mm of there, but for what has no sector of its own to lie in: the least correlation
below 300 Hz is placed by its window of 10 s alone, and loudness on the disc by the whole side.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from qc.testing.deliveries import Sent
from qc.testing.music import Song, song
from support.signals import both, opposed

RATE = 48_000
TURN_S = 1.8
OUTER_MM = 146.3
PLAIN_UM = 69.0  # top width 56 um and land 13 um
NEAR_S, NEAR_MM = 0.020, 0.05
FIRST = ("--ruleset", "disc-12in-33@1.0.0")  # the later ones also judge layout, which a bare test tone has none of
GRAVITY = 9.80665
SECONDS, CUE, MIDDLE = 8.0, 3.0, 5.0
"""s: length of a side, start of its second track, middle of the fault"""
EVERY = {
    "delivery.audio-disagrees",
    "groove.curvature-too-tight",
    "groove.cut-too-deep",
    "groove.drive-too-high",
    "groove.last-diameter-too-small",
    "groove.level-above-recommended",
    "groove.level-on-disc-too-low",
    "groove.slope-too-steep",
    "groove.too-little-land",
    "groove.top-width-too-narrow",
    "hf.sibilance-or-cymbals-too-strong",
    "level.true-peak-too-high",
    "stereo.low-end-out-of-phase",
}


# -- what is planted, by closed forms of its own ---------------------------------------------------------------


def curve(hz):
    """Recording characteristic of 3180, 318 and 75 us over its value at 1 kHz, with the 10 Hz Butterworth high-pass."""

    def recorded(f):
        w = 2.0j * np.pi * f
        return (1.0 + 3180e-6 * w) * (1.0 + 75e-6 * w) / (1.0 + 318e-6 * w)

    s = 1.0j * hz / 10.0
    return recorded(hz) / abs(recorded(1_000.0)) * s**2 / (s**2 + np.sqrt(2.0) * s + 1.0)


def crest(hz):
    """Phase that a tone must have for the groove to be at its crest where the tone says 0: it is its integral."""
    return -np.angle(curve(hz) / 1.0j)


def velocity(hz, peak, level):
    """m/s, lateral or vertical, of a tone in both channels; -18 dBFS at 1 kHz cuts 5 cm/s at a level of 0 dB."""
    return peak * 0.05 * 10.0 ** ((18.0 + level) / 20.0) * abs(curve(hz))


def excursion_um(hz, peak, level):
    return 1e6 * velocity(hz, peak, level) / (2.0 * np.pi * hz)


def peak_for(um, hz, level):
    """Amplitude of a tone in both channels that moves the cutter by so many um."""
    return um / excursion_um(hz, 1.0, level)


def drive_g(hz, peak, level, seconds, window):
    """Root of the mean square acceleration of a swell over a window, g: the walls move by the root of a half."""
    acceleration = velocity(hz, peak, level) / np.sqrt(2.0) * 2.0 * np.pi * hz / GRAVITY
    return acceleration * np.sqrt(0.5 * 0.375 * seconds / window)


def swell(hz, seconds, peak, phase=0.0):
    """A tone that rises to its middle and falls again: no click outweighs it."""
    t = (np.arange(round(seconds * RATE)) - round(seconds * RATE) // 2) / RATE
    return peak * np.cos(2.0 * np.pi * hz * t + phase) * np.cos(np.pi * t / seconds) ** 2


def programme(seconds=SECONDS, gain=0.0015):
    """Wide above, mono below, and so quiet that it takes no room."""
    t = np.arange(round(seconds * RATE)) / RATE
    bass = 0.5 * np.sin(2.0 * np.pi * 110.0 * t)
    x = gain * (np.vstack([np.sin(2.0 * np.pi * 440.0 * t), np.sin(2.0 * np.pi * 554.0 * t)]) + bass)
    return x * np.clip(np.minimum(t, t[::-1]) / 0.1, 0.0, 1.0)


def plant(x, samples, middle=MIDDLE):
    """Add samples (2, n) with their middle at a second."""
    start = round(middle * RATE) - samples.shape[1] // 2
    x[:, start : start + samples.shape[1]] += samples
    return x


def sent(x, level, **more):
    """Two tracks that follow each other at once; a level asked for, or a free one."""
    seconds = x.shape[1] / RATE
    paper = {} if level is None else {"cut_level": f"{level} dB"}
    return {"A": Sent(x, RATE, tracks=[(0.0, CUE), (CUE, seconds)], more=paper, **more)}


def plain_mm(second):
    """Radius at a second of a side without modulation."""
    return OUTER_MM - PLAIN_UM * 1e-3 * second / TURN_S


def lateral_room_um(hz, peak, level):
    """What a lateral swell beside a silent turn takes more than plain pitch."""
    return excursion_um(hz, peak, level)


def vertical_room_um(hz, peak, level):
    """What a vertical swell takes more: its half width, deepened up to 75 um, and the wall that moves out."""
    y = excursion_um(hz, peak, level)
    return np.clip(15.0 + y, 28.0, 75.0) - 28.0 + y


# -- what must be found ----------------------------------------------------------------------------------------


def finding(report, check, measure, side="A"):
    """The one finding of a check about a measurement."""
    named = {name for name, q in report.result(check, side)["measured"].items() if name == measure}
    assert named == {measure}
    value = report.result(check, side)["measured"][measure]
    (found,) = [f for f in report.result(check, side)["findings"] if f["measured"] == value]
    return found


def is_graded(report, check, found, limit, op):
    """Severity, limit, margin and words fit each other, and the outcome of the check is the gravest."""
    warn, fail, unit = limit
    grave = found["severity"]
    assert (found["limit"]["warn"], found["limit"]["fail"], found["limit"]["unit"]) == (
        pytest.approx(warn) if warn is not None else None,
        pytest.approx(fail) if fail is not None else None,
        unit,
    )
    bound, value = found["limit"][grave], found["measured"]["value"]
    assert found["measured"]["unit"] == unit
    assert (value > bound) if op == "<=" else (value < bound)
    assert found["margin"] == pytest.approx(bound - value if op == "<=" else value - bound)
    assert found["margin"] < 0.0
    assert ("above" if op == "<=" else "below") in found["message"]
    assert len(found["remedy"]) > 15
    assert found["sources"]
    severities = {f["severity"] for f in report.result(check)["findings"]}
    assert report.outcome(check) == ("fail" if "fail" in severities else "warn")


def lies_at(found, second, radius, *, window=None, track=2):
    """Within 20 ms and 0.05 mm; a share or a drive by its worst sector, inside a window that holds the fault."""
    where, at = found["location"], found["measured"].get("at")
    assert where["side"] == "A"
    assert where["track"] == at["track"] == track
    end = at.get("end_s") or at["start_s"]
    assert at["start_s"] - NEAR_S <= second <= end + NEAR_S
    assert where["radius_mm"] == at["radius_mm"] == pytest.approx(radius, abs=NEAR_MM)
    if window is None:
        assert where["start_s"] == at["start_s"]
        assert where["end_s"] == at.get("end_s")
    else:
        assert where["end_s"] - where["start_s"] == pytest.approx(window)
        assert where["start_s"] <= second <= where["end_s"]


def code_of(report):
    return int(any(result["outcome"] == "fail" for result in report.report["results"]))


# -- nothing to find -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def music():
    """Music by code, well mixed."""
    return song(Song(14.0, RATE, seed=3, cymbals=0.5))


def test_a_good_side_passes_every_check(judged, music):
    """Cut at a modest level: nothing failed, nothing even warned."""
    report = judged(sent(music, -4.0), "--strict", *FIRST)
    assert report.code == 0
    assert report.report["verdict"] == "pass"
    assert {r["check"]: r["outcome"] for r in report.report["results"]} == dict.fromkeys(EVERY, "pass")
    assert not [f for r in report.report["results"] for f in r["findings"]]


def test_a_good_side_with_a_free_level_has_nothing_failed(judged, music):
    report = judged(sent(music, None))
    assert report.code == 0
    assert report.outcome("groove.level-above-recommended") == "not_applicable"
    assert "no cut level is requested" in report.result("groove.level-above-recommended")["reason"]
    assert {r["outcome"] for r in report.report["results"]} <= {"pass", "warn", "not_applicable"}


def test_the_side_without_its_faults_passes_every_check(judged):
    report = judged(sent(programme(gain=0.2), 0.0), "--strict", *FIRST)
    assert report.code == 0
    assert {r["check"]: r["outcome"] for r in report.report["results"]} == dict.fromkeys(EVERY, "pass")


# -- one burst in a quiet programme ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Fault:
    """A swell, what it must be found as, and the value that a closed form gives for it."""

    check: str
    measure: str
    severity: str
    limit: tuple
    shape: object
    hz: float
    seconds: float
    peak: float
    level: float
    op: str = "<="
    expected: object = None
    near: float = 0.01
    window: float | None = None

    @property
    def room(self):
        take = lateral_room_um if self.shape is both else vertical_room_um
        return take(self.hz, self.peak, self.level)


DEEP = (110.0, 127.0, "um")
NARROW = (30.0, 25.4, "um")
BASS = (40.0, 60.0, "um")
LATERAL_TIME, VERTICAL_TIME, BENDS = (0.005, 0.05, "1"), (0.002, 0.02, "1"), (0.005, 0.05, "1")
ONE_S, TEN_S = (200.0, 400.0, "g"), (150.0, 300.0, "g")


def bass(check, measure, severity, limit, um, expected, op="<="):
    """A short burst of opposed 60 Hz that moves the cutter by so many um up and down."""
    return Fault(check, measure, severity, limit, opposed, 60.0, 0.5, peak_for(um, 60.0, 0.0), 0.0, op, expected)


FAULTS = {
    "deep, warn": bass("groove.cut-too-deep", "groove.depth_max", "warn", DEEP, 50.0, 115.0),
    "deep, fail": bass("groove.cut-too-deep", "groove.depth_max", "fail", DEEP, 58.0, 131.0),
    "narrow, warn": bass("groove.top-width-too-narrow", "groove.top_width_min", "warn", NARROW, 61.0, 28.0, ">="),
    "narrow, fail": bass("groove.top-width-too-narrow", "groove.top_width_min", "fail", NARROW, 64.0, 22.0, ">="),
    "bass, warn": bass("stereo.low-end-out-of-phase", "groove.low_vertical_peak", "warn", BASS, 45.0, 45.0),
    "bass, fail": bass("stereo.low-end-out-of-phase", "groove.low_vertical_peak", "fail", BASS, 64.0, 64.0),
    "steep sideways, warn": Fault(
        "groove.slope-too-steep", "groove.lateral_slope_time", "warn", LATERAL_TIME, both, 3e3, 0.8, 0.9, 2.0,
        window=SECONDS,
    ),
    "steep sideways, fail": Fault(
        "groove.slope-too-steep", "groove.lateral_slope_time", "fail", LATERAL_TIME, both, 3e3, 1.7, 0.95, 6.0,
        window=SECONDS,
    ),
    "steep upright, warn": Fault(
        "groove.slope-too-steep", "groove.vertical_slope_time", "warn", VERTICAL_TIME, opposed, 3e3, 0.4, 0.9, 2.0,
        window=SECONDS,
    ),
    "steep upright, fail": Fault(
        "groove.slope-too-steep", "groove.vertical_slope_time", "fail", VERTICAL_TIME, opposed, 3e3, 1.6, 0.9, 2.0,
        window=SECONDS,
    ),
    "steepest sideways": Fault(
        "groove.slope-too-steep", "groove.lateral_slope_peak", "warn", (2.0, None, "1"), both, 3e3, 0.15, 0.95, 6.0,
        expected=velocity(3e3, 0.95, 6.0) / (2.0 * np.pi / TURN_S * plain_mm(MIDDLE) * 1e-3),
    ),
    "steepest upright": Fault(
        "groove.slope-too-steep", "groove.vertical_slope_peak", "warn", (2.0, None, "1"), opposed, 3e3, 0.12, 0.95,
        6.0, expected=velocity(3e3, 0.95, 6.0) / (2.0 * np.pi / TURN_S * plain_mm(MIDDLE) * 1e-3),
    ),
    "fastest": Fault(
        "groove.slope-too-steep", "groove.lateral_velocity_peak", "warn", (50.0, None, "cm/s"), both, 3e3, 0.15, 0.7,
        2.0, expected=100.0 * velocity(3e3, 0.7, 2.0),
    ),
    "bends, warn": Fault(
        "groove.curvature-too-tight", "groove.tracing_ratio_time", "warn", BENDS, both, 10e3, 0.5, 0.6, 0.0,
        window=SECONDS,
    ),
    "bends, fail": Fault(
        "groove.curvature-too-tight", "groove.tracing_ratio_time", "fail", BENDS, both, 10e3, 1.7, 0.8, 1.0,
        window=SECONDS,
    ),
    "tightest bend": Fault(
        "groove.curvature-too-tight", "groove.tracing_ratio_peak", "warn", (4.0, None, "1"), both, 10e3, 0.15, 0.8,
        6.0, near=0.02,
        expected=8e-6 * velocity(10e3, 0.8, 6.0) / np.sqrt(2.0) * 2.0 * np.pi * 10e3
        / (2.0 * np.pi / TURN_S * plain_mm(MIDDLE) * 1e-3) ** 2,
    ),
    "drive 1 s, warn": Fault(
        "groove.drive-too-high", "groove.drive_1s", "warn", ONE_S, both, 7e3, 0.8, 0.2, -3.0, near=0.02, window=1.0,
        expected=drive_g(7e3, 0.2, -3.0, 0.8, 1.0),
    ),
    "drive 1 s, fail": Fault(
        "groove.drive-too-high", "groove.drive_1s", "fail", ONE_S, both, 7e3, 0.8, 0.4, -3.0, near=0.02, window=1.0,
        expected=drive_g(7e3, 0.4, -3.0, 0.8, 1.0),
    ),
    "drive 10 s, warn": Fault(
        "groove.drive-too-high", "groove.drive_10s", "warn", TEN_S, both, 7e3, 1.6, 0.4, -3.0, near=0.02,
        window=SECONDS, expected=drive_g(7e3, 0.4, -3.0, 1.6, SECONDS),
    ),
    "drive 10 s, fail": Fault(
        "groove.drive-too-high", "groove.drive_10s", "fail", TEN_S, both, 7e3, 1.6, 0.8, -3.0, near=0.02,
        window=SECONDS, expected=drive_g(7e3, 0.8, -3.0, 1.6, SECONDS),
    ),
    "sibilance, warn": Fault(
        "hf.sibilance-or-cymbals-too-strong", "groove.sibilance_time", "warn", (0.01, 0.1, "1"), both, 9e3, 0.1, 0.8,
        -2.0, window=1.0,
    ),
    "sibilance, fail": Fault(
        "hf.sibilance-or-cymbals-too-strong", "groove.sibilance_time", "fail", (0.01, 0.1, "1"), both, 9e3, 0.9, 0.8,
        0.0, window=1.0,
    ),
    "true peak, warn": Fault(
        "level.true-peak-too-high", "level.true_peak", "warn", (0.0, 1.0, "dBTP"), both, RATE / 4.0, 0.1, 1.06, -20.0,
        expected=20.0 * np.log10(1.06), near=0.2,
    ),
    "true peak, fail": Fault(
        "level.true-peak-too-high", "level.true_peak", "fail", (0.0, 1.0, "dBTP"), both, RATE / 4.0, 0.1, 1.25, -20.0,
        expected=20.0 * np.log10(1.25), near=0.1,
    ),
}  # fmt: skip


def left_to_the_long_run(name):
    """A warning where a failure of the same number is tried, and the cases have both sides of each limit."""
    return name.endswith(", warn") and f"{name.removesuffix('warn')}fail" in FAULTS


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long if left_to_the_long_run(name) else ()) for name in FAULTS]
)
def test_a_burst_is_found_where_it_lies(judged, name):
    fault = FAULTS[name]
    phase = np.pi / 4.0 if fault.hz == RATE / 4.0 else crest(fault.hz)  # the one puts its crest between samples
    burst = fault.shape(swell(fault.hz, fault.seconds, fault.peak, phase))
    x = plant(programme(), burst)
    assert np.abs(x).max() < 1.0  # nothing that a file of 24 bit could not hold
    report = judged(sent(x, fault.level, coding="PCM_24"))
    found = finding(report, fault.check, fault.measure)
    assert found["severity"] == fault.severity
    is_graded(report, fault.check, found, fault.limit, fault.op)
    lies_at(found, MIDDLE, plain_mm(MIDDLE) - 1e-3 * fault.room, window=fault.window)
    if fault.expected is not None:
        assert found["measured"]["value"] == pytest.approx(fault.expected, rel=fault.near)
    assert report.code == code_of(report)
    assert report.outcome(fault.check) != "fail" or report.code == 1


def test_the_drive_of_one_moment_is_found(judged):
    """5 ms of 12 kHz heat nothing, and are more than any cutter takes."""
    hz, level, seconds = 12e3, 4.0, 0.005
    peak = 5_500.0 * GRAVITY * np.sqrt(2.0) / (2.0 * np.pi * hz) / velocity(hz, 1.0, level)
    report = judged(sent(plant(programme(), both(swell(hz, seconds, peak))), level))
    check = "groove.drive-too-high"
    found = finding(report, check, "groove.acceleration_peak")
    is_graded(report, check, found, (5_000.0, None, "g"), "<=")
    lies_at(found, MIDDLE, plain_mm(MIDDLE))
    assert found["measured"]["value"] == pytest.approx(5_500.0, rel=0.03)
    assert len(report.result(check)["findings"]) == 1
    assert report.code == 0


def test_small_bass_out_of_phase_is_found(judged):
    """The correlation only says where to look: its window of 10 s holds the fault, and no 20 ms of it are named."""
    middle = 14.0
    x = plant(programme(18.0, 0.01), opposed(swell(60.0, 3.0, peak_for(35.0, 60.0, 0.0))), middle)
    report = judged(sent(x, 0.0))
    check = "stereo.low-end-out-of-phase"
    (found,) = [f for f in report.result(check)["findings"] if f["measure"] == "stereo.low_correlation"]
    assert (found["severity"], found["limit"]["warn"]) == ("warn", 0.0)
    where = found["location"]
    assert where["end_s"] - where["start_s"] == pytest.approx(10.0, abs=0.011)
    assert where["start_s"] < middle < where["end_s"]
    assert where["track"] == 2
    assert where["radius_mm"] == pytest.approx(plain_mm(where["start_s"]), abs=NEAR_MM)
    assert found["measured"]["value"] < -0.9
    assert len(report.result(check)["findings"]) == 1
    assert report.outcome("programme.polarity-reversed") in {"pass", "not_applicable"}  # only the bass is opposite


# -- room ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("um", "severity"), [(125.0, "warn"), (140.0, "fail")])
def test_turns_that_the_carriage_cannot_follow_are_found(judged, um, severity):
    """A swell, and one turn later another the other way: half a turn's warning at 500 um is not enough."""
    hz, level, first = 100.0, 6.0, 3.4
    burst = both(swell(hz, 0.4, peak_for(um, hz, level), crest(hz)))
    x = plant(plant(programme(), -burst, first), burst, first + TURN_S)
    report = judged(sent(x, level))
    check, second = "groove.too-little-land", first + TURN_S
    found = finding(report, check, "groove.land_min")
    assert found["severity"] == severity
    is_graded(report, check, found, (13.0, 0.0, "um"), ">=")
    given = 66.0 / 135.0 * PLAIN_UM + 69.0 / 135.0 * 500.0  # before it is known, and from then on at the most
    taken = um + PLAIN_UM + given  # the turn before the first swell's end, and the one between the two
    lies_at(found, second, plain_mm(second - 2.0 * TURN_S) - 1e-3 * taken)
    assert report.side()["geometry"]["overlaps"] == (severity == "fail")
    assert report.code == code_of(report)


@pytest.mark.long
@pytest.mark.parametrize(("turns", "severity"), [(182, "warn"), (188, "fail")])
def test_a_long_loud_side_runs_in_too_far(judged, turns, severity):
    """A lateral tone rises to 200 um over five turns and stays: what it moves faces the turns on both sides of it."""
    rate, hz, um, level, begins, rise, fall = 44_100, 160.0, 200.0, 12.0, 4.0, 9.0, 0.1
    ends = begins + rise + turns * TURN_S  # of the full tone
    seconds = ends + fall + 6.0
    t = np.arange(round(seconds * rate)) / rate

    def height(second):
        return np.clip(np.minimum((second - begins) / rise, (ends + fall - second) / fall), 0.0, 1.0)

    x = peak_for(um, hz, level) * np.sin(2.0 * np.pi * hz * t) * height(t)
    paper = {"cut_level": f"{level} dB"}
    side = Sent(x, rate, tracks=[(0.0, 100.0), (100.0, float(t[-1]))], coding="PCM_16", more=paper)
    report = judged({"A": side})
    check = "groove.last-diameter-too-small"
    found = finding(report, check, "groove.last_diameter")
    assert found["severity"] == severity
    is_graded(report, check, found, (120.65, 115.0, "mm"), ">=")
    # the rise is served early: heading for what comes half a turn later keeps p"/2 (1/2)^2 ahead, on every turn of it
    early = 2.0 * um * 0.5**2 / 2.0
    radius = plain_mm(seconds) - 1e-3 * (2.0 * um * height(ends - TURN_S * np.arange(turns + 6)).sum() + early)
    lies_at(found, seconds, radius)
    assert found["measured"]["value"] == pytest.approx(2.0 * radius, abs=2.0 * NEAR_MM)
    assert report.side()["geometry"]["overlaps"] == 0
    assert report.outcome("groove.too-little-land") == "pass"
    assert report.code == code_of(report)
    assert report.code == 1 or severity == "warn"


# -- levels ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("um", "over", "severity"), [(59.0, 0.5, "warn"), (64.0, 1.2, "fail")])
def test_a_level_above_the_recommended_one_is_found(judged, um, over, severity):
    """The depth of 15 um + 2Y reaches 127 um at Y = 56 um: so much the requested level is too high, in 0.1 dB."""
    assert over == np.ceil(200.0 * np.log10(um / 56.0)) / 10.0
    peak = peak_for(um, 60.0, 0.0)
    report = judged(sent(plant(programme(), opposed(swell(60.0, 0.5, peak, crest(60.0)))), 0.0))
    check = "groove.level-above-recommended"
    found = finding(report, check, "groove.level_over_recommended")
    assert found["severity"] == severity
    is_graded(report, check, found, (0.0, 1.0, "dB"), "<=")
    assert found["measured"]["value"] == pytest.approx(over)
    lies_at(found, MIDDLE, plain_mm(MIDDLE) - 1e-3 * vertical_room_um(60.0, peak, 0.0))
    assert report.side()["levels"]["ruling"] == "groove.cut-too-deep/greatest"
    assert report.code == code_of(report) == 1


@pytest.mark.parametrize(("level", "severity", "code"), [(-8.0, "warn", 0), (-14.0, "fail", 1)])
def test_a_level_below_the_surface_noise_is_found(judged, level, severity, code):
    """A whole side is too quiet, so the finding names the side and no place on it."""
    x = programme(gain=0.1)
    x *= 10.0 ** ((-18.0 - judged(sent(x, 0.0)).value("loudness.integrated")) / 20.0)
    report = judged(sent(x, level))
    check = "groove.level-on-disc-too-low"
    found = finding(report, check, "groove.level_on_disc")
    assert found["severity"] == severity
    is_graded(report, check, found, (-6.0, -12.0, "LU"), ">=")
    assert found["measured"]["value"] == pytest.approx(level, abs=0.01)
    assert found["location"]["side"] == "A"
    assert found["location"]["start_s"] is None
    assert report.code == code


def test_rumble_that_limits_a_quiet_side_is_found(judged):
    """18 Hz that nobody hears rules the level; the report says which limit that is and where it bites."""
    um = 180.0
    x = plant(programme(gain=0.02), opposed(swell(18.0, 1.0, peak_for(um, 18.0, 0.0), crest(18.0))))
    report = judged(sent(x, None))
    found = finding(report, "groove.level-on-disc-too-low", "groove.level_on_disc")
    assert found["severity"] == "fail"
    levels = report.side()["levels"]
    assert levels["ruling"] == "groove.cut-too-deep/greatest"
    assert levels["recommended"]["value"] == pytest.approx(20.0 * np.log10(56.0 / um), abs=0.11)
    at = levels["by_limit"][levels["ruling"]]["at"]
    assert at["start_s"] - NEAR_S <= MIDDLE <= at["end_s"] + NEAR_S
    assert at["track"] == 2
    assert report.outcome("groove.cut-too-deep") == "warn"
    assert report.code == 1


# -- the file --------------------------------------------------------------------------------------------------


def test_a_sample_that_is_not_a_number_is_found(judged):
    """It is not cut, so it has a second and a track and no radius; nothing else is judged, and nothing passes."""
    x = programme()
    x[1, round(MIDDLE * RATE)] = np.nan
    report = judged(sent(x, 0.0))
    result = report.result("delivery.audio-disagrees")
    (found,) = result["findings"]
    assert (result["outcome"], found["severity"], found["measured"]) == ("fail", "fail", "not finite")
    assert (found["limit"], found["margin"]) == (None, None)
    assert found["location"]["start_s"] == pytest.approx(MIDDLE, abs=NEAR_S)
    assert (found["location"]["side"], found["location"]["track"]) == ("A", 2)
    assert found["location"]["radius_mm"] is None
    assert found["location"]["field"] == "audio"
    assert len(found["remedy"]) > 15
    others = {r["check"]: r["outcome"] for r in report.report["results"] if r["scope"] == "side"}
    assert others.pop("delivery.audio-disagrees") == "fail"
    assert others.pop("delivery.papers-disagree") == "not_applicable"  # which needs no audio
    assert others.pop("groove.level-above-recommended") in {"not_measured", "not_applicable"}
    assert others.pop("programme.channels-exchanged") == "not_applicable"  # which needs an earlier delivery
    assert others.pop("layout.gap-too-short") == "not_applicable"  # no gap is declared
    assert set(others.values()) == {"not_measured"}
    assert report.code == 1


def test_a_file_shorter_than_declared_is_found(judged):
    side = Sent(programme(), RATE, tracks=[(0.0, CUE), (CUE, SECONDS + 1.0)])
    report = judged({"A": side})
    findings = {found["measured"]: found for found in report.result("delivery.audio-disagrees")["findings"]}
    found = findings["shorter than declared"]
    assert (found["location"]["start_s"], found["location"]["track"]) == (pytest.approx(SECONDS), 2)
    assert report.code == 1
