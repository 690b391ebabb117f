"""Arrays where they should lie, and memory that is given back."""

import gc
import mmap
import resource

import numpy as np
import pytest

from qc.audio.buffers import Buffers
from qc.dsp.kernels.aligned import LARGE, LINE, PAGE, blank, room


def address(array):
    return array.__array_interface__["data"][0]


@pytest.mark.parametrize("dtype", [np.float64, np.float32])
@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (4, 1376), (15, 1371), (2, 200_000)])
def test_every_row_begins_a_cache_line(rows, columns, dtype):
    made = room(rows, columns, dtype)
    assert made.dtype == dtype
    assert made.shape[0] == rows
    assert columns <= made.shape[1] < columns + LINE
    assert made.flags.c_contiguous
    assert all(address(row) % LINE == 0 for row in made)
    assert not made.any()


@pytest.mark.skipif(not hasattr(mmap, "MADV_HUGEPAGE"), reason="this system has no large pages")
@pytest.mark.parametrize("octets", [LARGE, PAGE, PAGE + 8, 2 * PAGE])
def test_large_arrays_begin_a_large_page(octets):
    made = blank((octets // 8,), np.float64)
    assert address(made) % PAGE == 0
    made[:] = 1.0
    assert made.sum() == octets // 8


def test_small_arrays_and_systems_without_large_pages(monkeypatch):
    assert blank((2, 5), np.int32).shape == (2, 5)
    monkeypatch.delattr(mmap, "MADV_HUGEPAGE", raising=False)
    made = blank((2, PAGE), np.float64)
    made[:] = 2.0
    assert made.flags.owndata


def test_memory_that_cannot_be_had_that_way_is_had_the_usual_way(monkeypatch):
    def refused(*_: object) -> None:
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(mmap, "mmap", refused)
    assert blank((PAGE,), np.uint8).flags.owndata


def test_large_arrays_go_when_nobody_holds_them():
    """At once, and not only when Python next looks for rings."""
    gc.collect()
    gc.disable()
    try:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        for _ in range(100):
            blank((PAGE,), np.uint8)[:] = 1
            room(2, PAGE // 16)[:] = 1
        assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 40 * 1024  # KiB; 400 MiB were touched
    finally:
        gc.enable()


def test_a_large_buffer_of_which_a_part_is_held_is_not_given_again():
    buffers = Buffers((2, PAGE // 16), np.float64, 3)
    first = buffers.take()[:]
    first[:] = 1.0
    part = first[1, 5:9]
    del first
    other = buffers.take()[:]
    other[:] = 2.0
    assert part.tolist() == [1.0] * 4
    place = address(other)
    del other
    assert address(buffers.take()) == place
