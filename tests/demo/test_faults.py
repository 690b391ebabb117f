"""Every fault that was planted is found by its check, at its place; the good side has nothing to fix."""

import pytest

from qc import api
from qc.cli.main import main
from qc.delivery.reader import read_delivery
from qc.demo.planted import NEAR, Planted, findings

PLANTED = {
    "stereo.low-end-out-of-phase",
    "level.clipped",
    "layout.track-times-disagree",
    "layout.gap-disagrees",
    "layout.side-too-long",
    "hf.sibilance-or-cymbals-too-strong",
    "groove.last-diameter-too-small",
    "groove.level-above-recommended",
}
SECTOR = 1.0 / 75.0  # s; places are given by sectors
LONGEST = 11.0  # s; the longest window that anything is measured over, and a little


def test_the_command_ends_well(demo):
    assert demo.code == 0, demo.err
    assert demo.made.report.verdict == "fail"
    assert demo.made.report.plugin_failures == ()


def test_all_kinds_of_fault_are_planted_on_side_b(demo):
    assert {fault.check for fault in demo.made.planted} == PLANTED
    assert {fault.side for fault in demo.made.planted} == {"B"}


@pytest.mark.parametrize("check", sorted(PLANTED))
def test_a_planted_fault_is_found_at_its_place(demo, check):
    (fault,) = [fault for fault in demo.made.planted if fault.check == check]
    found = findings(fault, demo.made.report)
    assert found
    for finding in found:
        at = finding.location
        assert at.side == "B"
        if fault.start is None:
            continue
        assert at.start_s is not None
        end = at.start_s if at.end_s is None else at.end_s
        if end - at.start_s <= fault.end - fault.start + SECTOR:  # inside the fault
            assert fault.start - NEAR <= at.start_s
            assert end <= fault.end + NEAR + SECTOR
        else:  # a window that holds it
            assert at.start_s <= fault.start + NEAR
            assert fault.end - NEAR <= end
        assert end - at.start_s <= LONGEST


def test_findings_elsewhere_are_not_taken_for_the_fault(demo):
    (fault,) = [fault for fault in demo.made.planted if fault.check == "level.clipped"]
    away = Planted(fault.check, fault.side, fault.what, fault.start - 40.0, fault.start - 30.0)
    assert findings(away, demo.made.report) == []
    assert findings(Planted(fault.check, "A", fault.what, fault.start, fault.end), demo.made.report) == []


def test_the_command_owns_up_to_a_fault_that_was_not_found(demo, tmp_path, monkeypatch, capsys):
    missed = Planted("level.clipped", "A", "nothing at all", 1.0, 2.0)
    made = api.Demo(demo.made.report, (*demo.made.planted, missed))
    monkeypatch.setattr(api, "demo", lambda *_: made)
    assert main(["demo", str(tmp_path / "demo")]) == 3
    out, err = capsys.readouterr()
    assert out.startswith("FAIL")
    assert "was not found on side A: nothing at all (level.clipped)" in err.splitlines()[-1]


def test_side_a_passes(demo):
    outcomes = {result.check: result.outcome for result in demo.made.report.results if result.side == "A"}
    assert len(outcomes) > 10
    assert {check for check, outcome in outcomes.items() if outcome not in {"pass", "not_applicable"}} == {
        "groove.excursion-too-wide"  # it warns: free to be as loud as its bass can be tracked, it is
    }
    assert outcomes["groove.excursion-too-wide"] == "warn"


def test_side_b_is_judged_at_the_level_that_is_asked_for(demo):
    a, b = demo.made.report.sides
    assert a.levels.declared is None
    assert b.levels.declared.value == 0.0
    assert b.levels.recommended.value < -2.0 < a.levels.recommended.value


def test_the_paper_is_a_delivery_with_checksums(demo):
    read = read_delivery(demo.folder)
    assert read.delivery.catalogue == "QH-007"
    assert all(side.sha256 for side in read.delivery.sides)
    assert (read.delivery.disc.size, read.delivery.disc.speed) == ("7in", "45")
