"""Files and folders are written whole or not at all, on the disk before they have their name, and never half there."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from qc.files import atomic_write
from qc.files.atomic_write import put_file, put_folder, settle, unfinished_folder, write_file
from qc.model.errors import OutputError

posix = pytest.mark.skipif(os.name != "posix", reason="needs modes of files")


def failing(number):
    """A call that fails as the system does."""

    def fail(*_words, **_more):
        raise OSError(number, os.strerror(number))

    return fail


def half(out):
    """Fill half a file, and then the disk is full."""
    out.write(b"half")
    failing(errno.ENOSPC)()


@pytest.fixture
def older(tmp_path):
    path = tmp_path / "report.json"
    path.write_bytes(b"older")
    return path


def is_as_before(older):
    return older.read_bytes() == b"older" and list(older.parent.iterdir()) == [older]


def test_a_file_takes_the_place_of_the_older_one(older):
    put_file(older, b"newer", "report.json")
    assert older.read_bytes() == b"newer"
    assert list(older.parent.iterdir()) == [older]


def test_a_disk_that_fills_up_leaves_the_older_file_whole_and_nothing_else(older):
    with pytest.raises(
        OutputError, match=r"report\.json cannot be written: No space left on device; name another place"
    ):
        put_file(older, half, "report.json")
    assert is_as_before(older)


@pytest.mark.parametrize("call", ["fsync", "replace", "chmod"])
def test_a_failure_after_the_last_byte_leaves_the_older_file_whole_too(older, monkeypatch, call):
    monkeypatch.setattr(*(os, "fsync") if call == "fsync" else (Path, call), failing(errno.EIO))
    with pytest.raises(OSError, match="Input/output error"):
        write_file(older, b"newer")
    assert is_as_before(older)


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_whatever_is_raised_while_it_is_filled_leaves_the_older_file_whole(older, error):
    def fill(out):
        out.write(b"half")
        raise error

    with pytest.raises(error):
        put_file(older, fill, "report.json")
    assert is_as_before(older)


def test_with_fresh_no_file_is_written_over(older):
    with pytest.raises(OutputError, match="File exists"):
        put_file(older, b"newer", "report.json", fresh=True)
    assert is_as_before(older)


@pytest.fixture
def calls(monkeypatch):
    """The calls that flush and rename, in their order, as they are made."""
    made = []
    for owner, name in ((os, "fsync"), (Path, "replace"), (Path, "rename")):
        call = getattr(owner, name)
        monkeypatch.setattr(owner, name, lambda *words, name=name, call=call: made.append(name) or call(*words))
    return made


def test_a_file_is_on_the_disk_before_it_has_its_name(tmp_path, calls):
    put_file(tmp_path / "report.json", b"content", "report.json")
    assert calls == ["fsync", "replace"]


def test_all_files_of_a_folder_are_on_the_disk_before_it_has_its_name(tmp_path, calls):
    def fill(folder):
        (folder / "side").mkdir()
        (folder / "side" / "a.svg").write_bytes(b"a")
        (folder / "b.svg").write_bytes(b"b")

    put_folder(tmp_path / "pictures", fill, "pictures")
    assert calls == ["fsync", "fsync", "fsync", "replace"]  # both, and the list of what the folder holds


def test_a_file_system_that_cannot_flush_is_written_all_the_same(older, monkeypatch):
    monkeypatch.setattr(os, "fsync", failing(errno.EINVAL))
    put_file(older, b"newer", "report.json")
    assert older.read_bytes() == b"newer"


@posix
@pytest.mark.parametrize(("mask", "file", "folder"), [(0o022, 0o644, 0o755), (0o077, 0o600, 0o700), (0, 0o666, 0o777)])
def test_permissions_are_those_that_the_umask_leaves(tmp_path, mask, file, folder):
    before = os.umask(mask)
    try:
        put_file(tmp_path / "file", b"", "file")
        write_file(tmp_path / "private", b"", mode=0o600)
        put_folder(tmp_path / "folder", lambda _: None, "folder")
    finally:
        os.umask(before)
    modes = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("file", "private", "folder")]
    assert modes == [file, 0o600, folder]


@posix
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_a_file_that_is_written_again_keeps_its_permissions(older, mode):
    older.chmod(mode)
    put_file(older, b"newer", "report.json")
    assert stat.S_IMODE(older.stat().st_mode) == mode
    write_file(older, b"newest", mode=0o600)
    assert stat.S_IMODE(older.stat().st_mode) == 0o600


@posix
@pytest.mark.parametrize("status", [atomic_write.STATUS, Path("no such file")])
def test_the_umask_is_not_set_while_a_file_is_written(tmp_path, monkeypatch, status):
    umask = os.umask(0o077)
    os.umask(umask)
    monkeypatch.setattr(atomic_write, "STATUS", status)
    monkeypatch.setattr(os, "umask", failing(errno.EPERM))
    put_file(tmp_path / "file", b"", "file")
    assert stat.S_IMODE((tmp_path / "file").stat().st_mode) == 0o666 & ~umask


def test_a_folder_that_is_not_finished_is_deleted(tmp_path):
    def fill(folder):
        (folder / "inside").mkdir()
        (folder / "inside" / "half").write_bytes(b"half")
        raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"), unfinished_folder(tmp_path) as folder:
        fill(folder)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_renamed_stays(tmp_path):
    with unfinished_folder(tmp_path) as folder:
        (folder / "whole").write_bytes(b"whole")
        settle(folder)
        folder.rename(tmp_path / "demo")
    assert [path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")] == ["demo", "demo/whole"]


def test_a_folder_that_cannot_be_flushed_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", failing(errno.EIO))
    with pytest.raises(OutputError, match="Input/output error"):
        put_folder(tmp_path / "pictures", lambda _: None, "pictures")
    assert list(tmp_path.iterdir()) == []


def test_names_of_what_is_being_written_begin_alike(tmp_path):
    names = []
    write_file(tmp_path / "file", lambda _: names.extend(path.name for path in tmp_path.iterdir()))
    with unfinished_folder(tmp_path) as folder:
        names.append(folder.name)
    assert all(name.startswith(atomic_write.UNFINISHED) for name in names)
    assert len(names) == 2
