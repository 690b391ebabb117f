"""The whole command against the independent whole-array model: noise and music by code, four rates.

The model shares no code with the package (an import contract says so): it transforms the file in one piece and
multiplies by the analogue responses themselves.
"""

from functools import cache

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.music import Song, song
from whole_array import levels, model

RATES = (44_100, 48_000, 96_000, 192_000)
SECONDS = 14.0
TRACKS = [(0.0, 6.0), (7.0, 14.0)]

RELATIVE = {
    "groove.travel": 0.005, "groove.travel_least": 0.005,
    "groove.lateral_displacement_peak": 0.005, "groove.vertical_up_peak": 0.005,
    "groove.vertical_down_peak": 0.005, "groove.low_vertical_peak": 0.005,
    "groove.wall_velocity_peak": 0.01, "groove.lateral_velocity_peak": 0.01,
    "groove.lateral_slope_peak": 0.01, "groove.vertical_slope_peak": 0.01,
    "groove.acceleration_peak": 0.02, "groove.drive_1s": 0.02, "groove.drive_10s": 0.02,
    "groove.tracing_ratio_peak": 0.02,
}  # fmt: skip
ABSOLUTE = {
    "groove.last_diameter": 0.2,
    "groove.top_width_min": 0.4,
    "groove.depth_max": 0.4,
    "groove.land_min": 0.4,
    "groove.lateral_slope_share": 0.003,
    "groove.vertical_slope_share": 0.003,
    "groove.tracing_ratio_share": 0.003,
    "groove.sibilance_share": 0.003,
}
SHARES_OF_TIME = 0.003
"""30 cells of 1 ms in 10 s, 3 in the second of sibilance"""  # fmt: skip


def to_20k(x, rate):
    """Leave out what lies above 20 kHz: from there on motion is worked out to 1 % (see `test_top.py`)."""
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / rate)
    return np.fft.irfft(np.fft.rfft(x) * (hz < 20_000.0), x.shape[1])


@cache
def noise(rate):
    """Wide noise with a little more left than right and more out of phase at the end."""
    rng = np.random.default_rng(31)
    x = to_20k(0.03 * np.sqrt(rate / 48_000.0) * rng.standard_normal((2, round(SECONDS * rate))), rate)
    x[0] += 0.4 * x[1]
    x[:, round(9.0 * rate) :] *= [[1.4], [-1.1]]
    return x


@cache
def music(rate):
    """A song with wide bass and forward cymbals, quieter at its start."""
    x = song(Song(SECONDS, rate, seed=17, tempo=126.0, cymbals=2.0, bass_width=0.35))
    return to_20k(x * np.linspace(0.5, 0.9, x.shape[1]), rate)


PROGRAMMES = {"noise": (noise, 8.0), "music": (music, 9.0)}


def disagreements(report, expected):
    """Name every measurement that is further from the model than its tolerance."""
    found = []
    for name, tolerance in RELATIVE.items():
        if abs(report.value(name) - expected[name]) > tolerance * abs(expected[name]):
            found.append(f"{name}: {report.value(name):.6g}, model {expected[name]:.6g}")
    for name, tolerance in ABSOLUTE.items():
        if abs(report.value(name) - expected[name]) > tolerance:
            found.append(f"{name}: {report.value(name):.6g}, model {expected[name]:.6g}")
    return found


def time_disagreements(report, expected):
    """Name every share of time that is further from the model than SHARES_OF_TIME."""
    return [
        f"{name}: {report.value(name):.6g}, model {value:.6g}"
        for name, value in expected.items()
        if abs(report.value(name) - value) > SHARES_OF_TIME
    ]


def heard(judged, x, rate, level):
    """The command's report on samples, which its file holds as the nearest of 32 bits."""
    return judged({"A": Sent(x, rate, tracks=TRACKS, more={"cut_level": f"{level} dB"})})


def modelled(x, rate):
    tracks = [(start, end, True) for start, end in TRACKS]
    return model.side_of(x, rate, tracks, model.Chain())


@cache
def modelled_side(programme, rate):
    """The model's side of a programme as the file holds it; no disc and no level changes it."""
    make, _ = PROGRAMMES[programme]
    return modelled(make(rate).astype(np.float32).astype(np.float64), rate)


QUICK = {("music", 44_100)}
"""programme and rate of the comparison that is not left to the long run"""


@pytest.mark.parametrize(
    ("programme", "rate"),
    [
        pytest.param(programme, rate, marks=() if (programme, rate) in QUICK else pytest.mark.long)
        for programme in PROGRAMMES
        for rate in RATES
    ],
)
def test_command_agrees_with_the_model(judged, programme, rate):
    make, level = PROGRAMMES[programme]
    report = heard(judged, make(rate), rate, level)
    side = modelled_side(programme, rate)
    expected = model.measure(side.envelopes, side.span, side.gaps, model.Chain(), level)
    assert disagreements(report, expected) == []
    assert expected["groove.tracing_ratio_share"] > 0.0  # the shares are tried, not only found to be nought
    shares = model.measure_time(side, model.Chain(), level)
    assert time_disagreements(report, shares) == []
    assert sum(value > 0.01 for value in shares.values()) >= 2


@pytest.mark.long
@pytest.mark.parametrize("polarity", ["normal", "inverted"])
def test_each_polarity_agrees_by_itself(judged, both_ways, variant, polarity):
    x = music(48_000).astype(np.float32).astype(np.float64)
    ruleset = variant({"polarity": polarity})
    report = judged({"A": Sent(x, tracks=TRACKS, more={"cut_level": "9 dB"})}, "--ruleset", str(ruleset))
    _, side = both_ways[0]
    assert (
        disagreements(report, model.measure(side.envelopes, side.span, side.gaps, model.Chain(), 9.0, polarity)) == []
    )


DISCS = {  # what the ruleset is changed to, its speed, and the model's chain for it
    "33": ({}, "33", model.Chain()),
    "45": ({}, "45", model.Chain(rpm=45.0)),
    "33, far in": ({"outer": "125 mm"}, "33", model.Chain(outer_diameter=0.125)),
    "45, far in": ({"outer": "125 mm"}, "45", model.Chain(outer_diameter=0.125, rpm=45.0)),
}


@pytest.mark.parametrize(
    ("programme", "disc"),
    [
        ("music", "45, far in"),
        *(
            pytest.param(*case, marks=pytest.mark.long)
            for case in (("music", "33"), ("noise", "45"), ("noise", "33, far in"))
        ),
    ],
)
def test_every_level_agrees(judged, variant, programme, disc):
    """Recommended, clean, and the level at which each limit alone is reached; far in, the room is one of them."""
    make, _ = PROGRAMMES[programme]
    changes, speed, chain = DISCS[disc]
    sent = Sent(make(44_100), 44_100, tracks=TRACKS)
    report = judged({"A": sent}, "--ruleset", str(variant(changes, speed)), speed=int(speed))
    reported = report.side()["levels"]
    assert levels.disagreements(reported, modelled_side(programme, 44_100), chain) == []
    within = [name for name, reached in reported["by_limit"].items() if not reached["level"].get("bound")]
    assert len(within) >= 10  # the limits are tried, not only found beyond the search
    assert ("groove.last-diameter-too-small/least" in within) == ("far in" in disc)


@pytest.fixture(scope="module")
def both_ways(tmp_path_factory):
    """Music as it is and with both channels inverted: the command's report on each, and the model's side of it."""
    found = []
    once = music(48_000).astype(np.float32).astype(np.float64)
    for x, side in ((once, modelled_side("music", 48_000)), (-once, modelled(-once, 48_000))):
        folder = tmp_path_factory.mktemp("way")
        deliver(folder, {"A": Sent(x, tracks=TRACKS, more={"cut_level": "9.0 dB"})})
        found.append((judge(folder, folder / "report.json"), side))
    return found


@pytest.mark.long
@pytest.mark.parametrize("envelope", model.ENVELOPES)
def test_one_wrong_sign_in_the_model_is_seen(both_ways, envelope):
    """A sign flipped in any one envelope must make the comparison fail: it can."""
    seen = []
    for report, side in both_ways:
        right = model.measure(side.envelopes, side.span, side.gaps, model.Chain(), 9.0)
        assert disagreements(report, right) == []
        flipped = {**side.envelopes, envelope: -side.envelopes[envelope]}
        with np.errstate(invalid="ignore"):
            try:
                wrong = model.measure(flipped, side.span, side.gaps, model.Chain(), 9.0)
            except ValueError:  # the root of a negative mean square
                seen.append("not a number")
                continue
        seen += disagreements(report, wrong)
    assert seen
