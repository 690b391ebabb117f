"""What a stored result depends on: every source that decides what a sample or a number is, in folders however deep."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import qc
from qc.cache.keys import core_sources

PACKAGE = Path(qc.__file__).parent
ASK = "from qc.cache.keys import code_of; print(code_of('qc'))"
ASK_ABOUT_CHANGES = """
import sys
from pathlib import Path
from qc.cache import keys
from qc.dsp.kernels import cache

for source in map(Path, sys.argv[1:]):
    text = source.read_bytes()
    source.write_bytes(text + b"# another version\\n")
    for function in (keys.code_of, keys._core, cache.digest):
        function.cache_clear()
    print(keys.code_of("qc"))
    source.write_bytes(text)
"""


@pytest.fixture(scope="module")
def copy(tmp_path_factory):
    """A copy of the package, and the key of its code."""
    folder = tmp_path_factory.mktemp("copy")
    shutil.copytree(PACKAGE, folder / "qc", ignore=shutil.ignore_patterns("__pycache__"))
    return folder, key(folder)


def key(folder, *words):
    environment = {**os.environ, "PYTHONPATH": str(folder), "SIDEGATE_CACHE": str(folder / "kernels")}
    words = [sys.executable, "-c", *(words or [ASK])]
    return subprocess.run(words, env=environment, check=True, capture_output=True, text=True, cwd=folder).stdout


SOURCES = {
    "audio/container/layout.py": True,
    "audio/container/headers.py": True,
    "audio/decode.py": True,
    "audio/pipeline/process.py": True,
    "dsp/filters/biquad.py": True,
    "dsp/kernels/simd.py": True,
    "groove/signal/programme.py": True,
    "model/cutting_chain.py": True,
    "report/junit.py": False,
    "judge/engine.py": False,
}
"""source -> whether the key changes with it"""


def test_the_key_changes_with_what_makes_numbers_and_with_nothing_else(copy):
    folder, before = copy
    found = key(folder, ASK_ABOUT_CHANGES, *(str(folder / "qc" / source) for source in SOURCES)).split()
    assert [one != before.strip() for one in found] == list(SOURCES.values())
    assert len(set(found) - {before.strip()}) == sum(SOURCES.values())


def test_a_source_that_moves_to_another_folder_changes_the_key(copy):
    folder, before = copy
    here, there = (folder / "qc" / "audio" / name for name in ("steps.py", "container/steps.py"))
    here.write_bytes(b"VALUE = 1\n")
    try:
        added = key(folder)
        here.rename(there)
        assert len({before, added, key(folder)}) == 3
    finally:
        there.unlink(missing_ok=True)
        here.unlink(missing_ok=True)


def test_every_source_of_decoding_and_of_the_pass_is_in_it():
    inside = {path.relative_to(PACKAGE).as_posix() for path in core_sources()}
    everything = {path.relative_to(PACKAGE).as_posix() for path in (PACKAGE / "audio").rglob("*.py")}
    assert everything < inside
