"""Samples in memory as a source, and taps and needs that keep what they were given, for tests of the pass."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from qc.plugin_api import Analysis, Derived, Stream, Tap

FRAMES = 5_000


class Memory:
    """Samples in memory as a source; raises `error` in place of block `at`."""

    def __init__(self, samples, block=700, part=300, *, error=None, at=None):
        self.stream = Stream("side:A", 48_000, 2, samples.shape[1])
        self.pieces = [samples[:, i : i + block] for i in range(0, samples.shape[1], block)]
        self.part, self.error, self.at = part, error, at
        self.reads, self.threads, self.opened, self.closed = 0, set(), 0, 0

    @property
    def blocks(self):
        return len(self.pieces)

    def open(self):
        self.opened += 1

    def close(self):
        self.closed += 1

    def read(self):
        self.threads.add(threading.get_ident())
        if self.error is not None and self.reads == self.at:
            raise self.error
        piece = self.pieces[self.reads]
        self.reads += 1
        slices = [piece[:, i : i + self.part].copy() for i in range(0, piece.shape[1], self.part)]
        for one in slices:
            one.flags.writeable = False
        return slices


@dataclass(frozen=True)
class Delay(Tap):
    """Gives everything `frames` later, so that it has them left at the end; begins with nothing."""

    frames: int
    on: Tap | None = None

    def base(self):
        return self.on

    def start(self, stream):
        return _Delaying(self.frames)


class _Delaying:
    def __init__(self, frames):
        self.frames, self.held = frames, np.zeros((2, 0))

    def push(self, x):
        held = np.concatenate([self.held, x], axis=1)
        ready = max(0, held.shape[1] - self.frames)
        self.held = held[:, ready:]
        return held[:, :ready].copy()

    def flush(self):
        return self.held


@dataclass(frozen=True)
class Times(Tap):
    """A factor, which counts how often it was worked out."""

    factor: float
    on: Tap | None = None
    worked: ClassVar[list] = []

    def base(self):
        return self.on

    def start(self, stream):
        return _Multiplying(self.factor)


class _Multiplying:
    def __init__(self, factor):
        self.factor = factor

    def push(self, x):
        Times.worked.append(x.shape[1])
        return self.factor * x

    def flush(self):
        return np.zeros((2, 0))


@dataclass(frozen=True)
class Collect(Analysis):
    """Everything it hears, whole; raises `error` in a step of its life."""

    name: str
    tap: Tap | None = None
    breaks: str = ""
    id: ClassVar[str] = "test.collect"
    error: ClassVar[BaseException] = ValueError("it broke")

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls("")

    def taps(self):
        return () if self.tap is None else (self.tap,)

    def step(self, name):
        if self.breaks == name:
            raise self.error

    def start(self, stream):
        self.step("start")
        return Collecting(self)


class Collecting:
    def __init__(self, need):
        self.need, self.parts, self.frame, self.inside = need, [], 0, threading.Lock()

    def push(self, block):
        assert self.inside.acquire(blocking=False)  # never in two threads at once
        assert block.start == self.frame
        assert not block.samples.flags.writeable
        if block.start > FRAMES // 2:
            self.need.step("push")
        self.frame += block.samples.shape[1]
        self.parts.append(block.samples if self.need.tap is None else block[self.need.tap])
        self.inside.release()

    def finish(self):
        self.need.step("finish")
        return np.concatenate(self.parts, axis=1)


@dataclass(frozen=True)
class Sum(Derived):
    of_what: tuple
    error: ClassVar[BaseException | None] = None
    id: ClassVar[str] = "test.sum"

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls(())

    def needs(self):
        return self.of_what

    def work(self, measured):
        if self.error is not None:
            raise self.error
        return sum(float(np.sum(measured[need])) for need in self.of_what)
