"""Digests that come beside the audio: every form that common tools write, a mismatch, and lists that are no lists."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from qc.audio.container.digests import digests_of, sha256_of
from qc.delivery import checksum_files as sums
from qc.intake.inspection import Declared, examine

NAME = "side-a.wav"
OTHER = "0" * 64


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "more").mkdir()
    for name in (NAME, f"more/{NAME}"):
        soundfile.write(tmp_path / name, np.full((480, 2), 0.1), 48_000, subtype="PCM_24")
    return tmp_path


def digest(folder, kind="sha256", name=NAME):
    return hashlib.new(kind, (folder / name).read_bytes()).hexdigest()


def examined(folder, name=NAME, **more):
    return examine(Declared(folder / name, name, folder=folder, **more))


FORMS = {
    "sha256sum": ("SHA256SUMS", "sha256", "{hex}  {name}\n"),
    "sha256sum, binary": ("SHA256SUMS", "sha256", "{hex} *{name}\n"),
    "with a folder": ("checksums.sha256", "sha256", "{hex}  ./{name}\n"),
    "BSD": ("SHA256SUMS", "sha256", "SHA256 ({name}) = {hex}\n"),
    "openssl": ("side-a.wav.sha256", "sha256", "SHA2-256({name})= {hex}\n"),
    "capitals, CRLF, a mark": ("side-a.wav.sha256", "sha256", "\ufeff{HEX}  {name}\r\n"),
    "the digest only": ("side-a.wav.sha256", "sha256", "{hex}\n"),
    "beside, without the suffix": ("side-a.sha256", "sha256", "{hex}  {name}\n"),
    "from another folder": ("side-a.wav.sha256", "sha256", "{hex}  D:\\masters\\{name}\n"),
    "comments": ("checksums.md5", "md5", "; made on a Tuesday\n# and\n\n{hex} *{name}\n"),
    "md5sum": ("MD5SUMS", "md5", "{hex}  {name}\n"),
    "md5, BSD": ("side-a.md5", "md5", "MD5 ({name}) = {hex}\n"),
    "md5 beside": ("side-a.wav.md5", "md5", "{hex}  {name}\n"),
    "a BSD line in the other list": ("MD5SUMS", "sha256", "SHA256 ({name}) = {hex}\n"),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_is_read(folder, form):
    place, kind, line = FORMS[form]
    right = digest(folder, kind)
    write = lambda value: (folder / place).write_bytes(  # noqa: E731
        line.format(hex=value, HEX=value.upper(), name=NAME).encode()
    )
    write(right)
    got = examined(folder)
    assert got.faults == ()
    assert got.facts.checked == (f"{kind} of {place}",)
    write(right[::-1])
    (fault,) = examined(folder).faults
    assert (fault.kind, fault.fatal) == ("checksum", True)
    number = line.split("{hex}")[0].split("{HEX}")[0].count("\n") + 1
    said = f"{place} line {number} says {right[::-1][:12]}…"
    assert fault.message == f"{NAME} has {sums.NAMES[kind]} {right[:12]}…, {said}"


def test_utf_16_as_a_shell_writes_it(folder):
    (folder / "SHA256SUMS").write_text(f"{digest(folder)}  {NAME}\r\n", encoding="utf-16")
    assert examined(folder).facts.checked == ("sha256 of SHA256SUMS",)


def test_several_lists_are_all_compared(folder):
    (folder / "SHA256SUMS").write_text(f"{OTHER}  side-b.wav\n{digest(folder)}  {NAME}\n")
    (folder / "side-a.wav.md5").write_text(digest(folder, "md5"))
    got = examined(folder, sha256=digest(folder))
    assert got.faults == ()
    assert got.facts.checked == ("sha256 of the delivery", "md5 of side-a.wav.md5", "sha256 of SHA256SUMS")


def test_a_list_of_the_folder_tells_folders_apart(folder):
    (folder / "SHA256SUMS").write_text(f"{OTHER}  {NAME}\n{digest(folder)}  more/{NAME}\n")
    assert examined(folder, f"more/{NAME}").facts.checked == ("sha256 of SHA256SUMS",)
    assert [fault.kind for fault in examined(folder).faults] == ["checksum"]


def test_letters_composed_or_not(folder):
    name = "zu\u0308ge.wav"
    shutil.copy(folder / NAME, folder / name)
    (folder / "SHA256SUMS").write_text(f"{digest(folder)}  z\u00fcge.wav\n")
    assert examined(folder, name).facts.checked == ("sha256 of SHA256SUMS",)


def test_a_list_about_other_files_says_nothing(folder):
    (folder / "SHA256SUMS").write_text(f"{OTHER}  side-b.wav\n")
    (folder / "side-a.sha256").write_text(f"{OTHER}  side-a.flac\n")
    got = examined(folder)
    assert (got.faults, got.facts.checked) == ((), ())


MALFORMED = {
    "words": ("SHA256SUMS", "here are the sums\n", 'SHA256SUMS line 1: "here are the sums" is no line of a list'),
    "too short": ("SHA256SUMS", f"{'a' * 40}  {NAME}\n", "line 1: it has 40 hex digits, SHA-256 has 64"),
    "the other digest": ("MD5SUMS", f"{'a' * 64}  {NAME}\n", "line 1: it has 64 hex digits, MD5 has 32"),
    "another algorithm": ("SHA256SUMS", f"SHA512 (x) = {'a' * 128}\n", "line 1: SHA512 is not compared"),
    "several": ("SHA256SUMS", "one\ntwo\n", 'line 1: "one" is no line of a list of checksums (and 1 more)'),
    "empty": ("side-a.wav.md5", "\n", "side-a.wav.md5 is empty"),
    "audio": ("side-a.wav.sha256", "RIFF\0\0\0\xff", r'"RIFF\x00\x00\x00ÿ" is no line of a list'),
    "another file's": ("side-a.wav.sha256", f"{OTHER}  side-b.wav\n", "gives no digest of side-a.wav"),
}


@pytest.mark.parametrize("kind", MALFORMED)
def test_a_malformed_list_is_told_and_stops_nothing(folder, kind):
    place, text, message = MALFORMED[kind]
    (folder / place).write_bytes(text.encode("latin-1"))
    got = examined(folder)
    (fault,) = got.faults
    assert (fault.kind, fault.fatal, got.fatal) == ("checksum list", False, None)
    assert message in fault.message


def test_a_line_that_can_be_read_counts_beside_one_that_cannot(folder):
    (folder / "SHA256SUMS").write_text(f"what\n{OTHER}  {NAME}\n")
    assert [fault.kind for fault in examined(folder).faults] == ["checksum", "checksum list"]


def test_places_that_are_no_lists(folder, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "list"
    outside.write_text(f"{OTHER}  {NAME}\n")
    (folder / "SHA256SUMS").symlink_to(outside)
    (folder / "MD5SUMS").mkdir()
    os.mkfifo(folder / "side-a.md5")
    (folder / "side-a.wav.md5").write_bytes(b"0" * (sums.LARGEST + 1))
    (folder / "side-a.wav.sha256").symlink_to("gone")
    said = [fault.message for fault in examined(folder).faults]
    assert said == [
        "side-a.wav.sha256 is not there",
        "side-a.wav.md5 is larger than 1 MiB and was not read",
        "side-a.md5 is not a plain file and was not read",
        "SHA256SUMS leads through a link out of the delivery's folder and was not read",
        "MD5SUMS is a folder and was not read",
    ]
    assert len(sums.places(folder, NAME)) == 5


@pytest.mark.parametrize("tool", ["sha256sum", "md5sum", "sha256sum --tag", "shasum -a 256", "openssl dgst -sha256"])
def test_lists_that_tools_write(folder, tool):
    words = tool.split()
    if shutil.which(words[0]) is None:
        pytest.skip(f"{words[0]} is not on this machine")
    done = subprocess.run([*words, NAME], cwd=folder, check=True, capture_output=True)
    kind = "md5" if "md5" in tool else "sha256"
    (folder / f"{kind.upper()}SUMS").write_bytes(done.stdout)
    got = examined(folder)
    assert (got.faults, got.facts.checked) == ((), (f"{kind} of {kind.upper()}SUMS",))


def test_names_that_sha256sum_escapes(folder):
    name = "side\\a\nb.wav"
    shutil.copy(folder / NAME, folder / name)
    line = f"\\{digest(folder)}  side\\\\a\\nb.wav\n"
    (folder / "side\\a\nb.wav.sha256").write_text(line)
    ((stated,), odd) = sums.stated(folder, name)
    assert (stated.digest, odd) == (digest(folder), ())


@given(st.binary(max_size=300))
def test_no_list_makes_it_stumble(tmp_path_factory, held):
    folder = tmp_path_factory.mktemp("any")
    (folder / "SHA256SUMS").write_bytes(held)
    (folder / "x.wav.md5").write_bytes(held)
    sums.stated(folder, "x.wav")


def test_two_digests_in_one_read(folder):
    path = folder / NAME
    assert digests_of(path, md5=True) == {"sha256": sha256_of(path), "md5": digest(folder, "md5")}
    assert digests_of(path) == {"sha256": sha256_of(path)}
