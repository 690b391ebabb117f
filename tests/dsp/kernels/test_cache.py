"""The folder of compiled kernels: what is damaged is never run, and several first runs compile once."""

import os
import shutil
import subprocess
import sys
import threading

import pytest

from qc.dsp.kernels import cache, target
from qc.dsp.kernels.cache import KernelCache

USE = """
import numpy as np
from qc.dsp.samples.usable import first_unusable
x = np.zeros((2, 50)); x[1, 30] = np.nan
assert first_unusable(x, 1.0) == 30
print(sum(first_unusable.stats.cache_misses.values()))
"""


def run(code, folder, **more):
    plain = {name: value for name, value in os.environ.items() if name not in target.COMPILER_VARIABLES}
    env = {**plain, "SIDEGATE_CACHE": str(folder), **more}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.strip()


def files(folder, pattern):
    return list(folder.rglob(pattern))


# -- damage ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    """A folder with one compiled kernel."""
    folder = tmp_path_factory.mktemp("stored")
    assert run(USE, folder) == "1"
    assert run(USE, folder) == "0"
    return folder


def cut_short(path):
    path.write_bytes(path.read_bytes()[:-100])


def emptied(path):
    path.write_bytes(b"")


def one_byte_changed(path):
    octets = bytearray(path.read_bytes())
    octets[len(octets) // 2] ^= 1
    path.write_bytes(octets)


@pytest.mark.parametrize(
    ("pattern", "damage"),
    [
        ("*.nbc", one_byte_changed),
        pytest.param("*.nbc", cut_short, marks=pytest.mark.long),
        pytest.param("*.nbi", emptied, marks=pytest.mark.long),
        pytest.param(cache._RECORD, cut_short, marks=pytest.mark.long),
    ],
)
def test_a_damaged_kernel_is_compiled_again(stored, tmp_path, pattern, damage):
    folder = tmp_path / "copy"
    shutil.copytree(stored, folder)
    (path,) = files(folder, pattern)
    damage(path)
    assert run(USE, folder) == "1"


@pytest.fixture
def folder(tmp_path):
    """A folder with two files that are recorded, as numba lays them out."""
    found = KernelCache(tmp_path / "kernels", persistent=True)
    (found.folder / "meters_1").mkdir()
    for name in ("a.nbi", "a.1.nbc"):
        (found.folder / "meters_1" / name).write_bytes(name.encode())
    found.record()
    return found.folder


def names(folder):
    return sorted(path.name for path in (folder / "meters_1").iterdir())


def test_recorded_files_stay_and_others_go(folder):
    (folder / "meters_1" / "b.nbi").write_bytes(b"of a process that was killed")
    (folder / "meters_1" / "b.nbi.tmp.123").write_bytes(b"being written by another process")
    (folder / "meters_1" / "a.1.nbc").write_bytes(b"changed")
    KernelCache(folder, persistent=True)
    assert names(folder) == ["a.nbi", "b.nbi.tmp.123"]


def test_files_without_a_record_go_unless_another_process_is_compiling(folder):
    (folder / cache._RECORD).unlink()
    with KernelCache(folder, persistent=True).compiling() as missing:
        assert missing
        (folder / "meters_1" / "c.nbi").write_bytes(b"just compiled")
        KernelCache(folder, persistent=True)
        assert names(folder) == ["c.nbi"]
    assert KernelCache(folder, persistent=True).complete
    assert names(folder) == ["c.nbi"]


# -- trust -----------------------------------------------------------------------------------------------------


def test_folders_are_closed_to_others(folder):
    (folder / "meters_1").chmod(0o775)
    KernelCache(folder, persistent=True)
    assert [path.stat().st_mode & 0o777 for path in (folder, folder / "meters_1")] == [0o700, 0o700]


def open_to_others(folder, tmp_path):
    folder.chmod(0o777)


def with_an_open_folder_in_it(folder, tmp_path):
    folder.chmod(0o755)
    (folder / "meters_1").chmod(0o777)


def linked(folder, tmp_path):
    folder.rename(tmp_path / "elsewhere")
    folder.symlink_to(tmp_path / "elsewhere")


@pytest.mark.parametrize("change", [open_to_others, with_an_open_folder_in_it, linked])
def test_a_folder_that_others_may_have_filled_is_not_used(folder, tmp_path, change):
    change(folder, tmp_path)
    with pytest.raises(PermissionError):
        KernelCache(folder, persistent=True)


def test_a_folder_of_another_user_is_not_used(folder, monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: folder.stat().st_uid + 1)
    with pytest.raises(PermissionError, match="not this user's own"):
        KernelCache(folder, persistent=True)


def test_links_and_pipes_go_and_nothing_waits_for_them(folder, tmp_path):
    shutil.copytree(folder / "meters_1", tmp_path / "sent")
    (tmp_path / "sent" / "link").symlink_to("a.nbi")
    (folder / "meters_2").symlink_to(tmp_path / "sent")
    (folder / "meters_1" / "a.nbi").unlink()
    (folder / "meters_1" / "a.nbi").symlink_to(tmp_path / "sent" / "a.nbi")
    os.mkfifo(folder / "meters_1" / "b.nbi")
    (folder / cache._RECORD).unlink()
    os.mkfifo(folder / cache._RECORD)
    found = KernelCache(folder, persistent=True)
    assert (found.complete, names(folder)) == (False, [])
    assert not os.path.lexists(folder / "meters_2")
    assert {path.name for path in (tmp_path / "sent").iterdir()} == {"a.nbi", "a.1.nbc", "link"}


def test_a_file_that_is_too_large_is_removed(folder, monkeypatch):
    monkeypatch.setattr(cache, "LARGEST", 1 << 10)
    with (folder / "meters_1" / "a.nbi").open("ab") as file:
        file.truncate(1 << 40)
    KernelCache(folder, persistent=True)
    assert names(folder) == ["a.1.nbc"]


@pytest.mark.parametrize("variable", ["SIDEGATE_CACHE", "XDG_CACHE_HOME"])
def test_a_relative_folder_is_not_used(tmp_path, monkeypatch, variable):
    for name in ("SIDEGATE_CACHE", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv(variable, "kernels")
    assert cache._root() == tmp_path / ".cache"


def test_a_record_that_cannot_be_written_leaves_the_older_one_and_nothing_else(folder, monkeypatch):
    before = (folder / cache._RECORD).read_bytes()
    found = KernelCache(folder, persistent=True)
    (folder / "meters_1" / "c.nbi").write_bytes(b"new")
    there = set(folder.iterdir())

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    found.record()
    assert (folder / cache._RECORD).read_bytes() == before
    assert set(folder.iterdir()) == there


@pytest.mark.long
def test_what_was_compiled_is_recorded_though_the_process_leaves_a_plugin_behind(tmp_path):
    leaves = (
        "import qc.plugin_host.runner as runner; from qc.cli import main\n"
        "runner.unfinished = lambda: True; sys.stdout.flush(); main._leave(0, main._End())\n"
    )
    assert run(f"import sys\n{USE}{leaves}", tmp_path) == "1"
    assert run(USE, tmp_path) == "0"


# -- several processes -----------------------------------------------------------------------------------------


def test_several_first_runs_compile_once(folder, capsys):
    first, second = (KernelCache(folder, persistent=True) for _ in range(2))
    compiled = []

    def wait():
        with second.compiling() as missing:
            compiled.append(missing)

    with first.compiling() as missing:
        assert missing
        other = threading.Thread(target=wait)
        other.start()
        other.join(0.3)
        assert other.is_alive()
    other.join(10.0)
    assert compiled == [False]
    said = capsys.readouterr().err
    assert said.count("compiling its measuring code for this machine, once") == 1
    assert said.count("another run is compiling the measuring code for this machine; waiting for it") == 1


def test_of_two_processes_kernels_the_missing_ones_are_taken_over_whole(folder, tmp_path):
    """A name with brackets, as numba gives methods, is no pattern; what is there already stays as it is."""
    other = tmp_path / "other" / "sidegate" / cache.folder_name()
    ours = KernelCache(folder, persistent=True)
    for place, mark in ((folder, b"ours"), (other, b"theirs")):
        (place / "room_1").mkdir(parents=True)
        for name in ("both-7.py311.nbi", "both-7.py311.1.nbc"):
            (place / "room_1" / name).write_bytes(mark)
    (other / "room_1" / "both-7.py311.2.nbc").write_bytes(b"theirs")
    for name in ("new[a]-7.py311.nbi", "new[a]-7.py311.1.nbc", "new[a]-7.py311.2.nbc"):
        (other / "room_1" / name).write_bytes(b"theirs")
    ours.adopt(tmp_path / "other")
    found = {path.name: path.read_bytes() for path in (folder / "room_1").iterdir()}
    assert found == {
        "both-7.py311.nbi": b"ours", "both-7.py311.1.nbc": b"ours", "new[a]-7.py311.nbi": b"theirs",
        "new[a]-7.py311.1.nbc": b"theirs", "new[a]-7.py311.2.nbc": b"theirs",
    }  # fmt: skip


def test_a_run_that_has_waited_long_enough_compiles_by_itself(folder, monkeypatch):
    monkeypatch.setattr(cache, "WAIT_S", 0.1)
    first, second = (KernelCache(folder, persistent=True) for _ in range(2))
    with first.compiling(), second.compiling() as missing:
        assert missing


def test_a_run_that_is_interrupted_leaves_the_folder_incomplete(folder):
    with pytest.raises(KeyboardInterrupt), KernelCache(folder, persistent=True).compiling():
        raise KeyboardInterrupt
    with KernelCache(folder, persistent=True).compiling() as missing:
        assert missing


def test_files_of_a_process_that_is_compiling_stay_though_some_are_recorded(folder):
    with KernelCache(folder, persistent=True).compiling() as missing:
        assert missing
        (folder / "meters_1" / "c.nbi").write_bytes(b"just compiled")
        KernelCache(folder, persistent=True)
        assert names(folder) == ["a.1.nbc", "a.nbi", "c.nbi"]


def test_a_process_that_ends_late_leaves_the_mark_of_another(folder):
    late = KernelCache(folder, persistent=True)
    with KernelCache(folder, persistent=True).compiling():
        pass
    (folder / "meters_1" / "c.nbi").write_bytes(b"of the late process")
    late.record()
    assert KernelCache(folder, persistent=True).complete


# -- which folder ----------------------------------------------------------------------------------------------

FOLDER = "from qc.dsp.kernels.cache import opened; print(opened().persistent, opened().folder)"


def test_without_a_folder_that_can_be_written_kernels_go_away_with_the_process(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    persistent, folder = run(FOLDER, blocked).split(maxsplit=1)
    assert persistent == "False"
    assert not os.path.exists(folder)  # noqa: PTH110 - as it was printed
    assert run(USE, blocked) == "1"


def test_a_full_disk_is_not_filled_further(tmp_path, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(1 << 30, 1 << 30, cache.SPACE - 1))
    with pytest.raises(OSError, match="too little space"):
        KernelCache(tmp_path / "kernels", persistent=True)


@pytest.fixture
def complete(folder):
    """The folder, marked as complete."""
    KernelCache(folder, persistent=True).record(complete=True)
    return folder


@pytest.fixture
def full(monkeypatch):
    """Disks with too little space, all of them."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(1 << 30, 1 << 30, cache.SPACE - 1))


def test_kernels_of_a_complete_folder_on_a_full_disk_are_copied(complete, full):
    with pytest.raises(OSError, match="too little space"):
        KernelCache(complete, persistent=True)
    copy = cache._passing(complete)
    assert (copy.complete, copy.persistent, names(copy.folder)) == (True, False, names(complete))
    copy.close()
    assert not copy.folder.exists()
    assert names(complete) == ["a.1.nbc", "a.nbi"]


def test_a_changed_kernel_is_not_copied(complete, full):
    (complete / "meters_1" / "a.1.nbc").write_bytes(b"changed")
    copy = cache._passing(complete)
    assert names(copy.folder) == ["a.nbi"]
    copy.close()


def test_kernels_are_not_copied_from_a_folder_that_others_may_write(complete, full):
    (complete / "meters_1").chmod(0o777)
    complete.chmod(0o755)
    copy = cache._passing(complete)
    assert (copy.complete, list(copy.folder.iterdir())) == (False, [])
    copy.close()


def test_kernels_of_an_incomplete_folder_are_not_copied(folder, full):
    copy = cache._passing(folder)
    assert (copy.complete, copy.persistent, list(copy.folder.iterdir())) == (False, False, [])
    copy.close()


def test_where_no_copy_can_be_written_the_complete_folder_itself_is_used(complete, full, monkeypatch, tmp_path):
    monkeypatch.setattr(cache.tempfile, "mkdtemp", lambda prefix: str(tmp_path / prefix))

    def no_space(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(cache.Path, "write_bytes", no_space)
    found = cache._passing(complete)
    assert (found.folder, found.persistent) == (complete, True)
    assert {path.name for path in tmp_path.iterdir()} == {"kernels"}


def test_a_processor_with_other_features_has_a_folder_of_its_own(tmp_path):
    """Machines of one name may have vectors switched off, and may share a home."""
    settings = [{}, {"NUMBA_CPU_FEATURES": "-avx512f"}, {"NUMBA_CPU_NAME": "generic"}, {"NUMBA_ENABLE_AVX": "0"}]
    assert len({run(FOLDER, tmp_path, **setting) for setting in settings}) == len(settings)
    assert run(FOLDER, tmp_path) == run(FOLDER, tmp_path)


def test_another_python_or_installation_has_a_folder_of_its_own_but_the_same_digest(monkeypatch, tmp_path):
    folder, digest = cache.folder_name(), cache.digest()
    package = tmp_path / "qc"
    for name in ("dsp", "groove"):
        shutil.copytree(cache._PACKAGE / name, package / name)
    monkeypatch.setattr(cache, "_PACKAGE", package)
    elsewhere = cache.folder_name()
    os.utime(package / "dsp" / "__init__.py", (2e9, 2e9))
    later = cache.folder_name()
    monkeypatch.setattr(sys.implementation, "cache_tag", "cpython-999")
    assert len({folder, elsewhere, later, cache.folder_name()}) == 4
    assert cache.digest.__wrapped__() == digest


@pytest.mark.long
def test_kernels_of_one_name_in_two_files_are_two(tmp_path):
    """As two plugins may have; each is compiled by itself."""
    code = "from {0}.usable import first; print(first(3))"
    for package, value in (("one", 7), ("other", 8)):
        (tmp_path / package).mkdir()
        (tmp_path / package / "usable.py").write_text(
            f"from qc.dsp.kernels.compile import kernel\n\n\n@kernel\ndef first(x):\n    return x + {value}\n"
        )
    for package, expected in (("one", "10"), ("other", "11"), ("one", "10")):
        assert run(code.format(package), tmp_path / "cache", PYTHONPATH=str(tmp_path)) == expected
