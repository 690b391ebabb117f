"""Deliveries as they come in: what is read, what is refused, and the line each sentence names."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from fractions import Fraction
from pathlib import Path

import pytest

from qc.delivery.reader import ReadDelivery, parse_delivery, read_delivery
from qc.model.errors import DeliveryError

GOOD = """\
schema: 1
title: Quiet Harbour
catalogue: QH-001
disc: {size: 12in, speed: 33}
sides:
  - id: A
    audio: side-a.wav
    tracks:
      - {number: 1, title: Slack Water, start: "0:02.0", end: "4:31.480", gap_after: mark}
      - {number: 2, title: Bell Buoy, start: 4:31.480, end: 301}
  - id: B
    audio: more/side-b.flac
"""
AUDIO_LINE = "    audio: side-a.wav\n"


def read(text: str) -> ReadDelivery:
    return parse_delivery(text.encode(), Path("d.yaml"), Path("/nowhere/at/all"))


def said(text: str) -> str:
    with pytest.raises(DeliveryError) as caught:
        read(text)
    assert caught.value.exit_code == 2
    assert "\n" not in str(caught.value)
    return str(caught.value)


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1
    return said(GOOD.replace(old, new))


def test_a_delivery_is_read(tmp_path: Path):
    (tmp_path / "delivery.yaml").write_text(GOOD)
    for path in (tmp_path, tmp_path / "delivery.yaml"):
        got = read_delivery(path)
        assert (got.folder, got.file) == (tmp_path, tmp_path / "delivery.yaml")
        assert got.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
        assert got.audio == {"A": tmp_path / "side-a.wav", "B": tmp_path / "more" / "side-b.flac"}
        assert got.line(("sides", 0, "tracks", 1, "end")) == 10
        assert got.line(("sides", 1)) == 11


def test_times_levels_and_ids_are_typed():
    got = read(GOOD.replace(AUDIO_LINE, AUDIO_LINE + f"    cut_level: -3 dB\n    sha256: {'AB' * 32}\n")).delivery
    side = got.side("A")
    assert (got.title, got.catalogue, got.disc.size, got.disc.speed) == (
        "Quiet Harbour",
        "QH-001",
        "12in",
        "33",
    )
    assert (side.cut_level, side.sha256, side.channels) == (-3.0, "ab" * 32, None)
    assert [(t.start, t.end) for t in side.tracks] == [
        (Fraction(2), Fraction("271.48")),
        (Fraction("271.48"), Fraction(301)),
    ]
    assert got.declared("A")["tracks"][0] == {
        "number": 1, "title": "Slack Water", "start": 2.0, "end": 271.48, "gap_after": "mark",
    }  # fmt: skip


def test_noughts_of_a_catalogue_number_stay():
    got = read(GOOD.replace("QH-001", "001").replace("id: A", "id: 1").replace("Quiet Harbour", "1984"))
    assert (got.delivery.catalogue, got.delivery.sides[0].id, got.delivery.title) == ("001", "1", "1984")


def test_what_is_carried_without_being_judged():
    extra = """\
    channels: [left, right]
    inscription: QH-001 A
    prepared: [bass-mono, de-essed]
    source:
      medium: tape
      generation: 1
      format: 1/4 in two-track
      speed: 38 cm/s
      equalisation: IEC1
      transferred_on: 2026-03-01
      approvals: [{by: the producer, on: 2026-03-02, recommended_level: 0 dB, note: as it is}]
"""
    text = GOOD.replace(AUDIO_LINE, AUDIO_LINE + extra) + "part: {of: QH, volume: 2}\nnotes: |\n  two\n  lines\n"
    got = read(text.replace("end: 301", "end: 301, isrc: any text, gap_after: segue")).delivery
    side = got.side("A")
    assert side.channels == ("left", "right")
    assert (side.inscription, side.prepared) == ("QH-001 A", ("bass-mono", "de-essed"))
    assert side.source.approvals[0].recommended_level == 0.0
    assert side.source.transferred_on == dt.date(2026, 3, 1)
    assert (side.tracks[1].isrc, side.tracks[1].gap_after) == ("any text", "segue")
    assert (got.part.of, got.part.volume, got.notes) == ("QH", 2, "two\nlines")
    declared = json.loads(json.dumps(got.declared("A")))
    assert (declared["inscription"], declared["prepared"]) == ("QH-001 A", ["bass-mono", "de-essed"])
    assert (declared["source"]["generation"], declared["source"]["transferred_on"]) == (1, "2026-03-01")
    assert declared["source"]["approvals"] == [
        {"by": "the producer", "on": "2026-03-02", "recommended_level": 0.0, "note": "as it is"}
    ]


def test_a_ruleset_stands_for_the_disc():
    text = GOOD.replace("disc: {size: 12in, speed: 33}", "ruleset: disc-12in-33@1.0.0")
    assert read(text).delivery.disc is None
    assert changed("disc: {size: 12in, speed: 33}\n", "").startswith('d.yaml:1: "disc" is missing; write it as')


@pytest.mark.parametrize("speed", ["33", "45", '"33"'])
def test_speeds(speed: str):
    assert read(GOOD.replace("speed: 33", f"speed: {speed}")).delivery.disc.speed == speed.strip('"')


# -- refused by name ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "part"),
    [
        (
            "channels: [front_left, front_right, rear_left, rear_right]",
            "four-channel sources are not judged yet",
        ),
        ("fold_down: {rear: -6 dB, law: gain}", "fold-downs are not judged yet"),
        ("fold_down: {", "fold-downs are not judged yet"),
        ("reference: approved-mix.wav", "reference files are not compared yet"),
        ("lineup: {file: tones.wav, tones: [{whatever: 1}]}", "line-up tones are not measured yet"),
    ],
)
def test_what_is_planned_is_refused_by_name(line: str, part: str):
    line = line if line.count("{") == line.count("}") else "fold_down:"
    assert changed(AUDIO_LINE, f"{AUDIO_LINE}    {line}\n").startswith(f"d.yaml:8: {part}")


def test_a_side_without_audio():
    assert changed(AUDIO_LINE, "").startswith('d.yaml:6: "audio" is missing; give one audio file for the side')


# -- one file a track --------------------------------------------------------------------------------------

JOINED = (
    GOOD[: GOOD.index("  - id: B")]
    + """\
  - id: B
    tracks:
      - {number: 1, audio: b1.wav, gap_after: 3 s}
      - {number: 2, audio: more/b2.wav, gap_after: segue}
      - {number: 3, audio: b3.wav}
"""
)


def test_one_file_a_track_is_read():
    got = read(JOINED)
    folder = Path("/nowhere/at/all")
    assert got.audio == {"A": folder / "side-a.wav"}
    assert got.track_audio == {"B": (folder / "b1.wav", folder / "more" / "b2.wav", folder / "b3.wav")}
    assert got.files == (Path("d.yaml"), folder / "side-a.wav", *got.track_audio["B"])
    assert [track.gap_s for track in got.delivery.side("B").tracks] == [3, 0, 2]


@pytest.mark.parametrize(
    ("old", "new", "line", "part"),
    [
        ("b1.wav,", "b1.wav, start: 0,", 13, '"start" is worked out where a track has a file of its own; leave it out'),
        ("b1.wav,", "b1.wav, end: 9,", 13, '"end" is worked out where a track has a file of its own; leave it out'),
        ("b3.wav}", "b3.wav, gap_after: 3 s}", 15, "no file follows this gap; leave it out"),
        (
            "audio: b3.wav",
            "title: x",
            15,
            'track 3 has no "audio", others of this side have; give every track its file',
        ),
        ("3 s", "61 s", 13, '"61 s" is longer than a minute; write mark, segue or a time'),
        ("id: B\n", f"id: B\n    sha256: {'0' * 64}\n", 12, '"sha256" is the digest of one file for the side; put'),
        ("number: 2, audio", "number: 1, audio", 14, "track number 1 is given twice on this side (see line 13)"),
        ("b3.wav", "../b3.wav", 15, 'climbs out of its folder with ".."'),
        (
            "end: 301",
            "end: 301, audio: x.wav",
            10,
            "and this track one of its own; leave one of the two out (see line 7)",
        ),
    ],
)
def test_a_fault_of_one_file_a_track_names_its_line(old: str, new: str, line: int, part: str):
    assert JOINED.count(old) == 1
    sentence = said(JOINED.replace(old, new))
    assert sentence.startswith(f"d.yaml:{line}: ")
    assert part in sentence


# -- faults ------------------------------------------------------------------------------------------------

ABSOLUTE, CLIMBS, BACKSLASH = "is an absolute path", 'climbs out of its folder with ".."', "has a backslash"


@pytest.mark.parametrize(
    ("old", "new", "line", "part"),
    [
        ("title: Quiet", "titel: Quiet", 2, 'unknown key "titel"; did you mean "title"?'),
        ("schema: 1", "schema: 2", 1, "which reads schema 1"),
        ("schema: 1\n", "", 1, '"schema" is missing; write it as schema: 1'),
        ("title: Quiet Harbour", "title:", 2, '"title" is empty; fill it in'),
        ("QH-001", "", 3, '"catalogue" is empty; fill it in, or leave the line out'),
        ("12in", "13in", 4, '"size" is "13in"; it must be 12in, 10in or 7in'),
        ("speed: 33", "speed: 78", 4, '"speed" is "78"; it must be 33 or 45'),
        (", speed: 33", "", 4, '"speed" is missing'),
        ("id: B", "id: A", 11, 'side id "A" is given twice; name every side differently (see line 6)'),
        ("id: B", "id: a", 11, 'side id "a" is given twice'),
        ("id: A", "id: A side", 6, '"id": "A side" cannot name a side'),
        ("id: A", "id: ..", 6, '"id": ".." cannot name a side'),
        ("side-a.wav", "/side-a.wav", 7, ABSOLUTE),
        ("side-a.wav", "C:side-a.wav", 7, ABSOLUTE),
        ("side-a.wav", "../side-a.wav", 7, CLIMBS),
        ("side-a.wav", "more/../../side-a.wav", 7, CLIMBS),
        ("side-a.wav", "'..'", 7, CLIMBS),
        ("side-a.wav", r"more\side-a.wav", 7, BACKSLASH),
        ("side-a.wav", r"\\host\side-a.wav", 7, BACKSLASH),
        (AUDIO_LINE, AUDIO_LINE + "    sha256: abc\n", 8, '"abc" is not a SHA-256 digest'),
        (
            AUDIO_LINE,
            AUDIO_LINE + "    cut_level: -3\n",
            8,
            '"-3" is not a level in dB; write it like "-3 dB"',
        ),
        (AUDIO_LINE, AUDIO_LINE + "    cut_level: -3 dBFS\n", 8, '"-3 dBFS" is not a level in dB'),
        (AUDIO_LINE, AUDIO_LINE + "    cut_level: 21 dB\n", 8, "between -40 dB and +20 dB"),
        (AUDIO_LINE, AUDIO_LINE + "    cut_level: [1 dB]\n", 8, "this is not a single level"),
        (AUDIO_LINE, AUDIO_LINE + "    channels: [right, left]\n", 8, "write [left, right]"),
        (
            AUDIO_LINE,
            AUDIO_LINE + "    prepared: de-essed\n",
            8,
            '"prepared" is "de-essed"; it must be a list',
        ),
        (AUDIO_LINE, AUDIO_LINE + "    inscription: |\n      a\n      b\n", 8, "runs over several lines"),
        (AUDIO_LINE, AUDIO_LINE + "    source: {medium: tape, speed: 38}\n", 8, "not given in cm/s"),
        (
            AUDIO_LINE,
            AUDIO_LINE + "    source: {medium: tape, transferred_on: 1.3.2026}\n",
            8,
            "is not a day",
        ),
        (
            AUDIO_LINE,
            AUDIO_LINE + "    source: {medium: tape, transferred_on: 2026-02-30}\n",
            8,
            "is not a day",
        ),
        ("number: 2", "number: 1", 10, "track number 1 is given twice on this side (see line 9)"),
        ("number: 2", "number: 0", 10, '"number" is "0"; it must be at least 1'),
        ("number: 2", "number: two", 10, '"number" is "two"; it must be a whole number'),
        ("end: 301", "end: 4:31.480", 10, "which is not after its start at 4:31.480"),
        ("end: 301", "end: 1:02", 10, "track 2 ends at 1:02.000, which is not after its start"),
        (", end: 301", "", 10, '"end" is missing; track 2 needs start and end'),
        ("start: 4:31.480, ", "", 10, '"start" is missing; track 2 needs start and end'),
        (
            "start: 4:31.480",
            "start: 4:31.479",
            10,
            "before track 1 ends at 4:31.480; tracks must not overlap (see line 9)",
        ),
        (
            "start: 4:31.480",
            "start: 1",
            10,
            "before track 1 does; list the tracks in order of start (see line 9)",
        ),
        ("end: 301", "end: 1:02:03", 10, "as in a CUE sheet"),
        ("end: 301", "end: -1", 10, "a time cannot be negative"),
        ("end: 301", "end: [1]", 10, "this is not a single time"),
        ("gap_after: mark", "gap_after: 3 s", 9, "write mark or segue"),
        ("gap_after: mark", "gap_after: long", 9, '"long" is not a gap'),
        ("disc: {size: 12in, speed: 33}", "disc: 12in", 4, "it must hold keys with values: size, speed"),
    ],
)
def test_a_fault_names_its_line(old: str, new: str, line: int, part: str):
    sentence = changed(old, new)
    assert sentence.startswith(f"d.yaml:{line}: ")
    assert part in sentence


@pytest.mark.parametrize("sides", ["sides: []\n", "sides:\n"])
def test_no_sides(sides: str):
    assert said(GOOD[: GOOD.index("sides:")] + sides) == 'd.yaml:5: "sides" is empty; fill it in'


# -- files and folders -------------------------------------------------------------------------------------


def refused(path: Path) -> str:
    with pytest.raises(DeliveryError) as caught:
        read_delivery(path)
    return str(caught.value)


def test_what_is_not_there(tmp_path: Path):
    assert refused(tmp_path / "x").startswith(f"{tmp_path / 'x'}: there is no such file or folder; give")
    assert refused(tmp_path).startswith(f"{tmp_path}: the folder holds no delivery.yaml; add it")


def test_what_is_no_delivery_file(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "delivery.yaml").mkdir()
    (tmp_path / "side.wav").write_bytes(b"RIFF\xff\xff\xff\xff")
    assert "not a plain file" in refused(tmp_path / "pipe")
    assert "is a folder" in refused(tmp_path)
    assert refused(tmp_path / "side.wav").startswith(f"{tmp_path / 'side.wav'}:1: the byte 0xff at offset 4")


def test_audio_that_is_missing_or_odd_is_not_judged_here(tmp_path: Path):
    (tmp_path / "delivery.yaml").write_text(GOOD)
    os.mkfifo(tmp_path / "side-a.wav")
    assert set(read_delivery(tmp_path).audio) == {"A", "B"}


def test_links_may_stay_inside_the_folder_only(tmp_path: Path):
    folder = tmp_path / "sent"
    (folder / "more").mkdir(parents=True)
    (folder / "delivery.yaml").write_text(GOOD)
    (folder / "more" / "real.wav").write_bytes(b"")
    (folder / "side-a.wav").symlink_to("more/real.wav")
    assert read_delivery(folder).audio["A"] == folder / "more" / "real.wav"
    (tmp_path / "link").symlink_to(folder)
    assert read_delivery(tmp_path / "link").audio["A"] == folder / "more" / "real.wav"
    for target in ("../outside.wav", "/dev/null", "more/../../outside.wav"):
        (folder / "side-a.wav").unlink()
        (folder / "side-a.wav").symlink_to(target)
        assert refused(folder).startswith(f'{folder / "delivery.yaml"}:7: "side-a.wav" leads through a link out of')


def test_a_folder_that_leads_outside(tmp_path: Path):
    folder = tmp_path / "sent"
    folder.mkdir()
    (folder / "delivery.yaml").write_text(GOOD)
    (folder / "more").symlink_to(tmp_path)
    assert refused(folder).startswith(f'{folder / "delivery.yaml"}:12: "more/side-b.flac" leads through a link')


def test_a_link_to_itself_is_left_to_the_audio_checks(tmp_path: Path):
    (tmp_path / "delivery.yaml").write_text(GOOD)
    (tmp_path / "side-a.wav").symlink_to("side-a.wav")
    assert set(read_delivery(tmp_path).audio) == {"A", "B"}
