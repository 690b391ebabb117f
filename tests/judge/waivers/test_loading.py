"""Waivers as they are written: what fits the delivery, and one sentence with the line for what does not."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from qc.delivery.reader import parse_delivery
from qc.judge.waivers.loading import load_waivers
from qc.model.errors import DeliveryError, UsageError
from qc.plugin_api import Check, Model

DELIVERY = """\
schema: 1
title: Quiet Harbour
disc: {size: 12in, speed: 33}
sides:
  - id: A
    audio: side-a.wav
    tracks:
      - {number: 1, start: 0, end: 60}
      - {number: 2, start: 60, end: 120}
    waivers: [WAIVER]
  - id: B
    audio: side-b.wav
"""
WHO = "reason: the fuzz, owner: M. Reed"
GOOD = f"check: level.clipped, {WHO}"
LENGTHS = {"A": 120.0, "B": 90.0}


class NoLimits(Model):
    """None."""


def check(check_id, **more):
    words = dict.fromkeys(("title", "why", "how", "remedy"), "x")
    return type("House", (Check,), {"id": check_id, "Limits": NoLimits, "evaluate": lambda *_: (), **words, **more})


CHECKS = {
    "level.clipped": check("level.clipped"),
    "level.true-peak-too-high": check("level.true-peak-too-high"),
    "delivery.audio-disagrees": check("delivery.audio-disagrees", waivable=False),
    "delivery.same-audio-twice": check("delivery.same-audio-twice", scope="delivery"),
}


def read(waiver="", *, file=None, lengths=LENGTHS, **more):
    text = DELIVERY.replace("WAIVER", f"{{{waiver}}}" if waiver else "")
    given = {"today": dt.date(2026, 6, 15), "checks": CHECKS, "length": lengths.get, **more}
    return load_waivers(parse_delivery(text.encode(), Path("delivery.yaml"), Path()), file, **given).facts()


def test_a_waiver_in_the_delivery_is_for_its_side():
    (fact,) = read(f'{GOOD}, tracks: [2, 1], from: "1:02.5", to: "1:59.9", expires: 2026-06-15')
    assert (fact.key, fact.side, fact.tracks, fact.from_s, fact.to_s) == ("delivery.yaml:10", "A", (1, 2), 62.5, 119.9)
    assert (fact.owner, fact.reason, fact.expires, fact.state) == ("M. Reed", "the fuzz", "2026-06-15", "unused")


def test_a_waiver_for_a_check_of_another_house_has_no_effect(tmp_path):
    (fact,) = read(f"check: house.quiet-side, {WHO}")
    assert (fact.check, fact.state) == ("house.quiet-side", "unused")


def test_several_waivers_on_one_line_have_distinct_keys(tmp_path):
    facts = read(f"{GOOD}}}, {{{GOOD}}}, {{{GOOD}")
    assert [fact.key for fact in facts] == ["delivery.yaml:10", "delivery.yaml:10/2", "delivery.yaml:10/3"]


@pytest.mark.parametrize(
    ("waiver", "part"),
    [
        (f"check: level.cliped, {WHO}", 'no check is called "level.cliped"; did you mean "level.clipped"?'),
        (f"check: delivery.audio-disagrees, {WHO}", 'what "delivery.audio-disagrees" finds cannot be waived'),
        (f"check: delivery.same-audio-twice, {WHO}", "judges the sides together, and this waiver is for"),
        (f"{GOOD}, tracks: [1, 3]", "side A has no track 3; known are 1, 2"),
        (f'{GOOD}, from: "2:00.1"', '"from" is 2:00.100, and side A ends at 2:00.000; correct it'),
        (f"{GOOD}, to: 500", '"to" is 8:20.000, and side A ends at 2:00.000'),
        (f"{GOOD}, from: 10, to: 9", "the waiver ends at 0:09.000, which is not after its start at 0:10.000"),
        (f"{GOOD}, from: 10, to: 10", "which is not after its start"),
        (f"{GOOD}, to: 0", "which is not after its start at 0:00.000"),
        (f"{GOOD}, tracks: []", '"tracks" is empty; fill it in'),
        (f"{GOOD}, expires: 2026-02-30", '"2026-02-30" is not a day'),
        (f"{GOOD}, side: A", 'unknown key "side"'),
        (f"{GOOD}, until: 2026-02-28", 'unknown key "until"'),
        ("check: level.clipped, reason: r", '"owner" is missing'),
        ("check: level.clipped, owner: o", '"reason" is missing'),
        ("reason: r, owner: o", '"check" is missing; write it as check: level.clipped'),
    ],
)  # fmt: skip
def test_a_waiver_that_does_not_fit_is_refused_with_its_line(waiver, part):
    with pytest.raises(DeliveryError) as refused:
        read(waiver)
    assert str(refused.value).startswith("delivery.yaml:10: ")
    assert part in str(refused.value)


def test_a_waiver_of_tracks_on_a_side_without_tracks_is_refused():
    text = DELIVERY.replace("WAIVER", "") + f"    waivers:\n      - {{{GOOD}, tracks: [1]}}\n"
    with pytest.raises(DeliveryError, match=r'delivery\.yaml:14: side B has no track 1; leave "tracks" out'):
        load_waivers(parse_delivery(text.encode(), Path("delivery.yaml"), Path()), None, None, CHECKS, LENGTHS.get)


def test_times_are_not_checked_where_the_audio_is_at_fault():
    assert read(f"{GOOD}, to: 500", lengths={})


def test_a_check_whose_plugin_did_not_load_may_be_waived():
    assert read("check: house.level, reason: r, owner: o", lost=["house.level"])


def test_waivers_of_a_side_that_is_not_judged_are_left_out():
    assert read(GOOD, sides=["B"]) == ()
    assert len(read(GOOD, sides=["A"])) == 1


def test_a_waiver_that_expires_is_refused_without_a_day():
    with pytest.raises(UsageError, match="today's date is not known"):
        read(f"{GOOD}, expires: 2026-06-15", today=None)
    assert read(GOOD, today=None)


# -- a file of their own -----------------------------------------------------------------------------------------


@pytest.fixture
def paper(tmp_path):
    def write(*waivers, head="schema: 1\nwaivers:\n"):
        path = tmp_path / "waivers.yaml"
        path.write_text(head + "".join(f"  - {{{one}}}\n" for one in waivers), encoding="utf-8")
        return path

    return write


def test_a_waiver_in_a_file_is_for_a_side_or_for_all(paper):
    named, every, whole = read(
        file=paper(f"{GOOD}, side: B", f"{GOOD}, tracks: [2], to: 119", f"check: delivery.same-audio-twice, {WHO}")
    )
    assert (named.key, named.side) == ("waivers.yaml:3", "B")
    assert (every.key, every.side, every.tracks) == ("waivers.yaml:4", None, (2,))
    assert whole.side is None


@pytest.mark.parametrize(
    ("waiver", "part"),
    [
        (f"{GOOD}, side: C", 'the delivery has no side "C"; known are A, B'),
        (f"{GOOD}, tracks: [3]", "no side has a track 3; known are 1, 2"),
        (f"{GOOD}, to: 121", '"to" is 2:01.000, and the longest side ends at 2:00.000'),
        (f"{GOOD}, side: B, to: 100", "and side B ends at 1:30.000"),
        ("check: delivery.same-audio-twice, side: A, reason: r, owner: o", "waive it in a file given by --waivers"),
        (f"{GOOD}, sides: [A]", 'unknown key "sides"; did you mean "side"?'),
    ],
)
def test_a_waiver_in_a_file_that_does_not_fit_is_refused_with_its_line(paper, waiver, part):
    path = paper(GOOD, waiver)
    with pytest.raises(DeliveryError) as refused:
        read(file=path)
    assert str(refused.value).startswith(f"{path}:4: ")
    assert part in str(refused.value)


@pytest.mark.parametrize(
    ("head", "part"),
    [
        ("schema: 2\nwaivers:\n", 'schema": "2" is not known to this version'),
        ("waivers:\n", '"schema" is missing'),
        ("schema: 1\nwaiver:\n", 'unknown key "waiver"; did you mean "waivers"?'),
        ("", "holds a list"),
    ],
)
def test_a_file_that_holds_no_waivers_is_refused(paper, head, part):
    with pytest.raises(DeliveryError) as refused:
        read(file=paper(GOOD, head=head))
    assert part in str(refused.value)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(DeliveryError, match="there is no such file; check the name of the waivers file"):
        read(file=tmp_path / "none.yaml")


def test_an_empty_list_waives_nothing(paper):
    assert read(file=paper(head="schema: 1\nwaivers: []\n")) == ()
