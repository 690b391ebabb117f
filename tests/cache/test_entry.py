"""A file of the store: read only if it is whole and what was requested, however it was changed or forged."""

from __future__ import annotations

import hashlib
import io
import os
import tracemalloc

import msgspec
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from qc.cache import entry
from qc.cache.codec import NotStorableError
from qc.cache.entry import DamagedError

KIND = tuple[float, NDArray[np.float64], NDArray[np.int16]]
DAY = "2026-11-30"
VALUE = (0.1, np.linspace(0.0, 1.0, 1001).reshape(7, 143), np.arange(5, dtype=np.int16))


@pytest.fixture
def place(tmp_path):
    entry.write(tmp_path / "one", "key", KIND, VALUE, DAY)
    return tmp_path / "one"


def forged(place, header, rest=b"", *, length=None):
    """A file whose checksum fits, whatever is in it."""
    text = header if isinstance(header, bytes) else msgspec.msgpack.encode(header)
    octets = (len(text) if length is None else length).to_bytes(8, "little") + text + rest
    place.write_bytes(entry.MARK + hashlib.sha256(octets).digest() + octets)


def test_what_was_written_is_read(place):
    number, grid, few = entry.read(place, "key", KIND).value
    assert entry.read(place, "key", KIND).day == DAY
    assert number == VALUE[0]
    assert np.array_equal(grid, VALUE[1])
    assert np.array_equal(few, VALUE[2])
    assert grid.flags.aligned
    for array in (grid, few):
        with pytest.raises(ValueError, match=r"read-only|WRITEABLE"):
            array.flags.writeable = True
    assert list(place.parent.iterdir()) == [place]


def test_the_checksum_is_sha256_of_all_that_follows(place):
    octets = place.read_bytes()
    assert octets[16:48] == hashlib.sha256(octets[48:]).digest()


def test_another_key_is_another_entry(place):
    with pytest.raises(DamagedError):
        entry.read(place, "another", KIND)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.data())
def test_a_file_that_is_cut_off_or_changed_anywhere_is_damaged(place, data):
    whole = place.read_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(0, 8))
    place.write_bytes(whole[:at] if bit == 8 else whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :])
    try:
        with pytest.raises(DamagedError):
            entry.read(place, "key", KIND)
    finally:
        place.write_bytes(whole)


HUGE = 2**62


def npy(header, data=b""):
    """An array file of a header that states anything."""
    text = (header if isinstance(header, str) else repr(header)).encode()
    return b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text + data


def grid(shape, kind="<f8", data=b"", **more):
    return npy({"descr": kind, "fortran_order": False, "shape": shape, **more}, data)


def header(value=0, day="2026-11-30", key="key"):
    return [key, day, value]


@pytest.mark.parametrize(
    "stated",
    [
        header(1), header("x"), header(None), header([0]), header(-1), header(day=None), header(day="now"),
        header(day="2026-11-30\n"), header(key=None), [*header(), 1], ["key", "2026-11-30"], {"key": "key"}, [],
        {}, None, b"", b"\x93", b"\xff\xfe", b"\x91" * 100_000, b"\xdd\x7f\xff\xff\xff", b"9" * 10_000,
    ],
)  # fmt: skip
def test_a_header_that_states_anything_else_is_damage_and_costs_nothing(tmp_path, stated):
    refused_at_no_cost(tmp_path / "forged", stated, padded(stated, grid((1,), data=bytes(8))))


@pytest.mark.parametrize(
    "array",
    [
        grid((HUGE,)), grid((HUGE, 0)), grid((2**31, 2**31)), grid((-1,)), grid((-1, -1), data=bytes(8)),
        grid((1,) * 99), grid((1.0,)), grid("x"), grid((1,), "|O", bytes(8)), grid((1,), "<f4", bytes(4)),
        grid((1,), ">f8", bytes(8)),
        grid((1,), "<U2", bytes(8)), grid((1,), "|V8", bytes(8)), grid((1,), [("a", "<f8")], bytes(8)),
        grid((2,), data=bytes(8)), grid((1,), data=bytes(9)), grid((1,), data=bytes(8), more=1), npy("{", bytes(8)),
        npy("(" * 5000), npy("__import__('os')"), b"\x93NUMPY\x02\x00", b"PK\x03\x04", b"\x80\x04N.", b"",
    ],
)  # fmt: skip
def test_an_array_that_states_anything_else_is_damage_and_costs_nothing(tmp_path, array):
    refused_at_no_cost(tmp_path / "forged", header(), padded(header(), array))


def test_the_same_file_with_the_array_that_is_wanted_is_read(tmp_path):
    """Otherwise the files above might be refused for another reason."""
    forged(tmp_path / "forged", header(), padded(header(), grid((1,), data=np.float64(0.5).tobytes())))
    assert entry.read(tmp_path / "forged", "key", NDArray[np.float64]).value.tolist() == [0.5]


def padded(stated, array):
    """An array as it lies behind a header."""
    text = stated if isinstance(stated, bytes) else msgspec.msgpack.encode(stated)
    return bytes(-(entry._HEAD + len(text)) % 64) + array


def refused_at_no_cost(place, stated, rest):
    forged(place, stated, rest)
    tracemalloc.start()
    with pytest.raises(DamagedError):
        entry.read(place, "key", NDArray[np.float64])
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2**20 + 100 * place.stat().st_size


def test_the_arrays_are_files_as_numpy_writes_and_reads_them(place):
    """By the library's own reader, without anything of the store."""
    content = place.read_bytes()
    for array in VALUE[1:]:
        written = io.BytesIO()
        np.save(written, array, allow_pickle=False)
        assert (at := content.find(written.getvalue())) % 64 == 0
        assert np.array_equal(np.load(io.BytesIO(content[at:]), allow_pickle=False), array)


@pytest.mark.parametrize("length", [HUGE, 2**64 - 1, 2**20 + 1, 100])
def test_a_length_beyond_the_file_is_damage(tmp_path, length):
    forged(tmp_path / "forged", header(), length=length)
    with pytest.raises(DamagedError):
        entry.read(tmp_path / "forged", "key", KIND)


def test_a_file_larger_than_any_is_not_read(tmp_path):
    place = tmp_path / "large"
    with place.open("wb") as out:
        out.write(entry.MARK)
        out.truncate(2**40)
    with pytest.raises(DamagedError):
        entry.read(place, "key", KIND)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a FIFO")
def test_a_fifo_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "fifo")
    with pytest.raises(DamagedError):
        entry.read(tmp_path / "fifo", "key", KIND)


def test_what_is_too_large_is_not_written(tmp_path, monkeypatch):
    monkeypatch.setattr(entry, "LONGEST", 1000)
    with pytest.raises(NotStorableError):
        entry.write(tmp_path / "one", "key", KIND, VALUE, DAY)
    with pytest.raises(NotStorableError):
        entry.write(tmp_path / "one", "key", int, 2**64, DAY)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fills_up_leaves_what_was_there(place, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(place), "replace", full)
    with pytest.raises(OSError, match="No space"):
        entry.write(place, "key", KIND, (0.5, *VALUE[1:]), DAY)
    assert list(place.parent.iterdir()) == [place]
    assert entry.read(place, "key", KIND).value[0] == VALUE[0]


def test_writing_copies_no_array(tmp_path):
    grid = np.zeros((2, 4_000_000))
    tracemalloc.start()
    entry.write(tmp_path / "one", "key", NDArray[np.float64], grid, DAY)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < grid.nbytes / 50
