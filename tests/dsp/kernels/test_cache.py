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
    [("*.nbc", cut_short), ("*.nbc", one_byte_changed), ("*.nbi", emptied), (cache._RECORD, cut_short)],
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


def test_a_processor_with_other_features_has_a_folder_of_its_own(tmp_path):
    """Machines of one name may have vectors switched off, and may share a home."""
    settings = [{}, {"NUMBA_CPU_FEATURES": "-avx512f"}, {"NUMBA_CPU_NAME": "generic"}, {"NUMBA_ENABLE_AVX": "0"}]
    assert len({run(FOLDER, tmp_path, **setting) for setting in settings}) == len(settings)
    assert run(FOLDER, tmp_path) == run(FOLDER, tmp_path)


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
