"""Files of others are read within bounds: plain ones only, never larger than allowed, each fault one sentence."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import pytest

from qc.files import bounded_read
from qc.files.bounded_read import UnreadableFileError, decoded, open_plain, read_bytes, read_text

LIMIT = 256 << 10
needs_fifo = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a FIFO")


def refused(read, *words, **more):
    with pytest.raises(UnreadableFileError) as fault:
        read(*words, **more)
    return fault.value


def test_a_file_at_the_limit_is_read_and_one_byte_more_is_refused(tmp_path):
    path = tmp_path / "sheet.cue"
    path.write_bytes(b"x" * LIMIT)
    assert read_bytes(path, LIMIT) == b"x" * LIMIT
    path.write_bytes(b"x" * (LIMIT + 1))
    fault = refused(read_bytes, path, LIMIT)
    assert str(fault) == "is larger than 256 KiB"
    assert fault.sentence("CUE sheet") == (
        "the file is larger than 256 KiB, so it cannot be a CUE sheet; name another file"
    )


@pytest.mark.parametrize(("limit", "name"), [(100, "100 bytes"), (1 << 10, "1 KiB"), (64 << 20, "64 MiB")])
def test_limits_are_named_in_their_unit(tmp_path, limit, name):
    path = tmp_path / "large"
    with path.open("wb") as out:
        out.truncate(limit + 1)
    assert str(refused(read_bytes, path, limit)) == f"is larger than {name}"


def test_a_huge_file_takes_no_memory(tmp_path):
    path = tmp_path / "huge"
    with path.open("wb") as out:
        out.truncate(2**40)
    tracemalloc.start()
    refused(read_bytes, path, LIMIT)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2 * LIMIT


def test_what_is_not_there_and_folders_say_so(tmp_path):
    (tmp_path / "dangling").symlink_to("gone")
    for name in ("gone", "dangling"):
        fault = refused(read_bytes, tmp_path / name, LIMIT)
        assert (fault.fault, str(fault)) == ("missing", "is not there")
        assert fault.sentence("ruleset") == "there is no such file; check the name of the ruleset"
    fault = refused(read_bytes, tmp_path, LIMIT)
    assert (fault.fault, str(fault)) == ("folder", "is a folder")
    assert fault.sentence("ruleset", "YAML file") == "this is a folder, not a ruleset; name the YAML file itself"


@needs_fifo
def test_pipes_and_devices_are_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", Path("/dev/zero")):
        fault = refused(read_bytes, path, LIMIT)
        assert (fault.fault, str(fault)) == ("special", "is not a plain file")


@needs_fifo
def test_a_pipe_that_takes_the_place_of_a_file_meanwhile_is_not_waited_for(tmp_path, monkeypatch):
    path = tmp_path / "list"
    path.write_bytes(b"plain")
    looked = Path.stat

    def then_replaced(self, **more):
        found = looked(self, **more)
        self.unlink()
        os.mkfifo(self)
        return found

    monkeypatch.setattr(Path, "stat", then_replaced)
    assert refused(open_plain, path).fault == "special"


def test_links_are_followed_unless_they_are_refused(tmp_path):
    (tmp_path / "real").write_bytes(b"content")
    (tmp_path / "link").symlink_to("real")
    assert read_bytes(tmp_path / "link", LIMIT) == b"content"
    assert refused(read_bytes, tmp_path / "link", LIMIT, follow=False).fault == "link"
    (tmp_path / "circle").symlink_to("circle")
    assert refused(read_bytes, tmp_path / "circle", LIMIT).fault == "link"


def test_names_that_no_file_can_have_are_a_sentence(tmp_path):
    for path in (tmp_path / ("x" * 300), tmp_path / "nul\0"):
        fault = refused(read_bytes, path, LIMIT)
        assert fault.fault == "unreadable"
        assert fault.sentence("ruleset").startswith("the ruleset cannot be read (")
        assert fault.sentence("ruleset").endswith("); check its name and who may read it")


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "growing"
    path.write_bytes(b"half")
    with open_plain(path) as file:
        state = os.fstat(file.fileno())
        path.write_bytes(b"half and the rest")
        monkeypatch.setattr(bounded_read.os, "fstat", lambda _: state)
        assert refused(bounded_read.read_open, file, LIMIT).fault == "changing"


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_text_is_read_with_and_without_a_byte_order_mark(tmp_path, mark):
    path = tmp_path / "text"
    path.write_bytes(mark + "Größe\r\n".encode())
    assert read_text(path, LIMIT) == "Größe\r\n"


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_text_in_another_coding_is_refused_with_its_line(end):
    fault = refused(decoded, b"a" + end + b"b" + end + b"caf\xe9")
    assert (fault.fault, fault.line) == ("encoding", 3)
    assert fault.sentence("ruleset") == (
        f"the byte 0xe9 at offset {5 + 2 * len(end)} is not UTF-8; save the file as UTF-8"
    )
