"""Closed forms of the groove through the whole command: silence, steady lateral and vertical sines, pitch."""

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver, judge
from support.signals import both, opposed, tone

ALIGN = 10.0 ** (-18.0 / 20.0)
RATE = 48_000
TURNS_A_SECOND = 100.0 / 3.0 / 60.0


def still(seconds, rate):
    x = np.zeros(round(seconds * rate))
    x[-rate // 100 :] = tone(5_000.0, 0.01, rate, np.sqrt(2.0) * 10.0 ** (-50.0 / 20.0), fade=0.001)
    return x


@pytest.mark.long
def test_ten_minutes_of_silence_use_23_mm(judged):
    """w0 56, land 13 um at 33 1/3: pitch 69 um, 10 min 23.0 mm, last diameter 292.6 - 46.0 = 246.6 mm."""
    side = Sent(still(600.0, 44_100), 44_100, container="FLAC", coding="PCM_24", more={"cut_level": "0 dB"})
    report = judged({"A": side})
    assert report.value("groove.travel") == pytest.approx(23.0, abs=0.003)
    assert report.value("groove.travel_least") == pytest.approx(23.0, abs=0.003)
    assert report.value("groove.last_diameter") == pytest.approx(246.6, abs=0.006)
    assert report.value("layout.lead_out_room") == pytest.approx((246.6 - 106.4) / 2.0 / 6.4, abs=0.0005)  # D-9, D-8
    assert report.side()["geometry"]["mean_pitch_um"] == pytest.approx(69.0, abs=0.01)
    assert report.value("groove.land_min") == pytest.approx(13.0, abs=0.01)


@pytest.mark.parametrize("hz", [200.0, 1_000.0])
def test_a_steady_lateral_sine_takes_twice_its_peak(judged, hz):
    """p = w0 + land + 2X, read from the radii between which a track of steady tone lies."""
    side = Sent(both(tone(hz, 16.0, RATE, ALIGN)), RATE, tracks=[(0.0, 5.0), (5.0, 13.0), (13.0, 16.0)],
                more={"cut_level": "0 dB"})  # fmt: skip
    report = judged({"A": side})
    track = report.side()["geometry"]["tracks"][1]
    pitch = (track["start_radius_mm"] - track["end_radius_mm"]) * 1e3 / (8.0 - 1.0 / 75.0) / TURNS_A_SECOND
    peak = report.value("groove.lateral_displacement_peak")
    expected = {200.0: 15.45, 1_000.0: 7.958}[hz]  # table 4a, um
    assert peak == pytest.approx(expected, rel=4e-3)
    assert pitch == pytest.approx(56.0 + 13.0 + 2.0 * expected, rel=2e-3)
    assert report.value("groove.top_width_min") == pytest.approx(56.0, abs=0.02)


def test_a_steady_vertical_sine_deepens_the_groove(judged):
    """Depth = w_keep/2 + Y; least top width w_keep; greatest depth w_keep/2 + 2Y (table 4a's 100 Hz, 6 dB up)."""
    report = judged({"A": Sent(opposed(tone(100.0, 12.0, RATE, ALIGN)), RATE, more={"cut_level": "6 dB"})})
    y = 17.64 * 10.0 ** (6.0 / 20.0)
    assert report.value("groove.vertical_up_peak") == pytest.approx(y, rel=4e-3)
    assert report.value("groove.low_vertical_peak") == pytest.approx(y, rel=4e-3)
    assert report.value("groove.top_width_min") == pytest.approx(30.0, abs=0.02)
    assert report.value("groove.depth_max") == pytest.approx(15.0 + 2.0 * y, rel=4e-3)
    assert report.value("groove.lateral_displacement_peak") == pytest.approx(0.0, abs=1e-6)


def test_fixed_depth_keeps_its_width_less_twice_the_rise(judged, variant):
    """w(t) = w0 - 2 z(t) for z up: the plain geometry of a 90 degree groove."""
    ruleset = variant({"depth": "fixed"})
    side = Sent(opposed(tone(1_000.0, 4.0, RATE, ALIGN)), RATE, more={"cut_level": "0 dB"})
    report = judged({"A": side}, "--ruleset", str(ruleset))
    assert report.value("groove.top_width_min") == pytest.approx(56.0 - 2.0 * 7.958, rel=2e-3)
    assert report.value("groove.depth_max") == pytest.approx(28.0 + 7.958, rel=2e-3)


def test_a_mark_between_tracks_is_one_millimetre(judged):
    """A declared gap of more than 0.3 s opens 1 mm (D-24); a gap of 0.3 s does not."""
    base = {"more": {"cut_level": "0 dB"}}
    plain = Sent(still(16.0, RATE), RATE, tracks=[(0.0, 8.0), (8.3, 16.0)], **base)
    marked = Sent(still(16.0, RATE), RATE, tracks=[(0.0, 8.0), (10.0, 16.0)], **base)
    report = judged({"A": plain, "B": marked})
    opened = report.value("groove.travel", "B") - report.value("groove.travel", "A")
    turns = 2.0 * TURNS_A_SECOND  # the gap's own turns would have taken 69 um each
    assert opened == pytest.approx(1.0 - turns * 0.069, abs=0.005)
    assert report.value("groove.travel_least", "B") == pytest.approx(report.value("groove.travel_least", "A"), abs=1e-9)


def test_a_segue_opens_no_mark(tmp_path):
    """The same gap of 2 s as `gap_after: segue` takes its own turns of 69 um and no more; as `mark` it takes 1 mm."""
    side = Sent(still(16.0, RATE), RATE, tracks=[(0.0, 8.0), (10.0, 16.0)], more={"cut_level": "0 dB"})
    travels = {}
    for gap in ("mark", "segue"):
        folder = deliver(tmp_path / gap, {"A": side})
        paper = folder / "delivery.yaml"
        text = paper.read_text(encoding="utf-8")
        assert text.count("end: 8.0}") == 1
        paper.write_text(text.replace("end: 8.0}", f"end: 8.0, gap_after: {gap}}}"), encoding="utf-8")
        travels[gap] = judge(folder, tmp_path / f"{gap}.json").value("groove.travel")
    turns = 16.0 * TURNS_A_SECOND
    assert travels["segue"] == pytest.approx(turns * 0.069, abs=0.0005)
    assert travels["mark"] == pytest.approx((turns - 2.0 * TURNS_A_SECOND) * 0.069 + 1.0, abs=0.0005)


@pytest.mark.parametrize("rate", [44_100, 48_000, pytest.param(192_000, marks=pytest.mark.long)])
def test_silence_before_and_after_is_timed_in_hundredths(judged, rate):
    """From frame 0 to the first 10 ms of programme, and from the end of the last to the end of the file.

    A tone of -48 dBFS rms is programme, one of -80 dBFS is not, be it in one channel alone.
    """
    hundredth = rate // 100

    def side(first, last, total, dbfs=-48.0, odd=0):
        """A tone from one hundredth to before another, in the right channel alone; all around it at -80 dBFS."""
        n = np.arange(total * hundredth + odd)
        rms = np.full(len(n), -80.0)
        rms[first * hundredth : last * hundredth] = dbfs
        x = np.sqrt(2.0) * 10.0 ** (rms / 20.0) * np.sin(2.0 * np.pi * 1_000.0 * n / rate)  # ten periods a hundredth
        return Sent(np.vstack([np.zeros_like(x), x]), rate, more={"cut_level": "0 dB"})

    odd = hundredth // 3
    table = {
        "A": (side(150, 375, 600), 1.5, 2.25),
        "B": (side(0, 600, 600), 0.0, 0.0),
        "C": (side(1, 599, 600), 0.01, 0.01),
        "D": (side(0, 400, 600, odd=odd), 0.0, 2.0 + odd / rate),  # the file ends within a hundredth
        "E": (side(599, 601, 600, odd=odd), 5.99, 0.0),  # the programme goes on into that part of one
    }
    report = judged({name: sent for name, (sent, _, _) in table.items()})
    for name, (sent, before, after) in table.items():
        seconds = sent.samples.shape[1] / rate
        assert report.value("layout.lead_in_silence", name) == pytest.approx(before, abs=1e-9), name
        assert report.value("layout.lead_out_silence", name) == pytest.approx(after, abs=1e-9), name
        places = [report.side(name)["measurements"][f"layout.lead_{way}_silence"]["at"] for way in ("in", "out")]
        assert (places[0]["start_s"], places[1]["end_s"]) == (0.0, pytest.approx(seconds)), name


def test_lead_out_room_is_what_is_left_at_its_own_pitch(tmp_path, variant):
    """Half the last diameter less the finishing groove's, at 6.4 mm a turn (D-8); below nought where it is passed."""
    outer = 151.0
    last = outer - 2.0 * 0.069 * 20.0  # 20 turns of silence
    folder = deliver(tmp_path / "side", {"A": Sent(still(36.0, RATE), RATE, more={"cut_level": "0 dB"})})
    store = ("--cache", str(tmp_path / "store"))  # measured once
    for finishing in (55.0, 106.4, last, 149.8):
        ruleset = variant({"outer": f"{outer} mm", "finishing": f"{finishing!r} mm"})
        report = judge(folder, tmp_path / "report.json", "--ruleset", str(ruleset), *store)
        room = report.side()["measurements"]["layout.lead_out_room"]
        assert room["unit"] == "turn"
        assert room["value"] == pytest.approx((last - finishing) / 2.0 / 6.4, abs=2e-4)


@pytest.mark.parametrize("tip", [8.0, 12.0])
def test_tracing_by_other_tips_goes_by_their_radius(judged, variant, tip):
    """e = R a/V^2: at the same place and of 5 um and 18 um, whatever tip the ruleset has; 8 um and 12 um here."""
    hz = 6_000.0
    side = Sent(both(tone(hz, 2.0, 96_000, 0.3, fade=0.5)), 96_000, more={"cut_level": "0 dB"})
    report = judged({"A": side}, "--ruleset", str(variant({"tip_radius": f"{tip} um"})))
    own = report.side()["measurements"]["groove.tracing_ratio_peak"]
    v = 2.0 * np.pi * TURNS_A_SECOND * own["at"]["radius_mm"] * 1e-3
    for other in (5.0, 18.0):
        found = report.side()["measurements"][f"groove.tracing_ratio_peak_{other:.0f}um"]
        assert found["value"] == pytest.approx(own["value"] * other / tip, rel=1e-12)
        assert found["at"] == own["at"]
        acceleration = report.value("groove.acceleration_peak") * 9.80665
        assert found["value"] == pytest.approx(other * 1e-6 * acceleration / v**2, rel=1e-3)


def test_shares_and_drive_of_a_steady_tone(judged):
    """A tone over its limit in every sector has a share of 1; its drive is the peak over root two (closed form)."""
    hz, seconds = 6_000.0, 14.0
    report = judged({"A": Sent(both(tone(hz, seconds, 96_000, 0.9, fade=0.01)), 96_000, more={"cut_level": "8 dB"})})
    assert report.value("groove.tracing_ratio_share") == 1.0
    assert report.value("groove.sibilance_share") == 1.0
    peak = report.value("groove.acceleration_peak")
    assert report.value("groove.drive_1s") == pytest.approx(peak / np.sqrt(2.0), rel=5e-3)
    assert report.value("groove.drive_10s") == pytest.approx(peak / np.sqrt(2.0), rel=5e-3)
    where = report.result("groove.drive-too-high")["findings"][0]["location"]
    assert where["end_s"] - where["start_s"] in (pytest.approx(1.0), pytest.approx(10.0))


def test_half_the_sectors_over_the_limit_are_a_half(judged):
    """Bursts of 0.2 s in every 0.4 s: 15 of 30 sectors, the sectors at the edges counted by their own peak."""
    rate, seconds = 48_000, 12.0
    t = np.arange(round(seconds * rate)) / rate
    gate = (t % 0.4) < 0.2
    x = np.where(gate, np.sin(2.0 * np.pi * 3_000.0 * t), 0.0) * 0.9
    report = judged({"A": Sent(both(x), rate, more={"cut_level": "18 dB"})})
    assert report.value("groove.tracing_ratio_share") == pytest.approx(0.5, abs=0.067)  # 2 edge sectors of 30
