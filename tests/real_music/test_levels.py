"""One real side at three cut levels: its events, its budget and its repairs, through the command.

The music is of Debian's wesnoth-1.16-music; without it these tests are skipped and say so, or fail where it must be
there (see support/real_music.py).
"""

import json
from itertools import pairwise

import numpy as np
import pytest
import soundfile

from qc.testing.deliveries import Sent, deliver, judge
from support.real_music import MUSIC, needed

pytestmark = [pytest.mark.music, pytest.mark.long]

TRACKS = ("wanderer.ogg", "the_dangerous_symphony.ogg", "traveling_minstrels.ogg")
GAP = 2.0  # s
LEVELS = (-6.0, -3.0, 0.0)
SECTOR = 1.0 / 75.0


@pytest.fixture(scope="module")
def music():
    """Three tracks with their gaps, as a side of some 13 min: samples, rate, and the times of the tracks."""
    pieces, times, at = [], [], GAP
    for name in TRACKS:
        needed((MUSIC / name).exists(), f"no real music: {MUSIC / name} is missing (Debian: wesnoth-1.16-music)")
        x, rate = soundfile.read(MUSIC / name, always_2d=True)
        pieces += [np.zeros((2, round(GAP * rate))), x.T]
        times.append((at, at + x.shape[0] / rate))
        at = times[-1][1] + GAP
    return np.concatenate(pieces, axis=1), rate, times


@pytest.fixture(scope="module")
def reports(music, tmp_path_factory):
    """The side judged at each level, and as it is recommended."""
    x, rate, times = music
    folder = tmp_path_factory.mktemp("levels")
    deliver(folder / "side", {"A": Sent(x, rate, tracks=times, coding="PCM_24", container="FLAC")})
    store = ("--cache", str(folder / "store"))  # measured once

    def at(*words):
        return judge(folder / "side", folder / "report.json", *words, *store)

    return [at("--level", f"{level} dB") for level in LEVELS], at()


def events(judged):
    """Every finding of the groove with its stretch, by measurement."""
    found = {}
    for result in judged.report["results"]:
        for finding in result["findings"]:
            if result["side"] == "A" and finding["stretch"] is not None:
                found.setdefault(finding["measure"], []).append(finding)
    return found


def test_a_louder_cut_takes_more_room_and_breaks_more(reports):
    louder_and_louder, _ = reports
    travels = [judged.side()["geometry"]["travel_mm"] for judged in louder_and_louder]
    assert travels == sorted(travels)
    assert travels[0] < 0.95 * travels[-1]
    for quieter, louder in pairwise(map(events, louder_and_louder)):
        for measure, many in quieter.items():
            for one in many:
                second = one["measured"]["at"]["start_s"]
                assert any(
                    other["stretch"]["start_s"] <= second < other["stretch"]["end_s"] for other in louder[measure]
                ) or len(louder[measure]) == 100, (measure, second)  # fmt: skip


def test_every_event_lies_on_the_side_with_its_worst_second_inside(reports, music):
    x, rate, times = music
    for judged in reports[0]:
        for measure, many in events(judged).items():
            for one in many:
                start, end = one["stretch"]["start_s"], one["stretch"]["end_s"]
                at = one["measured"]["at"]
                assert 0.0 <= start <= at["start_s"] < end <= x.shape[1] / rate + SECTOR, measure
                assert at["track"] == sum(first < at["start_s"] + SECTOR for first, _ in times)
                assert 40.0 < at["radius_mm"] < 146.3
                assert at["polarity"] in {"normal", "inverted"}
            bad = sorted((one for one in many if one["severity"] == "fail"), key=lambda one: one["stretch"]["start_s"])
            for one, other in pairwise(bad):
                assert other["stretch"]["start_s"] - one["stretch"]["end_s"] > 0.493


def test_the_worst_event_is_the_number_of_the_side(reports):
    for judged in reports[0]:
        for measure, many in events(judged).items():
            values = [one["measured"]["value"] for one in many]
            assert judged.side()["measurements"][measure]["value"] in {min(values), max(values)}


def test_the_budget_does_not_depend_on_the_level_asked_for(reports):
    at_levels, free = reports
    (budget,) = {json.dumps(judged.side()["levels"]["budget"], sort_keys=True) for judged in at_levels}
    assert json.loads(budget) == free.side()["levels"]["budget"]


def test_repairs_win_what_they_say_and_never_less_than_before(reports):
    levels = reports[1].side()["levels"]
    budget = levels["budget"]
    assert budget["ruling"] == levels["ruling"] == budget["limits"][0]["limit"]
    assert 1 <= len(budget["repairs"]) <= 5
    reached = levels["recommended"]["value"]
    assert budget["lifted"]["value"] >= reached
    for number, repair in enumerate(budget["repairs"], start=1):
        assert len(repair["passages"]) == number
        assert all(0.0 < one["end_s"] - one["start_s"] <= 5.0 + 1e-9 for one in repair["passages"])
        assert repair["recommended"]["value"] >= reached
        reached = repair["recommended"]["value"]
        won = reached - levels["recommended"]["value"]
        assert repair["wins"]["value"] == pytest.approx(won)
