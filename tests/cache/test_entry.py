"""A file of the store: read only if it is whole and what was requested, whatever somebody made of it."""

from __future__ import annotations

import hashlib
import json
import os
import tracemalloc

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from qc.cache import entry
from qc.cache.codec import UnknownFormError, form_of
from qc.cache.entry import DamagedError

KIND = tuple[float, NDArray[np.float64], NDArray[np.int16]]
FORM = form_of(KIND)
DAY = "2026-11-30"
VALUE = (0.1, np.linspace(0.0, 1.0, 1001).reshape(7, 143), np.arange(5, dtype=np.int16))


@pytest.fixture
def place(tmp_path):
    entry.write(tmp_path / "one", "key", FORM, VALUE, DAY)
    return tmp_path / "one"


def forged(place, header, rest=b"", *, length=None):
    """A file whose checksum fits, whatever is in it."""
    text = header if isinstance(header, bytes) else json.dumps(header).encode()
    octets = (len(text) if length is None else length).to_bytes(8, "little") + text + rest
    place.write_bytes(entry.MARK + hashlib.sha256(octets).digest() + octets)


def test_what_was_written_is_read(place):
    number, grid, few = entry.read(place, "key", FORM).value
    assert entry.read(place, "key", FORM).day == DAY
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
        entry.read(place, "another", FORM)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.data())
def test_a_file_that_is_cut_off_or_changed_anywhere_is_damaged(place, data):
    whole = place.read_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    bit = data.draw(st.integers(0, 8))
    place.write_bytes(whole[:at] if bit == 8 else whole[:at] + bytes([whole[at] ^ 1 << bit]) + whole[at + 1 :])
    try:
        with pytest.raises(DamagedError):
            entry.read(place, "key", FORM)
    finally:
        place.write_bytes(whole)


HUGE = 2**62


def header(tree=(0.1, 0, 1), arrays=(("float64", [1], "C"), ("int16", [0], "C")), day="2026-11-30"):
    return {"key": "key", "day": day, "tree": tree, "arrays": arrays}


@pytest.mark.parametrize(
    "stated",
    [
        header(arrays=[["float64", [HUGE], "C"]]), header(arrays=[["float64", [HUGE, 0], "C"], ["int16", [0], "C"]]),
        header(arrays=[["float64", [-1], "C"]]), header(arrays=[["float64", [1] * 64, "C"]]),
        header(arrays=[["float64", [1.0], "C"]]), header(arrays=[["float64", [True], "C"]]),
        header(arrays=[["object", [1], "C"]]), header(arrays=[["float64", 1, "C"]]), header(arrays=[[]]),
        header(arrays=[["float64", [1], "K"]]), header(arrays={}), header(arrays=[]), header(tree=[0.1, 1, 0]),
        header(tree=[0.1, 0, 2]), header(tree=[0.1, 0]), header(tree="x"), header(tree=None), header(day=None),
        header(day="now"), [], {}, None, b"", b"{",
        b"\xff\xfe", b"[" * 100_000, b'{"key": "key"}', b"9" * 10_000,
    ],
)  # fmt: skip
def test_a_header_that_states_anything_else_is_damage_and_costs_nothing(tmp_path, stated):
    place = tmp_path / "forged"
    forged(place, stated, bytes(8))
    tracemalloc.start()
    with pytest.raises(DamagedError):
        entry.read(place, "key", FORM)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2**20 + 100 * place.stat().st_size


@pytest.mark.parametrize("length", [HUGE, 2**64 - 1, 2**20 + 1, 100])
def test_a_length_beyond_the_file_is_damage(tmp_path, length):
    forged(tmp_path / "forged", b"{}", length=length)
    with pytest.raises(DamagedError):
        entry.read(tmp_path / "forged", "key", FORM)


def test_a_file_larger_than_any_is_not_read(tmp_path):
    place = tmp_path / "large"
    with place.open("wb") as out:
        out.write(entry.MARK)
        out.truncate(2**40)
    with pytest.raises(DamagedError):
        entry.read(place, "key", FORM)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs a FIFO")
def test_a_fifo_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "fifo")
    with pytest.raises(DamagedError):
        entry.read(tmp_path / "fifo", "key", FORM)


def test_what_is_too_large_is_not_written(tmp_path, monkeypatch):
    monkeypatch.setattr(entry, "LONGEST", 1000)
    with pytest.raises(UnknownFormError):
        entry.write(tmp_path / "one", "key", FORM, VALUE, DAY)
    with pytest.raises(UnknownFormError):
        entry.write(tmp_path / "one", "key", form_of(int), 10**5000, DAY)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fills_up_leaves_what_was_there(place, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(place), "replace", full)
    with pytest.raises(OSError, match="No space"):
        entry.write(place, "key", FORM, (0.5, *VALUE[1:]), DAY)
    assert list(place.parent.iterdir()) == [place]
    assert entry.read(place, "key", FORM).value[0] == VALUE[0]


def test_writing_copies_no_array(tmp_path):
    grid = np.zeros((2, 4_000_000))
    tracemalloc.start()
    entry.write(tmp_path / "one", "key", form_of(NDArray[np.float64]), grid, DAY)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < grid.nbytes / 50
