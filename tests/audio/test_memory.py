"""What is let go of is handed back to the system: asked of the kernel, which counts the pages a process has."""

import subprocess
import sys
from pathlib import Path

import pytest

from qc.audio.memory import release_memory

KEPT = """
import ctypes, threading
from pathlib import Path
from qc.audio.memory import release_memory

def resident():
    return int(Path("/proc/self/statm").read_text().split()[1])

def fill():  # blocks too small for the C library to map them one by one, let go of behind one that stays
    c = ctypes.CDLL(None)
    c.malloc.restype = ctypes.c_void_p
    blocks = [c.malloc(100_000) for _ in range(640)]
    for block in blocks:
        ctypes.memset(block, 1, 100_000)
    for block in blocks[:-1]:
        c.free(ctypes.c_void_p(block))

thread = threading.Thread(target=fill)
thread.start()
thread.join()
before = resident()
release_memory()
print(before - resident())
"""


def test_it_may_be_called_anywhere_and_again():
    release_memory()
    release_memory()


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="asks Linux for the pages of a process")
def test_pages_that_a_thread_let_go_of_go_back_to_the_system():
    code = f"import sys; sys.path.insert(0, {str(Path(__file__).parents[2])!r})\n{KEPT}"
    pages = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert int(pages) * 4096 > 0.8 * 639 * 100_000
