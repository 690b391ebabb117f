"""The note to the client: what it says of a report, in both forms, and what a house's own template may do to it."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from markdown_it import MarkdownIt

import qc_standard
from qc.model.check_docs import CheckWords
from qc.model.errors import UsageError
from qc.model.report import BaselineFacts, LevelThen, TrackFile
from qc.plugin_api import Evidence, Remedy
from qc.report.note.letter import letter
from qc.report.note.renderer import Note
from support.reports import WAIVER, eventful, finding, report, result, side, written

WORDS = {check.id: CheckWords.of(check) for check in qc_standard.qc_checks()}
FAILED = report(
    [side(), side("B")],
    [
        result("groove.cut-too-deep", "fail", *[
            finding("groove.cut-too-deep", "fail", at={"side": name, "track": track, "start_s": second})
            for name, track, second in (("B", 2, 125.2), ("A", 1, 76.9), ("B", 2, 65.0), ("B", 2, 65.4))
        ]),
        result("groove.too-little-land", "warn", finding("groove.too-little-land", "warn")),
        result("groove.drive-too-high", "warn", finding("groove.drive-too-high", "warn")),
    ],
    verdict="fail",
)  # fmt: skip


class Text(HTMLParser):
    """What a reader of a page sees."""

    def __init__(self):
        super().__init__()
        self.seen, self.hidden = [], 0

    def handle_starttag(self, tag, attrs):
        self.hidden += tag == "style"

    def handle_endtag(self, tag):
        self.hidden -= tag == "style"

    def handle_data(self, data):
        if not self.hidden:
            self.seen.append(data)


def words_of(page):
    reader = Text()
    reader.feed(page)
    return " ".join(" ".join(reader.seen).split())


def markdown(one, evidence=None):
    return written(Note(), one, evidence).decode()


def note(one):
    return letter(one, WORDS)


def test_what_must_be_mended_stands_with_its_times_as_a_player_shows_them():
    (thing,) = note(FAILED).mend
    assert thing.name == WORDS["groove.cut-too-deep"].client.name
    assert thing.places == (
        "side A, track 1, “Slack Water”: at 1:16",
        "side B, track 2, “Bell Buoy”: at 1:05 and 2:05",
    )
    assert thing.more == 0


def test_a_warning_is_told_where_the_client_can_do_something():
    assert not WORDS["groove.too-little-land"].client.warns
    assert [thing.name for thing in note(FAILED).weigh] == [WORDS["groove.drive-too-high"].client.name]


def test_what_may_be_mended_is_told_as_far_as_there_is_room():
    checks = (
        "level.clipped",
        "groove.drive-too-high",
        "layout.side-too-long",
        "groove.cut-too-deep",
        "layout.lead-out-room",
    )
    for fails in range(len(checks) + 1):
        outcomes = ["fail"] * fails + ["warn"] * (len(checks) - fails)
        found = [result(check, how, finding(check, how)) for check, how in zip(checks, outcomes, strict=True)]
        told = note(report([side()], found))
        assert (len(told.mend), len(told.weigh)) == (fails, min(5 - fails, max(0, 4 - fails)))


def test_times_of_a_side_in_several_files_are_those_of_the_file():
    files = (TrackFile(track=1, file="b1.wav", start_s=0.0), TrackFile(track=2, file="b2.wav", start_s=60.0))
    one = report([side(files=files)], [result("level.clipped", "fail", finding("level.clipped", "fail"))])
    assert note(one).mend[0].places == ("side A, track 1, “Slack Water”: at 0:16 of b2.wav",)
    assert note(one).received[0].files == "b1.wav and b2.wav"


def test_many_places_are_counted():
    found = [finding("level.clipped", "fail", at={"side": "A", "track": 1, "start_s": float(i)}) for i in range(40)]
    one = report([side()], [result("level.clipped", "fail", *found, findings_omitted=10)])
    (thing,) = note(one).mend
    assert thing.places[0].endswith("at 0:00, 0:01, 0:02, 0:03, 0:04 and 0:05")
    assert thing.more == 44


def test_facts_are_told_in_the_reports_sentence():
    words = {"limit": None, "margin": None, "message": "side-a.wav is not there", "measured": "missing"}
    found = finding("delivery.audio-disagrees", "fail", **words, at={"side": "A", "line": 6})
    one = report([side(measured=False)], [result("delivery.audio-disagrees", "fail", found)])
    assert note(one).mend[0].facts == ("side-a.wav is not there.",)
    assert "We noted: side-a.wav is not there." in markdown(one)
    assert "Side A: side-a.wav, which we could not read" in markdown(one)


def test_what_is_waived_is_no_fault():
    waived = finding("level.clipped", "fail", waived_by=WAIVER.key)
    one = report([side()], [result("level.clipped", "waived", waived)], waivers=(WAIVER,))
    assert note(one).outcome == "good"
    assert WORDS["level.clipped"].client.name not in markdown(one)


def test_what_was_mended_is_thanked_for():
    text = markdown(eventful())
    name = WORDS["hf.sibilance-or-cymbals-too-strong"].client.name
    assert note(eventful(verdict="fail", plugin_failures=())).mended == ()  # it is not judged any more
    gone = finding("groove.cut-too-deep", "fail", at={"side": "B", "track": 1, "start_s": 3.0})
    earlier = BaselineFacts(
        file="x", tool="t", ruleset="r", delivery_sha256="0", new=0, unchanged=0, gone=(gone,)
    )  # fmt: skip
    one = report([side()], [result("groove.cut-too-deep", "pass")], baseline=earlier)
    assert note(one).mended == (f"{WORDS['groove.cut-too-deep'].client.name} (side B, track 1)",)
    assert "## Thank you" in markdown(one)
    assert name not in text
    assert "another level" not in markdown(one)


@pytest.mark.parametrize(("sides", "said"), [("B", "Side B is to be cut"), ("AB", "Sides A and B are to be cut")])
def test_a_lower_level_is_not_thanked_for_without_a_word(sides, said):
    gone = finding("groove.cut-too-deep", "fail", at={"side": "B", "track": 1, "start_s": 3.0})
    earlier = BaselineFacts(
        file="x", tool="t", ruleset="r", delivery_sha256="0", new=0, unchanged=0, gone=(gone,),
        other_levels=tuple(LevelThen(side=one, then=0.0, now=-3.0) for one in sides),
    )  # fmt: skip
    one = report([side()], [result("groove.cut-too-deep", "pass")], baseline=earlier)
    for form in (Note(), Note(html=True)):
        assert f"{said} at another level than last time" in written(form, one).decode()


def test_a_plugin_that_broke_is_no_fault_of_the_clients():
    one = report([side()], [result("groove.cut-too-deep", "error", reason="it broke")], verdict="error")
    text = markdown(one)
    assert "no fault of your files" in text
    assert "Everything is in order" not in text


def test_engineers_get_numbers_and_remedies():
    remedy = Remedy(kind="cut", says="Take 2.0 dB off 5 to 12 kHz.")
    one = report(
        [side()], [result("groove.cut-too-deep", "fail", finding("groove.cut-too-deep", "fail", remedies=(remedy,)))]
    )
    (line,) = note(one).details
    assert line.endswith("130.0 um, above 127.0 um. Take 2.0 dB off 5 to 12 kHz.")


def test_a_check_without_words_for_the_client_falls_back_to_title_and_remedy():
    one = report([side()], [result("house.x", "fail", finding("house.x", "fail", remedy="Ask us."))])
    (thing,) = letter(one, {"house.x": CheckWords("house.x", "A house rule", "Why.", "How.", "Ring us up.")}).mend
    assert (thing.name, thing.means, thing.asks) == ("A house rule", "Why.", "Ring us up.")
    (thing,) = letter(one, {}).mend
    assert (thing.name, thing.asks) == ("house.x", "Ask us.")
    assert "house.x" in markdown(one, Evidence())


@pytest.mark.parametrize("one", [FAILED, eventful(), report([side()], []), report([], [])])
def test_both_forms_say_the_same(one):
    page = words_of(written(Note(html=True), one).decode())
    rendered = words_of(MarkdownIt().render(markdown(one)))
    title = "Quiet Harbour "
    assert re.sub(r"\W+", " ", page.removeprefix(title)) == re.sub(r"\W+", " ", rendered)


def test_it_is_one_page_with_a_handful_of_things():
    checks = ("groove.cut-too-deep", "level.clipped", "groove.drive-too-high", "layout.side-too-long")
    one = report([side(), side("B")], [result(check, "fail", finding(check, "fail")) for check in checks])
    lines = sum(-(-len(line) // 95) or 1 for line in markdown(one).splitlines())
    assert lines <= 85  # an A4 page at 10 points takes some 60 lines of 95 letters and half of these are blank


# -- a house's own ---------------------------------------------------------------------------------------------


def from_template(tmp_path, text, name="house.md", *, to="note.md"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return Note.for_path(tmp_path / to, path)


def test_a_house_writes_its_own(tmp_path):
    own = "Dear all, {{ note.title }}: {% for one in note.mend %}{{ one.name }} {{ one.places[0] }}{% endfor %}\n"
    title = {"title": "*Quiet* <b>"}
    one = FAILED.model_copy(update={"delivery": FAILED.delivery.model_copy(update=title)})
    text = written(from_template(tmp_path, own), one).decode()
    assert text.startswith(r"Dear all, \*Quiet\* \<b\>: Low notes that cut too deep side A")
    text = written(from_template(tmp_path, own, "house.html", to="note.html"), one).decode()
    assert text.startswith("Dear all, *Quiet* &lt;b&gt;: ")


def test_a_house_replaces_one_block_of_the_shipped_one(tmp_path):
    own = '{% extends "sidegate/note.md" %}{% block greeting %}Ahoy!{% endblock %}'
    text = written(from_template(tmp_path, own), FAILED).decode()
    assert "Ahoy!" in text
    assert "Thank you for sending" not in text
    assert "## What happens next" in text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a\nb\n{% for x in note.mend %}\n", r"house\.md:3: .*Jinja was looking for.*; correct the template"),
        ("a\n{{ note.colour }}\n", r"house\.md:2: .*no attribute 'colour'"),
        ("a\n\n{{ nothing }}\n", r"house\.md:3: 'nothing' is undefined"),
        ("{{ note.mend | frobnicate }}", r"house\.md:1: No filter named 'frobnicate'"),
        ("x\n{{ 1 / 0 }}", r"house\.md:2: division by zero"),
        ("{% include 'house.md' %}", r"house\.md: it includes or extends itself"),
        ("{% extends 'gone.md' %}", r"house\.md:1: gone\.md"),
        ("{{ note.__class__.__mro__ }}", r"house\.md:1: access to attribute '__class__' .* is unsafe"),
        ("{% for i in range(10 ** 12) %}{% endfor %}", r"house\.md:1: Range too big"),
        (b"a\n\xff", r"house\.md:2: the byte 0xff at offset 2 is not UTF-8; save the file as UTF-8"),
        (" " * 131_073, r"house\.md: the file is larger than 128 KiB, so it cannot be a note template"),
    ],
)
def test_a_fault_of_a_template_is_one_sentence_with_file_and_line(tmp_path, text, says):
    with pytest.raises(UsageError) as fault:
        from_template(tmp_path, text)
    sentence = str(fault.value)
    assert re.search(says, sentence), sentence
    assert "\n" not in sentence
    assert "qc." not in sentence


def test_a_template_for_the_other_form_is_refused(tmp_path):
    with pytest.raises(UsageError, match="the note is Markdown and this is HTML"):
        from_template(tmp_path, "x", "house.html.j2")
    with pytest.raises(UsageError, match=r"none\.md: there is no such file; check the name of the note template"):
        Note.for_path(None, tmp_path / "none.md")
