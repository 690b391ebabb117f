"""The part of the test kit that runs one need on samples."""

from dataclasses import dataclass

import numpy as np
import pytest

from qc.plugin_api import Analysis, Derived, Tap
from qc.testing.drive import run_need


@dataclass(frozen=True)
class Later(Tap):
    """Holds everything back to the end."""

    def start(self, stream):
        return _Holding()


class _Holding:
    def __init__(self):
        self.held = []

    def push(self, x):
        self.held.append(x)
        return np.zeros((2, 0))

    def flush(self):
        return np.concatenate(self.held, axis=1)


@dataclass(frozen=True)
class Twice(Tap):
    def base(self):
        return Later()

    def start(self, stream):
        return _Doubling()


class _Doubling:
    def push(self, x):
        return 2.0 * x

    def flush(self):
        return np.zeros((2, 0))


@dataclass(frozen=True)
class Collect(Analysis):
    id = "collect"

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def taps(self):
        return (Twice(),)

    def start(self, stream):
        return _Collecting(stream)


class _Collecting:
    def __init__(self, stream):
        self.stream, self.sizes, self.tapped = stream, [], []

    def push(self, block):
        assert block.start == sum(self.sizes)
        assert not block.samples.flags.writeable
        assert block[Twice()] is block[Twice()]
        self.sizes.append(block.samples.shape[1])
        self.tapped.append(block[Twice()])

    def finish(self):
        return self.stream, self.sizes, np.concatenate(self.tapped, axis=1)


def test_a_need_gets_blocks_and_tap_outputs():
    x = np.random.default_rng(0).random((2, 100))
    stream, sizes, tapped = run_need(Collect(), x, 48_000, [10, 0, 25])
    assert (stream.rate, stream.channels, stream.frames) == (48_000, 2, 100)
    assert sizes == [10, 0, 25, 65, 0]
    np.testing.assert_array_equal(tapped, 2.0 * x)
    assert run_need(Collect(), x, 48_000, 40)[1] == [40, 40, 20, 0]


@dataclass(frozen=True)
class Longest(Derived):
    id = "longest"

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def needs(self):
        return (Collect(),)

    def work(self, measured):
        return measured.stream.rate, max(measured[Collect()][1])


def test_derived_needs_are_computed_from_other_results():
    assert run_need(Longest(), np.zeros(100), 48_000, [10, 25]) == (48_000, 65)


def test_mono_is_processed_as_dual_mono():
    x = np.arange(5.0)
    for mono in (x, x[None, :]):
        np.testing.assert_array_equal(run_need(Collect(), mono, 48_000)[2], 2.0 * np.vstack([x, x]))


def test_other_shapes_are_refused():
    with pytest.raises(ValueError, match="shape"):
        run_need(Collect(), np.zeros((3, 10)), 48_000)
