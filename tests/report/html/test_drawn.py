"""What pictures are drawn from agrees with what the report says, and nothing is gathered where nobody draws."""

import math
import threading
from types import SimpleNamespace

import numpy as np
import pytest

from qc import api
from qc.groove.figures.curves import DEMAND, PITCH, RADIUS, UNITS
from qc.groove.figures.views import WORST_AT
from qc.groove.geometry.cut import MEASURES
from qc.judge.curves import curves_of
from qc.model.cutting_chain import SECTORS_A_SECOND
from qc.model.figures import Curve
from qc.plugin_host.runner import Runner
from qc.testing.deliveries import Sent, deliver
from support.plugins import unplaced


def test_the_worst_of_every_trace_is_the_number_of_the_report(checked):
    side, traces = checked.report.sides[0], checked.evidence.traces["A"]
    for name, values in traces.items():
        if name in UNITS:
            continue
        least = name in MEASURES and MEASURES[name].op == ">="
        worst = np.nanmin(values) if least else np.nanmax(values)
        assert worst == pytest.approx(side.measurements[name].value, rel=1e-9), name


def test_the_spiral_of_the_traces_is_that_of_the_report(checked):
    geometry, traces = checked.report.sides[0].geometry, checked.evidence.traces["A"]
    assert 2.0 * traces[RADIUS][-1] == pytest.approx(geometry.last_diameter_mm, rel=1e-9)
    turn = geometry.sectors_a_turn
    later = traces[RADIUS][:-turn] - traces[RADIUS][turn:]
    assert traces[PITCH][turn:] == pytest.approx(1e3 * later, abs=1e-6)


def test_the_pitch_that_is_demanded_is_given(checked):
    """Nothing of this side is held back by the greatest pitch: land is never short."""
    side, traces = checked.report.sides[0], checked.evidence.traces["A"]
    turn = side.geometry.sectors_a_turn
    assert side.measurements["groove.land_min"].value >= 13.0 - 1e-3
    assert (traces[PITCH][turn:] - traces[DEMAND][turn:]).min() >= -1e-3


def test_each_view_shows_the_width_that_the_report_gives(checked):
    findings = {f.fingerprint: f for result in checked.report.results for f in result.findings}
    seen = 0
    for view in checked.evidence.views["A"]:
        for fingerprint, measure in zip(view.findings, view.measures, strict=True):
            finding = findings[fingerprint]
            assert finding.measure == measure
            if measure == "groove.top_width_min":
                seen += 1
                assert 1e6 * view.middle.width[view.narrowest] == pytest.approx(finding.measured.value, rel=0.02)
            if measure == "groove.depth_max":
                deepest = 1e6 * float(view.middle.width.max()) / 2.0
                assert deepest == pytest.approx(finding.measured.value, rel=0.02)
    assert seen


def test_a_view_lies_inside_its_sector_and_at_its_radius(checked):
    findings = {f.fingerprint: f for result in checked.report.results for f in result.findings}
    for view in checked.evidence.views["A"]:
        at = findings[view.findings[0]].measured.at
        end = view.start_s + (len(view.middle.inner) - 1) / view.rate
        assert at.start_s - 1e-9 <= view.start_s < end <= at.start_s + 1.0 / SECTORS_A_SECOND
        assert 1e3 * view.radius == pytest.approx(at.radius_mm, abs=0.01)
        rpm = 100.0 / 3.0
        assert view.speed == pytest.approx(2.0 * math.pi * rpm / 60.0 * at.radius_mm / 1e3, rel=1e-9)


def test_neighbours_lie_a_pitch_away_and_leave_the_land(checked):
    side, traces = checked.report.sides[0], checked.evidence.traces["A"]
    start, turn = side.geometry.span_start_s, side.geometry.sectors_a_turn
    for view in checked.evidence.views["A"]:
        sector = round((view.start_s - start) * SECTORS_A_SECOND - 0.5)
        for other in view.turns:
            if other.away == -1:
                apart = 1e6 * np.mean((other.inner + other.outer - view.middle.inner - view.middle.outer) / 2.0)
                swing = 1e6 * np.ptp(view.middle.inner + view.middle.outer)
                assert apart == pytest.approx(traces[PITCH][sector], abs=0.01 * traces[PITCH][sector] + swing)
                assert 1e6 * (other.inner - view.middle.outer).min() >= traces["groove.land_min"][sector] - 0.5
                assert sector >= turn


def test_every_measurement_with_a_place_can_be_seen():
    whole = {"groove.last_diameter", "groove.travel", "groove.travel_least", "layout.lead_out_room"}
    assert set(MEASURES) - whole == set(WORST_AT)


def test_no_more_than_a_minute_is_read_again(checked):
    for side in checked.report.sides:
        assert side.second_look_s + checked.evidence.spectra[side.id].seconds <= 60.0


def test_nothing_is_gathered_where_nobody_draws(tmp_path):
    x = 0.1 * np.sin(2.0 * np.pi * 300.0 * np.arange(96_000) / 48_000)
    folder = deliver(tmp_path / "plain", {"A": Sent(np.vstack([x, x]))})
    plain, drawing = api.checked(folder), api.checked(folder, draws=True)
    assert not plain.evidence.traces
    assert not plain.evidence.views
    assert drawing.evidence.traces["A"]
    same = [one.report.model_copy(update={"run": None}) for one in (plain, drawing)]
    assert same[0] == same[1]


def test_curves_of_plugins_lie_where_their_windows_do(checked):
    loudness = checked.evidence.curves["A"]["loudness.short_term"]
    loudest = checked.report.sides[0].measurements["loudness.short_term_max"]
    middle = (loudest.at.start_s + loudest.at.end_s) / 2.0
    at = round((middle - loudness.start_s) / loudness.step_s)  # one window in ten is kept: it may lie 50 ms beside
    assert loudness.values[at] == pytest.approx(loudest.value, abs=0.1)
    assert loudness.values.max() <= loudest.value + 1e-9
    low = checked.evidence.curves["A"]["stereo.low_correlation"]
    assert np.nanmin(low.values) == pytest.approx(checked.report.sides[0].measurements["stereo.low_correlation"].value)


def test_the_own_disc_is_among_those_compared_and_takes_the_recommended_level(checked):
    own, *others = checked.evidence.formats["A"]
    assert own.planned
    assert own.recommended.value == checked.report.sides[0].levels.recommended.value
    assert len(others) == 5
    assert not any(row.planned for row in others)


def test_a_need_whose_curves_break_or_never_end_is_left_out_and_named():
    ended = threading.Event()

    class Need:
        def __init__(self, given):
            self.given, self.publishes, self.curve_units = given, {}, {"house.curve": "1"}

        def of(self, chain):
            return self

        def curves(self, result):
            if self.given is None:
                raise ValueError("broken")
            if self.given == "never":
                ended.wait()
            return {self.given: result}

    broken, never, sound = Need(None), Need("never"), Need("house.curve")
    curve = Curve(np.zeros(2), "1", 0.0, 1.0)
    judged = SimpleNamespace(results={broken: 1, never: 3, sound: curve}, chain=None, publishers={})
    found, why = curves_of(judged, (), Runner(0.5))
    ended.set()
    assert list(found) == ["house.curve"]
    assert set(why) == {broken, never}
    assert unplaced(why[broken]) == "ValueError: broken"
