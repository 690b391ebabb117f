"""What files say of themselves against the delivery: judged from tags and names, with no audio."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from qc.plugin_api import CuePoint, FileTag, FileTags
from qc_standard.file_words.contradictions import compare
from qc_standard.file_words.declared import ListedRecord, ListedSide
from qc_standard.file_words.starts import starts_otherwise
from qc_standard.file_words.wording import LONGEST_QUOTE, agree, quoted, unrelated

TRACKS = {
    "A": [{"number": 1, "title": "Overture", "isrc": "XX-QQQ-26-00001", "start": "0", "end": "180"},
          {"number": 2, "title": "Plan B", "isrc": "XX-QQQ-26-00002", "start": "182", "end": "300"}],
    "B": [{"number": 3, "title": "Night Train", "isrc": "XX-QQQ-26-00003", "start": "0", "end": "200"},
          {"number": 4, "title": "Harbour", "isrc": "XX-QQQ-26-00004", "start": "202", "end": "300"}],
}  # fmt: skip


def record(
    files: Sequence[str] = ("a.wav", "b.wav"), more: Mapping[str, Any] | None = None, **top: str
) -> ListedRecord:
    sides = tuple(
        ListedSide.of({"id": name, "audio": file, "tracks": TRACKS[name], **(more or {})})
        for name, file in zip("AB", files, strict=True)
    )
    return ListedRecord(top.get("title", "Quiet Harbour"), top.get("catalogue", "QH-007"), "", sides)


def found(name: str = "a.wav", *tags: tuple[str, str], other: str = "b.wav", **more: Any) -> list[str]:
    """The kinds of contradictions of side A's file, by its tags (about, value)."""
    listed = record((name, other), **more)
    its = FileTags(name, tags=tuple(FileTag("RIFF INFO", about, value, about) for about, value in tags))
    return [it.kind for it in compare(its, listed.sides[0], listed, "2026-04-01").found]


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("QH-007_B.wav", "QH-007_A.wav"), ("qh007b.wav", "x.wav"), ("QH-7 B.wav", "QH-7 A.wav"),
        ("side-b.wav", "side-a.wav"),
        ("masters/Side B/mix.wav", "masters/Side A/mix.wav"), ("B.wav", "A.wav"), ("b_master_24-96.flac", "a.flac"),
        ("Quiet Harbour B.wav", "Quiet Harbour A.wav"), ("take B song.wav", "take A song.wav"),
        ("QH-007-B1.wav", "QH-007-A1.wav"), ("B-Side.wav", "A-Side.wav"), ("Seite 2.wav", "Seite 1.wav"),
        ("side_two.wav", "side_one.wav"),
    ],
)  # fmt: skip
def test_a_file_name_of_the_other_side_is_found_and_its_own_is_not(name: str, other: str):
    assert found(name, other=other) == ["side"]
    assert found(other, other=name) == []


@pytest.mark.parametrize(
    "name",
    ["plan_b.wav", "Plan B (master).wav", "a_day_b.wav", "QH-007_flat.wav", "the Bees.wav", "outside_b_roll.wav",
     "side-by-side.wav", "QH-007 e.p. A.wav", "A-Side and B-Side.wav", "sides A+B.wav"],
)  # fmt: skip
def test_letters_that_name_no_side_are_passed_over(name: str):
    assert found(name) == []


@pytest.mark.parametrize(
    ("about", "value"),
    [
        ("title", "QUIET HARBOUR"), ("title", "Quiet  Härbour!"), ("title", "Quiet Harbour (Remastered 2026)"),
        ("title", "Side A"), ("title", "Side 1"), ("title", "side one"), ("title", "A"), ("title", "Bounce_3 24bit"),
        ("title", "overture"), ("title", "Plan B"), ("title", "QH 007"), ("title", "harbour_vinyl_v3"),
        ("title", "B-Side Rarities of the Quiet Harbour"), ("album", "The Quiet Harbour LP"), ("album", "Untitled"),
        ("catalogue", "QH007"), ("catalogue", "QH-7"), ("catalogue", "QH-007-A"), ("catalogue", "4006381333931"),
        ("catalogue", "0600638133393"), ("isrc", "XXQQQ2600002"),
        ("isrc", "The Archive"), ("side", "A"), ("side", "1"), ("disc", "1/1"), ("track", "1"), ("track", "A1"),
        ("text", "Side A of 2, see Side B"), ("text", "follows QH-006, this is QH-007"),
        ("text", "put to the side a year ago"),
        ("text", "made for XXQQQ2600009"), ("date", "2026"), ("date", "1970-01-01"), ("text", ""),
    ],
)  # fmt: skip
def test_other_forms_and_other_subjects_contradict_nothing(about: str, value: str):
    assert found("a.wav", (about, value)) == []


@pytest.mark.parametrize(
    ("about", "value", "kinds"),
    [
        ("title", "Winter Roads", ["title"]), ("title", "Night Train", ["title of another side"]),
        ("album", "Winter Roads", ["title"]),
        ("title", "Quiet Harbour, Side B", ["side"]), ("text", "flat master side B", ["side"]), ("side", "2", ["side"]),
        ("track", "B1", ["side"]), ("disc", "3", ["disc"]), ("catalogue", "WR-12", ["catalogue number"]),
        ("catalogue", "QH-071", ["catalogue number"]),
        ("catalogue", "QH-71", ["catalogue number"]), ("catalogue", "QH-0070", ["catalogue number"]),
        ("text", "QH 008 flat", ["catalogue number"]), ("isrc", "XX-QQQ-26-00003", ["ISRC of another side"]),
        ("isrc", "XXQQQ2600009", ["ISRC"]), ("text", "ISRC: XXQQQ2600009", ["ISRC"]),
        ("text", "QH-007-B", ["side"]),
    ],
)  # fmt: skip
def test_what_contradicts_the_delivery_is_found_once(about: str, value: str, kinds: list[str]):
    assert found("a.wav", (about, value)) == kinds
    assert found("a.wav", (about, value), (about, value)) == kinds


def test_where_a_side_has_no_titles_no_title_contradicts_it():
    bare = {"tracks": [{"number": 1, "start": "0", "end": "9"}]}
    assert found("a.wav", ("title", "Winter Roads"), more=bare) == []
    assert found("a.wav", ("album", "Winter Roads"), more=bare) == ["title"]


def test_the_day_is_compared_with_the_transfer_and_with_approvals():
    source = {"source": {"transferred_on": "2026-03-05", "approvals": [{"by": "a producer", "on": "2026-04-02"}]}}
    assert found("a.wav", ("date", "2026-03-04"), more=source) == ["date"]
    assert found("a.wav", ("date", "2026:03:05"), more=source) == []
    assert found("a.wav", ("date", "2026-04-03"), more=source) == ["date"]


def track_file(name: str, *tags: tuple[str, str], number: int = 1) -> list[str]:
    tracks = {side: [{**it, "audio": f"{side}{it['number']}.wav"} for it in TRACKS[side]] for side in TRACKS}
    sides = tuple(ListedSide.of({"id": side, "tracks": tracks[side]}) for side in tracks)
    listed = ListedRecord("Quiet Harbour", "QH-007", "", sides)
    its = FileTags(name, number, tuple(FileTag("Vorbis comment", about, value, about) for about, value in tags))
    return [it.kind for it in compare(its, sides[0 if number < 3 else 1], listed, "").found]


def test_the_file_of_a_track_is_compared_with_that_track():
    assert track_file("01 Overture.wav", ("title", "Overture"), ("track", "1"), ("isrc", "XXQQQ2600001")) == []
    assert track_file("a.wav", ("title", "Plan B")) == ["title"]
    assert track_file("a.wav", ("isrc", "XXQQQ2600002")) == ["ISRC"]
    assert track_file("a.wav", ("track", "2")) == ["track number"]
    assert track_file("B1 Overture.wav") == ["side"]
    assert track_file("02_plan_b.wav", number=2) == []
    assert track_file("x.wav", ("track", "1"), number=3) == []  # the first of its side
    assert track_file("x.wav", ("track", "3"), number=3) == []
    assert track_file("x.wav", ("track", "B1"), number=3) == []


def points(*seconds: float, labels: Sequence[str] = ()) -> FileTags:
    named = [*labels, *[""] * (len(seconds) - len(labels))]
    return FileTags(
        cue_points=tuple(CuePoint("cue chunk", at, label) for at, label in zip(seconds, named, strict=True))
    )


@pytest.mark.parametrize(
    ("its", "apart"),
    [
        (points(0.0, 182.9), False), (points(0.0, 183.1), True), (points(183.1), True),
        (points(0.0, 182.0, 300.0), False),
        (points(0.0, 190.0, labels=["Overture", "Plan B"]), True), (points(*range(0, 300, 7)), False),
        (points(0.0, 20.0, 40.0, 190.0, labels=["", "", "", "plan b"]), True), (points(), False),
        (points(50.0, 60.0, 70.0), False), (points(0.0, 182.0, 250.0, 260.0, labels=["", "", "edit", "edit"]), False),
    ],
)  # fmt: skip
def test_cue_points_must_lie_within_a_second_of_the_starts(its: FileTags, apart: bool):
    assert (starts_otherwise(its, record().sides[0]) is not None) == apart


def test_quotes_are_bounded_and_show_the_part_that_matters():
    text = f"{'x' * 500} side B {'y' * 500}"
    short = quoted(text, text.index("side"), text.index("side") + 6)
    assert len(short) <= LONGEST_QUOTE + 2
    assert "side B" in short


def test_texts_agree_whatever_their_form():
    assert agree("Rock & Roll", "rock and roll")
    assert agree("Don't Go", "dont go")
    assert agree("Volume 01", "Volume 1")
    assert not agree("Volume 10", "Volume 1")
    assert agree("Volume 01", "Volume 1")
    assert not agree("Art", "Party")
    assert unrelated("Volume 1", "Volume 2")
    assert not unrelated("Quiet Harbour", "Quiet Harbour Live")
