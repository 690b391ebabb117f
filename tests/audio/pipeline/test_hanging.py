"""A plugin that does not end, anywhere in the pass: it is named, all others hear every block once and in order."""

import os
import signal
import threading
import time
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest

from qc.audio.pipeline import process
from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import process_source
from qc.model.errors import SidegateError
from qc.plugin_api import Tap
from qc.plugin_host.runner import LeftBehindError, Runner, RunnerThread
from support.pass_parts import FRAMES, Collect, Delay, Memory, Sum, Times
from support.plugins import sentences

PATIENCE = 0.6
GIVEN_UP = f"after {PATIENCE:g} s, and timed out"


@pytest.fixture(autouse=True)
def endless():
    """Threads that hang do so until the test is over; then none of them does anything any more."""
    Hanging.released = threading.Event()
    Hanging.woken = []
    yield
    Hanging.released.set()
    for thread in threading.enumerate():
        if isinstance(thread, RunnerThread):
            thread.join()


@dataclass(frozen=True)
class Hanging(Collect):
    """Does not end at a step of its life: in push at the block `at`."""

    at: int = 0
    released: ClassVar[threading.Event]
    woken: ClassVar[list]

    def step(self, name, start=None):
        if self.breaks == name and (start is None or start == self.at):
            self.released.wait()
            self.woken.append(name)

    def start(self, stream):
        self.step("start")
        return _Hanging(self)


class _Hanging:
    def __init__(self, need):
        self.need, self.heard = need, []

    def push(self, block):
        self.heard.append(block.start)
        self.need.step("push", block.start)

    def finish(self):
        self.need.step("finish")
        return self.heard


@pytest.fixture
def samples():
    return np.random.default_rng(4).standard_normal((2, FRAMES))


@pytest.mark.parametrize("workers", [1, 3])
@pytest.mark.parametrize(
    ("step", "at", "says"),
    [
        ("start", None, "it had not ended after 0.6 s, and timed out"),
        ("push", 0, "it was still at the block from 0.0 s on after 0.6 s, and timed out"),
        ("push", 3_500, "it was still at the block from 0.1 s on after 0.6 s, and timed out"),
        ("finish", None, "finish() had not ended after 0.6 s, and timed out"),
    ],
)
def test_it_is_named_and_the_others_of_its_group_hear_on_from_that_very_block(samples, workers, step, at, says):
    before, behind = Collect("before", Times(2.0)), Collect("behind", Times(2.0))
    hangs = Hanging("hangs", Times(2.0), step, at or 0)
    other = Collect("other")
    assert len(plan([before, hangs, behind, other]).groups) == 2
    source = Memory(samples, 700, 700)
    measured = process_source(source, plan([before, hangs, behind, other]), workers=workers, runner=Runner(PATIENCE))
    assert sentences(measured) == {hangs: says}
    for need in (before, behind):
        np.testing.assert_array_equal(measured[need], 2.0 * samples)
    np.testing.assert_array_equal(measured[other], samples)
    assert (source.reads, source.closed) == (source.blocks, 1)


@pytest.mark.parametrize("part", [700, 300, 70])
def test_the_slices_of_its_block_that_are_left_are_heard_in_order(samples, part):
    """The middle of a block: slices before and behind the one it hangs at, members before and behind it."""
    needs = [Collect("before", Delay(5)), Hanging("hangs", Delay(5), "push", 2 * part), Collect("behind", Delay(5))]
    measured = process_source(Memory(samples, 2_100, part), plan(needs), workers=2, runner=Runner(PATIENCE))
    assert set(measured.failed) == {needs[1]}
    np.testing.assert_array_equal(measured[needs[0]], samples)
    np.testing.assert_array_equal(measured[needs[2]], samples)


def test_several_may_hang_with_fewer_workers_than_that(samples):
    hanging = [Hanging(f"{k}", None, "push", 700 * k) for k in range(4)] + [Hanging("end", None, "finish")]
    other = Collect("other")
    measured = process_source(Memory(samples, 700, 700), plan([*hanging, other]), workers=2, runner=Runner(PATIENCE))
    assert set(measured.failed) == set(hanging)
    np.testing.assert_array_equal(measured[other], samples)


def test_one_that_comes_back_touches_nothing_any_more(samples):
    """It wakes up while the others still hear; its thread ends, and it is not called again."""
    hangs = Hanging("hangs", Times(2.0), "push", 700)
    behind = Collect("behind", Times(2.0))

    def on_progress(part):
        if part > 0.5:
            Hanging.released.set()

    measured = process_source(
        Memory(samples, 100, 100), plan([hangs, behind]), workers=2, runner=Runner(PATIENCE), progress=on_progress
    )
    assert set(measured.failed) == {hangs}
    np.testing.assert_array_equal(measured[behind], 2.0 * samples)
    for thread in threading.enumerate():
        if isinstance(thread, RunnerThread):
            thread.join()
    assert Hanging.woken == ["push"]


@dataclass(frozen=True)
class HangingTap(Tap):
    step: str
    on: Tap | None = None

    def base(self):
        return self.on

    def start(self, stream):
        self.hang("start")
        return self

    def hang(self, step):
        if step == self.step:
            Hanging.released.wait()

    def push(self, x):
        self.hang("push")
        return x

    def flush(self):
        self.hang("flush")
        return np.zeros((2, 0))


@pytest.mark.parametrize(("step", "workers"), [("start", 1), ("push", 2), ("push", 1), ("flush", 2)])
def test_a_tap_that_hangs_takes_those_with_it_that_listen_to_it(samples, workers, step):
    tap = HangingTap(step, Times(2.0))
    on, above = Collect("on", tap), Collect("above", Times(3.0, tap))
    beside = Collect("beside", Times(2.0))
    assert len(plan([on, above, beside]).groups) == 1
    measured = process_source(Memory(samples), plan([on, above, beside]), workers=workers, runner=Runner(PATIENCE))
    assert set(measured.failed) == {on, above}
    if step != "start":
        assert all(
            why.startswith("the tap HangingTap was still at the block from ") for why in measured.failed.values()
        )
    np.testing.assert_array_equal(measured[beside], 2.0 * samples)


@dataclass(frozen=True)
class Slow(Collect):
    """Takes 0.7 s for a block."""

    def start(self, stream):
        inner = super().start(stream)
        push = inner.push

        def slow(block):
            if block.samples.shape[1]:
                Hanging.released.wait(0.7)
            push(block)

        inner.push = slow
        return inner


def test_slow_ones_are_waited_for_however_long_they_take_together(samples):
    needs = [Slow("a", Times(2.0)), Slow("b", Times(2.0)), Slow("c", Times(2.0))]
    measured = process_source(Memory(samples, FRAMES, FRAMES), plan(needs), workers=1, runner=Runner(1.8))
    assert measured.failed == {}
    np.testing.assert_array_equal(measured[needs[2]], 2.0 * samples)


class Works(Sum):
    def work(self, measured):
        Hanging.released.wait()


def test_what_is_derived_may_hang_too(samples):
    good = Collect("good")
    endless, other = Works((good,)), Sum((good,))
    measured = process_source(Memory(samples), plan([endless, other]), workers=1, runner=Runner(PATIENCE))
    assert sentences(measured) == {endless: "it had not ended after 0.6 s, and timed out"}
    assert measured[other] == pytest.approx(samples.sum())


def test_a_source_that_raises_ends_the_pass_while_one_hangs(samples):
    error = SidegateError("cut off")
    source = Memory(samples, error=error, at=3)
    with pytest.raises(SidegateError) as caught:
        process_source(source, plan([Hanging("hangs", None, "push"), Collect("b")]), workers=2, runner=Runner(PATIENCE))
    assert caught.value is error
    assert source.closed == 1


class Interrupting(Hanging):
    """Presses Ctrl-C and hangs."""

    def step(self, name, start=None):
        if name == "push" and start == 700:
            os.kill(os.getpid(), signal.SIGINT)
        super().step(name, start)


def test_an_interrupt_ends_the_pass_while_one_hangs(samples, monkeypatch):
    monkeypatch.setattr(process, "GRACE_S", 0.1)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    began = time.monotonic()
    try:
        with pytest.raises(KeyboardInterrupt):
            process_source(Memory(samples, 700, 700), plan([Interrupting("hangs", None, "push", 700)]), workers=2)
    finally:
        signal.signal(signal.SIGINT, before)
    assert time.monotonic() - began < 10.0


@dataclass(frozen=True)
class HangsLookedUp(Collect):
    """Does not end, or raises what only the runner raises, when a method is looked up or its list of taps is read."""

    where: str = "push"
    planned: ClassVar[bool] = False

    def taps(self):
        if self.where == "taps" and self.planned:
            Hanging.released.wait()
        yield from super().taps()

    def start(self, stream):
        return _LookedUp(self.where, super().start(stream))


class _LookedUp:
    def __init__(self, where, running):
        self._where, self._running = where, running

    def __getattr__(self, name):
        if name == self._where:
            Hanging.released.wait()
        if name == "push" and self._where == "left behind":
            raise LeftBehindError
        return getattr(self._running, name)


@pytest.mark.parametrize(
    ("where", "says"),
    [
        ("push", f"it was still at the block from 0.0 s on {GIVEN_UP}"),
        ("finish", f"finish() had not ended {GIVEN_UP}"),
        ("taps", f"it had not ended {GIVEN_UP}"),
        ("left behind", "LeftBehindError"),
    ],
)
def test_a_method_that_cannot_be_looked_up_is_a_fault_of_that_plugin_alone(samples, monkeypatch, where, says):
    hangs, other = HangsLookedUp("hangs", where=where), Collect("other")
    planned = plan([hangs, other])
    monkeypatch.setattr(HangsLookedUp, "planned", True)
    measured = process_source(Memory(samples, 700, 700), planned, workers=1, runner=Runner(PATIENCE))
    assert sentences(measured) == {hangs: says}
    np.testing.assert_array_equal(measured[other], samples)


def test_a_source_that_cannot_count_its_blocks_ends_the_pass(samples):
    class Unknown(Memory):
        @property
        def blocks(self):
            raise OSError("gone")

    source = Unknown(samples)
    with pytest.raises(OSError, match="gone"):
        process_source(source, plan([Collect("a", Times(2.0)), Collect("b")]), workers=1)
    assert source.closed == 1
