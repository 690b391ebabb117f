"""Findings are one an event: each bad passage of a side is told with its own place, and many of them stay readable."""

import numpy as np
import pytest

from qc.cli.main import main
from qc.testing.deliveries import Sent, deliver, judge
from support.signals import both, opposed, tone

RATE = 48_000
CHECK = "groove.top-width-too-narrow"


def bursts(seconds, many, *, hz=60.0, peak=0.5, length=0.3, shape=opposed):
    """A quiet side with a burst at each second of `many`, as (second, gain)."""
    x = 0.002 * both(tone(440.0, seconds, RATE))
    for second, gain in many:
        at, sound = round(second * RATE), shape(tone(hz, length, RATE, gain * peak, fade=0.1))
        x[:, at : at + sound.shape[1]] += sound
    return x


def sent(x, **more):
    return {"A": Sent(x, RATE, more={"cut_level": "0 dB", **more})}


def findings(report, check=CHECK):
    return report.result(check)["findings"]


def test_two_passages_are_two_findings(judged):
    report = judged(sent(bursts(12.0, [(3.0, 0.9), (8.0, 1.0)])))
    first, second = findings(report)
    assert first["severity"] == second["severity"] == "fail"
    for one, start in ((first, 3.0), (second, 8.0)):
        assert start < one["stretch"]["start_s"] < start + 0.15 < one["stretch"]["end_s"] < start + 0.3
        assert one["stretch"]["start_s"] <= one["measured"]["at"]["start_s"] < one["stretch"]["end_s"]
        assert one["measure"] == "groove.top_width_min"
        assert ", from 0:0" in one["message"]
    assert second["measured"]["value"] == report.value("groove.top_width_min") < first["measured"]["value"]
    assert first["fingerprint"] != second["fingerprint"]


def test_passages_closer_than_half_a_second_are_one_finding(judged):
    (one,) = findings(judged(sent(bursts(12.0, [(3.0, 1.0), (3.5, 1.0)]))))
    assert one["stretch"]["end_s"] - one["stretch"]["start_s"] > 0.5
    assert len(findings(judged(sent(bursts(12.0, [(3.0, 1.0), (4.0, 1.0)]))))) == 2


def test_the_first_of_many_findings_keeps_its_fingerprint(judged):
    (alone,) = findings(judged(sent(bursts(12.0, [(3.2, 0.8)]))))
    beside = findings(judged(sent(bursts(12.0, [(3.0, 0.9), (8.0, 1.0)]))))
    assert alone["fingerprint"] == beside[0]["fingerprint"]


@pytest.fixture(scope="module")
def bad(tmp_path_factory):
    """A delivery with a passage too narrow every second of two and a half minutes, the later the worse, and a store."""
    folder = tmp_path_factory.mktemp("bad")
    x = bursts(152.0, [(1.0 + n, 0.9 + 0.001 * n) for n in range(150)])
    return str(deliver(folder / "delivery", sent(x))), "--cache", str(folder / "store")


def test_the_hundred_most_severe_findings_are_kept(bad, tmp_path):
    folder, *store = bad
    report = judge(folder, tmp_path / "report.json", *store)
    result = report.result(CHECK)
    assert (len(result["findings"]), result["findings_omitted"]) == (100, 50)
    assert min(one["stretch"]["start_s"] for one in result["findings"]) > 50.0
    assert len({one["fingerprint"] for one in result["findings"]}) == 100


@pytest.mark.parametrize(("words", "most"), [((), 60), (("--quiet",), 40)])
def test_a_bad_side_is_reported_in_a_few_lines(bad, tmp_path, words, most):
    out = tmp_path / "report.txt"
    main(["check", *bad, "--out", f"text={out}", *words])
    text = out.read_text(encoding="utf-8")
    assert text.count("\n") <= most
    assert "147 more" in text  # of 150, the worst three by themselves
    assert "A 2:30" in text


def test_a_repair_is_in_the_report(judged):
    """One passage rules a quiet side by far: the report says where it is and what reducing it wins."""
    x = bursts(20.0, [(8.0, 1.0)], hz=60.0)
    report = judged({"A": Sent(x, RATE)})
    levels = report.side()["levels"]
    budget = levels["budget"]
    assert budget["ruling"] == levels["ruling"] == "groove.cut-too-deep/greatest"
    assert [line["level"]["value"] for line in budget["limits"]] == sorted(
        line["level"]["value"] for line in budget["limits"]
    )
    assert budget["limits"][0]["above"]["value"] == 0.0
    first = budget["repairs"][0]
    (passage,) = first["passages"]
    assert 8.0 < passage["start_s"] < 8.15 < passage["end_s"] < 8.3
    assert passage["track"] == 1
    wins = first["recommended"]["value"] - levels["recommended"]["value"]
    assert first["wins"]["value"] == pytest.approx(wins)
    assert wins > 0.3


def test_turns_that_may_print_through_are_reported_with_both_times(judged):
    x = bursts(12.0, [(6.0, 1.0)], hz=200.0, peak=0.9, shape=both, length=0.2)
    side = judged(sent(x)).side()
    assert side["print_through"]
    for one in side["print_through"]:
        assert abs(one["loud"]["start_s"] - one["quiet"]["start_s"]) == pytest.approx(1.8)
        assert 6.0 <= one["loud"]["start_s"] <= 6.2
        assert one["apart"]["value"] >= 20.0
        assert one["land"]["value"] <= 26.0
    assert np.all(np.diff([one["apart"]["value"] for one in side["print_through"]]) <= 0.0)
