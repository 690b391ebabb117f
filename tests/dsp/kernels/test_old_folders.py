"""Old folders of kernels: removed when a new one is complete, and only those that nothing uses."""

import os
import time

import pytest

from qc.dsp.kernels.cache import KernelCache
from qc.dsp.kernels.old_folders import UNUSED_S

OLD, NEW = "kernels-0123456789abcdef-01234567", "kernels-fedcba9876543210-01234567"


def made(folder, age_s):
    """A folder with a kernel that was used some seconds ago."""
    (folder / "meters_1").mkdir(parents=True)
    (folder / "meters_1" / "a.nbi").write_bytes(b"kernel")
    os.utime(folder, (time.time() - age_s,) * 2)
    return folder


def compile_all(tmp_path):
    with KernelCache(tmp_path / NEW, persistent=True).compiling() as missing:
        assert missing


@pytest.mark.parametrize("name", [OLD, "kernels-0123456789abcdef"])
def test_a_folder_that_was_not_used_for_thirty_days_goes_when_another_is_complete(tmp_path, name):
    folder = made(tmp_path / name, UNUSED_S + 60.0)
    KernelCache(tmp_path / NEW, persistent=True)
    assert folder.exists()
    compile_all(tmp_path)
    assert not folder.exists()


def test_a_folder_that_was_used_since_stays(tmp_path):
    used = made(tmp_path / OLD, UNUSED_S - 3600.0)
    opened = made(tmp_path / "kernels-0123456789abcdef-76543210", 2.0 * UNUSED_S)
    KernelCache(opened, persistent=True)
    compile_all(tmp_path)
    assert (used.exists(), opened.exists()) == (True, True)


def test_what_is_named_otherwise_or_is_a_link_stays(tmp_path):
    other = made(tmp_path / "kernels-of-mine", 2.0 * UNUSED_S)
    target = made(tmp_path / "elsewhere", 2.0 * UNUSED_S)
    (tmp_path / OLD).symlink_to(target)
    os.utime(tmp_path / OLD, (0.0, 0.0), follow_symlinks=False)
    compile_all(tmp_path)
    assert (other.exists(), target.exists(), (tmp_path / OLD).is_symlink()) == (True, True, True)


def test_a_folder_of_another_user_stays(tmp_path, monkeypatch):
    folder = made(tmp_path / OLD, 2.0 * UNUSED_S)
    new = KernelCache(tmp_path / NEW, persistent=True)
    with new.compiling():
        monkeypatch.setattr(os, "geteuid", lambda: folder.stat().st_uid + 1)
    assert folder.exists()
