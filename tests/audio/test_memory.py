"""What is let go of is handed back to the system: asked of the kernel, which counts the pages a process has."""

import subprocess
import sys
from pathlib import Path

import pytest

from qc.audio.memory import give_back

KEPT = """
import ctypes, threading
from pathlib import Path
from qc.audio.memory import give_back

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
give_back()
print(before - resident())
"""


def test_it_may_be_called_anywhere_and_again():
    give_back()
    give_back()


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="asks Linux for the pages of a process")
def test_pages_that_a_thread_let_go_of_go_back_to_the_system():
    code = f"import sys; sys.path.insert(0, {str(Path(__file__).parents[2])!r})\n{KEPT}"
    pages = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    assert int(pages) * 4096 > 0.8 * 639 * 100_000


HEAPS = """
import threading
from xml.etree import ElementTree
import ctypes
from qc.audio.memory import few_arenas

few_arenas()
c = ctypes.CDLL(None)
c.malloc.restype = ctypes.c_void_p
together = threading.Barrier(6)

def take():
    together.wait()
    blocks = [c.malloc(1000) for _ in range(1000)]
    together.wait()

threads = [threading.Thread(target=take) for _ in range(6)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
c.fopen.restype = ctypes.c_void_p
import sys
out = c.fopen(sys.argv[1].encode(), b"w")
c.malloc_info(0, ctypes.c_void_p(out))
c.fclose(ctypes.c_void_p(out))
print(len(ElementTree.parse(sys.argv[1]).findall("heap")))
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="asks glibc, which Linux has")
def test_threads_share_two_heaps(tmp_path):
    """Counted by glibc's own malloc_info; without the call it gives each of these threads one."""
    code = f"import sys; sys.path.insert(0, {str(Path(__file__).parents[2])!r})\n{HEAPS}"
    done = [
        subprocess.run([sys.executable, "-c", one, str(tmp_path / "heaps")], check=True, capture_output=True, text=True)
        for one in (code, code.replace("\nfew_arenas()\n", "\n"))
    ]
    assert int(done[0].stdout) <= 2 < int(done[1].stdout)
