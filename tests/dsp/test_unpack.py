"""Samples unpacked from a file's bytes, digit for digit, against plain numpy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.dsp.samples import unpack

TYPES = {"<i2": 2.0**-15, "<i4": 2.0**-31, "<f4": 1.0, "<f8": 1.0}


def out(n):
    return np.full(n, np.pi), np.full(n, np.pi)


def whole_numbers(octets):
    """24-bit samples, three bytes each, as whole numbers."""
    parts = octets.reshape(-1, 3).astype(np.int64)
    value = parts[:, 0] + 256 * parts[:, 1] + 65_536 * parts[:, 2]
    return np.where(value >= 2**23, value - 2**24, value)


def assert_digits(got, expected):
    np.testing.assert_array_equal(got.view(np.int64), np.asarray(expected, dtype=np.float64).view(np.int64))


@pytest.mark.parametrize("kind", TYPES)
@settings(deadline=None)  # the first call compiles
@given(frames=st.integers(0, 70), at=st.integers(0, 70), seed=st.integers(0, 1000))
def test_words_and_floats(kind, frames, at, seed):
    rng = np.random.default_rng(seed)
    count = 2 * (at + frames)
    if kind[1] == "i":
        ends = np.iinfo(kind)
        values = rng.integers(ends.min, ends.max, count, dtype=kind, endpoint=True)
        values[:2] = [ends.min, ends.max][: len(values[:2])]
    else:
        values = rng.standard_normal(count).astype(kind)
        values[::7] = [np.nan, -np.inf, -0.0, 1e-42][seed % 4]
    left, right = out(frames)
    unpack.stereo(values, at, TYPES[kind], left, right)
    pairs = values.reshape(-1, 2)[at:].astype(np.float64) * TYPES[kind]
    assert_digits(left, pairs[:, 0].copy())
    assert_digits(right, pairs[:, 1].copy())
    left, right = out(frames)
    unpack.mono(values, at, TYPES[kind], left, right)
    assert_digits(left, values[at : at + frames].astype(np.float64) * TYPES[kind])
    assert_digits(right, left)


@settings(deadline=None)  # the first call compiles
@given(frames=st.integers(0, 70), at=st.integers(0, 70), seed=st.integers(0, 1000))
def test_three_bytes(frames, at, seed):
    octets = np.random.default_rng(seed).integers(0, 256, 6 * (at + frames), dtype=np.uint8)
    octets[:12] = np.frombuffer(b"\0\0\x80\xff\xff\x7f\xff\xff\xff\1\0\0", np.uint8)[: len(octets)]
    left, right = out(frames)
    unpack.stereo24(octets.view(np.uint16), at, left, right)
    pairs = whole_numbers(octets).reshape(-1, 2)[at:] / 2.0**23
    assert_digits(left, pairs[:, 0].copy())
    assert_digits(right, pairs[:, 1].copy())
    left, right = out(frames)
    unpack.mono24(octets, at, left, right)
    assert_digits(left, whole_numbers(octets)[at : at + frames] / 2.0**23)
    assert_digits(right, left)
