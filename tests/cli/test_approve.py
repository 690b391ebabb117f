"""`sidegate approve` and the approvals that `check` lists: what they are bound to, what changes, what is refused."""

from __future__ import annotations

import hashlib
import json
import os
import re
from datetime import date
from itertools import pairwise
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from qc.files import atomic_write
from qc.schemas.build import generated
from support.command import DELIVERY, PINNED, RATE, Ran, called, one_sentence, programme

FILE = "approvals.yaml"
SCHEMA = Draft202012Validator(json.loads(generated("approvals")))


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def text_of(bench):
    return (bench.folder / FILE).read_text(encoding="utf-8")


def approved(bench, *words, by="A. Engineer"):
    """Approve the bench's delivery, by which nothing but the file of approvals may change."""
    places = [after for before, after in pairwise(words) if before == "--approvals"]
    with bench.watched(*(places or [FILE])):
        words = ["approve", str(bench.folder), "--by", by, *words]
        code, out, err = called(words, folder=bench.folder, environment=bench.environment)
    return Ran(code, out, err, 0.0)


def listed(bench, *words):
    """The approvals that a check lists in its JSON report."""
    return bench.check(*words).report.get("approvals", [])


def test_an_approval_is_bound_to_the_digests_of_audio_delivery_and_ruleset(bench, shipped):
    bench.deliver()
    ran = approved(bench, "--note", "as agreed on the phone")
    assert ran.code == 0, ran.err
    assert ran.out.decode() == f"approved by A. Engineer on {date.today()}: PASS by disc-12in-33@1.0.0\n"  # noqa: DTZ011
    written = YAML(typ="safe", pure=True).load(text_of(bench))
    (given,) = written["approvals"]
    SCHEMA.validate(json.loads(json.dumps(written, default=str)))
    assert (given["by"], given["on"], given["verdict"], given["title"], given["note"]) == (
        "A. Engineer", date.today(), "pass", "Quiet Harbour", "as agreed on the phone",  # noqa: DTZ011
    )  # fmt: skip
    assert given["delivery"] == digest(bench.folder / "delivery.yaml")
    assert given["ruleset_sha256"] == hashlib.sha256(shipped).hexdigest()
    assert [(side["side"], side["level"], side["audio"]) for side in given["sides"]] == [
        (name.upper(), "0.0 dB", [{"file": f"side-{name}.wav", "sha256": digest(bench.folder / f"side-{name}.wav")}])
        for name in "ab"
    ]


def test_a_check_lists_an_approval_as_part_of_the_delivery_and_comes_to_the_same(bench):
    bench.deliver()
    before = bench.check("--reproducible").report
    assert approved(bench, "--note", "as agreed").code == 0
    ran = bench.check("--reproducible")
    (row,) = ran.report.pop("approvals")
    assert ran.report == before
    assert (row["key"], row["given_in"], row["by"], row["verdict"]) == (
        "approvals.yaml:4", "delivery", "A. Engineer", "pass",
    )  # fmt: skip
    assert (row["changed"], row["not_compared"], row["levels"]) == ([], [], {"A": "0.0 dB", "B": "0.0 dB"})
    screen = " ".join(bench.run("check", bench.folder).out.decode().split())
    assert f"APPROVED on {date.today()} by A. Engineer: PASS by disc-12in-33@1.0.0" in screen  # noqa: DTZ011
    assert "(approvals.yaml:4, which came with the delivery) unchanged since: delivery, audio and ruleset" in screen
    page = bench.output / "page.html"
    assert bench.run("check", bench.folder, "--out", f"html={page}").code == 0
    for words in ("<h3>Approvals</h3>", "A. Engineer", "approvals.yaml:4, which came with the delivery", "as agreed"):
        assert words in page.read_text(encoding="utf-8")


def other_audio(bench):
    import soundfile

    soundfile.write(bench.folder / "side-b.wav", programme(peak=0.23), RATE, subtype="PCM_24")


def other_delivery(bench):
    bench.deliver(PINNED + "# a remark\n", audio=False)


CHANGES = {
    "the audio of side B": (other_audio, ()),
    "the delivery file": (other_delivery, ()),
    "the ruleset": (lambda _: None, ("--ruleset", "disc-12in-33@1.1.0")),
}


@pytest.mark.parametrize(("what", "change"), CHANGES.items(), ids=CHANGES)
def test_a_check_says_what_is_no_longer_as_it_was_approved(bench, what, change):
    bench.deliver()
    assert approved(bench).code == 0
    make, words = change
    make(bench)
    (row,) = listed(bench, *words)
    assert row["changed"] == [what]
    screen = " ".join(bench.run("check", bench.folder, *words).out.decode().split())
    assert "CHANGED on" in screen
    assert f"no longer what was approved is {what}" in screen


def test_a_side_that_is_not_judged_is_named_and_not_taken_for_unchanged(bench):
    bench.deliver()
    assert approved(bench).code == 0
    other_audio(bench)
    (row,) = listed(bench, "--side", "A")
    assert (row["changed"], row["not_compared"]) == ([], ["B"])


def test_earlier_approvals_and_comments_stay_byte_by_byte(bench):
    bench.deliver()
    assert approved(bench).code == 0
    first = text_of(bench) + "# ours until 2030\n"
    (bench.folder / FILE).write_text(first, encoding="utf-8")
    assert approved(bench, "--level", "-6 dB", by="Ł. Müller").code == 0
    assert text_of(bench).startswith(first)
    rows = listed(bench)
    assert [(row["by"], row["level"], row["levels"]["A"]) for row in rows] == [
        ("A. Engineer", None, "0.0 dB"), ("Ł. Müller", "-6 dB", "-6.0 dB"),
    ]  # fmt: skip


@pytest.mark.parametrize("change", [
    lambda text: text.replace("\n", "\r\n"), lambda text: text.rstrip("\n"), lambda text: re.sub(r"(?m)^  ", "", text),
    lambda text: f"\ufeff{text}",
], ids=["lines of another system", "no line end", "another indent", "a byte order mark"])  # fmt: skip
def test_an_approval_is_added_to_a_file_written_in_another_way(bench, change):
    bench.deliver()
    assert approved(bench).code == 0
    before = change(text_of(bench)).encode()
    (bench.folder / FILE).write_bytes(before)
    assert approved(bench, by="B").code == 0
    assert (bench.folder / FILE).read_bytes().startswith(before)
    assert [row["by"] for row in listed(bench)] == ["A. Engineer", "B"]


LOUD = ("--level", "18 dB")


def failing(bench, *words):
    return sorted({row["check"] for row in bench.check(*words).report["results"] if row["outcome"] == "fail"})


def test_what_fails_is_approved_check_by_check_with_a_reason(bench):
    bench.deliver(DELIVERY)
    checks = failing(bench, *LOUD)
    assert len(checks) >= 2
    ran = bench.run("approve", bench.folder, "--by", "A", *LOUD)
    assert (ran.code, ran.out) == (1, b"")
    assert all(check in ran.sentences[-1] for check in checks)
    despite = [word for check in checks for word in ("--despite", check, "--reason", f"meant so: {check}")]
    ran = bench.run("approve", bench.folder, "--by", "A", *LOUD, *despite[4:])  # the first is left out
    assert ran.code == 1
    assert checks[0] in ran.sentences[-1]
    assert checks[1] not in ran.sentences[-1]
    assert not (bench.folder / FILE).exists()
    assert approved(bench, *LOUD, *despite).code == 0
    ran = bench.check(*LOUD)
    assert ran.code == 1  # it is as it was
    (row,) = ran.report["approvals"]
    assert row["verdict"] == "fail"
    assert row["despite"] == [{"check": check, "reason": f"meant so: {check}"} for check in checks]
    screen = bench.run("check", bench.folder, *LOUD).out.decode()
    assert f"despite {checks[0]}: meant so" in " ".join(screen.split())


def test_a_file_that_is_not_what_its_documents_say_is_never_approved(bench):
    text = PINNED.replace("    audio: side-a.wav\n", f"    audio: side-a.wav\n    sha256: {'0' * 64}\n")
    bench.deliver(text)
    (check,) = {row["check"] for row in bench.check().report["results"] if row["outcome"] == "fail"}
    ran = bench.run("approve", bench.folder, "--by", "A", "--despite", check, "--reason", "no")
    assert ran.code == 1
    assert f"{check} failed, and no other result means anything before that is fixed" in ran.sentences[-1]


REFUSED = {
    "needs a reason of its own": ("--despite", "level.clipped"),
    "is named twice": ("--despite", "a", "--despite", "a", "--reason", "x", "--reason", "y"),
    "--by: the text is empty": ("--by", " "),
    "write at most 100": ("--by", "a" * 101),
    "cannot be printed": ("--by", "A\x1b[2J"),
    '--note "a\\u202eb"': ("--note", "a\u202eb"),
    "belongs to the delivery": ("--approvals", "side-a.wav"),
    "the file has no name": ("--approvals", ""),
    "is no level": ("--level", "loud"),
}


@pytest.mark.parametrize(("sentence", "words"), REFUSED.items(), ids=REFUSED)
def test_what_cannot_be_written_down_is_one_sentence(bench, sentence, words):
    bench.deliver()
    assert sentence in one_sentence(bench.run("approve", bench.folder, "--by", "A", *words))


def test_a_check_that_does_not_fail_needs_no_reason(bench):
    bench.deliver()
    ran = bench.run("approve", bench.folder, "--by", "A", "--despite", "level.clipped", "--reason", "x")
    assert (ran.code, ran.out) == (2, b"")
    assert "--despite level.clipped: this check does not fail here; no check fails" in ran.sentences[-1]


DAMAGED = {
    f"{FILE}:6: ": lambda text: text.replace("verdict: pass", "verdict: perhaps"),
    f"{FILE}:1: ": lambda text: text.replace("schema: 1", "schema: 2").partition("\n")[2],
    f"{FILE}:5: ": lambda text: text.replace("    on: ", "    onn: "),
    "larger than 256 KiB": lambda text: text + "# " + "x" * (1 << 18),
    "is not UTF-8": lambda text: text.encode() + b"# \xff\n",
}  # fmt: skip


@pytest.mark.parametrize(("sentence", "damage"), DAMAGED.items(), ids=DAMAGED)
def test_a_damaged_file_is_left_as_it_is_and_named_with_its_line(bench, sentence, damage):
    bench.deliver()
    assert approved(bench).code == 0
    content = damage(text_of(bench))
    (bench.folder / FILE).write_bytes(content if isinstance(content, bytes) else content.encode())
    refused = one_sentence(bench.run("approve", bench.folder, "--by", "B"))
    assert sentence in refused
    # one that came with the delivery stops no check; one that was asked for does
    ran = bench.check()
    assert ran.code == 0
    assert sentence in ran.report["approvals_unread"]
    assert "approvals" not in ran.report
    assert "cannot be read" in bench.run("check", bench.folder).out.decode()
    assert sentence in one_sentence(bench.check("--approvals", bench.folder / FILE))


def test_a_list_that_cannot_be_extended_at_its_end_is_refused(bench):
    bench.deliver()
    (bench.folder / FILE).write_text("schema: 1\napprovals: []\n", encoding="utf-8")
    ran = bench.run("approve", bench.folder, "--by", "B")
    assert ran.code == 2
    assert f"{FILE}:2: an approval cannot be added at the end of this list" in ran.sentences[-1]


def test_a_file_that_would_grow_too_large_is_left_as_it_is(bench):
    bench.deliver()
    assert approved(bench).code == 0
    full = text_of(bench) + "# " + "x" * ((1 << 18) - len(text_of(bench)) - 10) + "\n"
    (bench.folder / FILE).write_text(full, encoding="utf-8")
    ran = bench.run("approve", bench.folder, "--by", "B")
    assert ran.code == 2
    assert "with one more approval it is larger than 256 KiB" in ran.sentences[-1]


def test_a_disk_that_is_full_leaves_the_file_as_it_was(bench, monkeypatch):
    bench.deliver()
    assert approved(bench).code == 0

    def full(_):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(atomic_write, "_to_disk", full)
    ran = bench.run("approve", bench.folder, "--by", "B", "--no-cache")  # the bench sees that nothing is changed
    assert ran.code == 2
    assert "cannot be written: No space left on device" in ran.sentences[-1]


def test_a_file_of_the_house_lists_only_what_is_about_the_delivery(bench):
    bench.deliver()
    ledger = bench.output / "ours.yaml"
    assert approved(bench, "--approvals", str(ledger)).code == 0
    (row,) = bench.run("check", bench.folder, "--approvals", ledger, "--out", f"json={bench.report}").report[
        "approvals"
    ]
    assert (row["given_in"], row["key"]) == ("file", "ours.yaml:4")
    assert not (bench.folder / FILE).exists()
    bench.deliver(PINNED.replace("Quiet Harbour", "Another"), audio=False)
    for name in "ab":
        os.truncate(bench.folder / f"side-{name}.wav", 100)
    again = bench.run("check", bench.folder, "--approvals", ledger, "--out", f"json={bench.report}").report
    assert "approvals" not in again


def test_words_of_a_sender_are_harmless_wherever_they_are_printed(bench):
    bench.deliver()
    assert approved(bench, "--note", "N").code == 0
    bad = text_of(bench).replace('"A. Engineer"', '"<script>x</script>\\e[2J\\u202e"').replace('"N"', '"\\a<b>"')
    (bench.folder / FILE).write_text(bad, encoding="utf-8")
    screen = bench.run("check", bench.folder).out.decode()
    page = bench.output / "page.html"
    assert bench.run("check", bench.folder, "--out", f"html={page}").code == 0
    for text in (screen, page.read_text(encoding="utf-8")):
        assert not set("\x1b\x07\u202e") & set(text)
    assert "<script>x" not in page.read_text(encoding="utf-8")


def test_a_list_of_a_sender_fills_no_screen(bench):
    bench.deliver()
    assert approved(bench).code == 0
    audio = f'audio: [{{file: x, sha256: "{"0" * 64}"}}]'
    sides = "".join(f"      - {{side: X{n}, {audio}}}\n" for n in range(1_000))
    despite = "".join(f"      - {{check: c{n}, reason: r}}\n" for n in range(1_000))
    text = text_of(bench).replace("    sides:\n", f"    despite:\n{despite}    sides:\n{sides}")
    (bench.folder / FILE).write_text(text, encoding="utf-8")
    (row,) = listed(bench)
    assert (len(row["changed"]), len(row["despite"])) == (1_000, 1_000)
    screen = bench.run("check", bench.folder).out.decode()
    assert len(screen.splitlines()) < 100
    assert "and 992 more" in " ".join(screen.split())
    assert "and despite 994 more" in screen


def test_a_link_out_of_the_folder_is_neither_read_nor_written(bench):
    bench.deliver()
    outside = bench.output / "elsewhere.yaml"
    outside.write_text("a secret: of another folder\n", encoding="utf-8")
    (bench.folder / FILE).symlink_to(outside)
    assert "leads through a link out" in one_sentence_but_for_what_is_left(
        bench.run("approve", bench.folder, "--by", "B")
    )
    report = bench.run("check", bench.folder, "--out", f"json={bench.report}").report
    assert "leads through a link out" in report["approvals_unread"]
    assert "secret" not in json.dumps(report)


def one_sentence_but_for_what_is_left(ran):
    assert (ran.code, ran.out, len(ran.sentences)) == (2, b"", 1)
    return ran.sentences[0]


def test_it_is_in_the_way_of_no_checksum_list_and_no_draft(bench):
    bench.deliver()
    sums = "".join(f"{digest(bench.folder / f'side-{name}.wav')}  side-{name}.wav\n" for name in "ab")
    (bench.folder / "SHA256SUMS").write_text(sums, encoding="utf-8")
    before = bench.check("--reproducible").report
    assert approved(bench).code == 0
    after = bench.check("--reproducible").report
    assert {key: value for key, value in after.items() if key != "approvals"} == before
    (bench.folder / "delivery.yaml").unlink()
    assert bench.run("init", bench.folder / "side-a.wav", bench.folder / "side-b.wav").code == 0
    assert (bench.folder / FILE).exists()


def test_no_report_is_written_over_the_approvals(bench):
    bench.deliver()
    assert approved(bench).code == 0
    assert "belongs to the delivery" in one_sentence(bench.run("check", bench.folder, "--out", f"json={FILE}"))
    assert Path(bench.folder / FILE).exists()
