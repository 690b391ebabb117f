"""The pass: every block read once, in order, by every analysis, in any number of threads; what breaks breaks alone."""

import gc
import threading
import time
import weakref
from dataclasses import dataclass

import numpy as np
import pytest

from qc.audio.pipeline import process
from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import process_source
from qc.audio.source import RING
from qc.model.errors import SidegateError
from qc.plugin_api import Tap
from support.pass_parts import FRAMES, Collect, Collecting, Delay, Memory, Sum, Times
from support.plugins import sentences


@pytest.fixture
def samples():
    return np.random.default_rng(4).standard_normal((2, FRAMES))


@pytest.fixture(autouse=True)
def no_thread_is_left():
    before = set(threading.enumerate())
    yield
    assert set(threading.enumerate()) == before


@pytest.mark.parametrize("workers", [1, 2, 3, 4])
@pytest.mark.parametrize(("block", "part"), [(700, 300), (5_000, 5_000), (1, 1), (64, 1_000)])
def test_everything_is_heard_once_in_order(samples, workers, block, part):
    whole = Collect("whole")
    late = Collect("late", Delay(37))
    later = Collect("later", Times(0.5, Delay(90, Delay(37))))
    source = Memory(samples, block, part)
    measured = process_source(source, plan([whole, late, later]), workers=workers)
    np.testing.assert_array_equal(measured[whole], samples)
    np.testing.assert_array_equal(measured[late], samples)
    np.testing.assert_array_equal(measured[later], 0.5 * samples)
    assert (source.reads, source.opened, source.closed, measured.passes) == (source.blocks, 1, 1, 1)


def test_a_tap_that_keeps_all_back_is_flushed(samples):
    late = Collect("late", Times(3.0, Delay(10 * FRAMES)))
    np.testing.assert_array_equal(process_source(Memory(samples), plan([late]), workers=2)[late], 3.0 * samples)


def test_equal_taps_are_worked_out_once(samples, monkeypatch):
    monkeypatch.setattr(Times, "worked", [])
    needs = [Collect("a", Times(2.0)), Collect("b", Times(2.0)), Collect("c", Delay(5, Times(2.0)))]
    process_source(Memory(samples), plan(needs), workers=4)
    assert sum(Times.worked) == FRAMES


@pytest.mark.parametrize("workers", [1, 2, 4])
def test_what_was_worked_with_is_let_go_of_at_once(samples, workers):
    """Not when Python next looks for rings of objects: a pass holds more than all that it finds."""
    gone = []

    class Noted(Collecting):
        def __init__(self, need):
            super().__init__(need)
            weakref.finalize(self, gone.append, need)

    @dataclass(frozen=True)
    class Watched(Collect):
        def start(self, stream):
            return Noted(self)

    gc.collect()
    gc.disable()
    try:
        source = Memory(samples)
        whole = weakref.ref(source)
        process_source(source, plan([Watched("a"), Watched("b", Delay(20))]), workers=workers)
        assert {need.name for need in gone} == {"a", "b"}
        del source
        assert whole() is None
    finally:
        gc.enable()


@dataclass(frozen=True)
class Again(Tap):
    """Twice the source, always in the same array."""

    def start(self, stream):
        return _FillingAgain()


class _FillingAgain:
    def __init__(self):
        self.room = np.zeros((2, FRAMES))

    def push(self, x):
        out = self.room[:, : x.shape[1]]
        np.multiply(x, 2.0, out=out.view())
        return out.view()

    def flush(self):
        return np.zeros((2, 0))


@pytest.mark.parametrize("workers", [1, 2])
def test_a_tap_may_fill_its_array_again(samples, workers):
    """Taps run ahead of those who listen: what they gave is as it was when it is heard."""
    twice = Collect("twice", Again())
    np.testing.assert_array_equal(process_source(Memory(samples), plan([twice]), workers=workers)[twice], 2.0 * samples)


def test_a_tap_that_nobody_named_is_said(samples):
    @dataclass(frozen=True)
    class Forgets(Collect):
        def taps(self):
            return ()

    forgets = Forgets("x", Times(7.0))
    measured = process_source(Memory(samples), plan([forgets]), workers=1)
    assert measured.failed[forgets].startswith("LookupError: Times(factor=7.0, on=None) is named in the taps() of no")


@pytest.mark.parametrize("workers", [1, 2, 4])
@pytest.mark.parametrize("step", ["start", "push", "finish"])
@pytest.mark.parametrize("error", [ValueError("it\nbroke"), SystemExit(0), MemoryError()])
def test_an_analysis_that_raises_is_put_aside_alone(samples, workers, step, error, monkeypatch):
    monkeypatch.setattr(Collect, "error", error)
    bad, shares, other = Collect("bad", Times(2.0), step), Collect("shares", Times(2.0)), Collect("other")
    measured = process_source(Memory(samples), plan([bad, shares, other]), workers=workers)
    said = {ValueError: "ValueError: it broke", SystemExit: "SystemExit: 0", MemoryError: "MemoryError"}
    assert sentences(measured) == {bad: said[type(error)]}
    np.testing.assert_array_equal(measured[shares], 2.0 * samples)
    np.testing.assert_array_equal(measured[other], samples)
    with pytest.raises(LookupError, match=r"test\.collect: "):
        measured[bad]


@dataclass(frozen=True)
class BadTap(Tap):
    step: str
    on: Tap | None = None

    def base(self):
        return self.on

    def start(self, stream):
        if self.step == "start":
            raise KeyError("no such band")
        return self

    def push(self, x):
        if self.step == "push":
            raise KeyError("no such band")
        return "samples" if self.step == "gives text" else x

    def flush(self):
        raise KeyError("no such band")


@pytest.mark.parametrize("step", ["start", "push", "flush", "gives text"])
def test_a_tap_that_breaks_breaks_those_that_listen_to_it(samples, step):
    low, on_it = Collect("low", BadTap(step)), Collect("on it", Times(2.0, BadTap(step)))
    other = Collect("other", Times(2.0))
    measured = process_source(Memory(samples), plan([low, on_it, other]), workers=2)
    assert set(measured.failed) == {low, on_it}
    assert all(
        why.startswith(("KeyError: 'no such", "TypeError: a tap returns an array")) for why in measured.failed.values()
    )
    np.testing.assert_array_equal(measured[other], 2.0 * samples)


def test_an_error_without_a_text_of_its_own(samples, monkeypatch):
    class Mute(Exception):  # noqa: N818
        def __str__(self):
            raise ValueError("no text")

    monkeypatch.setattr(Collect, "error", Mute())
    bad = Collect("bad", None, "push")
    assert sentences(process_source(Memory(samples), plan([bad]), workers=1)) == {bad: "Mute"}


@pytest.mark.parametrize("workers", [1, 2, 4])
@pytest.mark.parametrize("at", [0, 3, 7])
def test_a_source_that_raises_ends_the_pass(samples, workers, at):
    error = SidegateError("cut off")
    source = Memory(samples, error=error, at=at)
    with pytest.raises(SidegateError) as caught:
        process_source(source, plan([Collect("a"), Collect("b", Delay(5)), Collect("c", Times(2.0))]), workers=workers)
    assert caught.value is error
    assert (source.reads, source.closed) == (at, 1)


class Stop(BaseException):
    """As Ctrl-C: not a fault of anybody."""


@pytest.mark.parametrize("workers", [1, 2, 4])
@pytest.mark.parametrize("error", [KeyboardInterrupt(), Stop()])
def test_what_is_no_exception_is_a_fault_of_the_plugin_too(samples, workers, error, monkeypatch):
    monkeypatch.setattr(Collect, "error", error)
    bad, *good = needs = [Collect("a", None, "push"), Collect("b", Delay(5)), Collect("c", Times(2.0))]
    source = Memory(samples)
    measured = process_source(source, plan(needs), workers=workers)
    assert sentences(measured) == {bad: type(error).__name__}
    assert set(measured.results) == set(good)
    assert source.closed == 1


def test_an_error_of_the_progress_callback_ends_the_pass(samples):
    def on_progress(part):
        if part > 0.5:
            raise Stop

    with pytest.raises(Stop):
        process_source(Memory(samples), plan([Collect("a"), Collect("b")]), workers=3, progress=on_progress)


@pytest.mark.parametrize("workers", [1, 3])
def test_progress_never_goes_back_and_ends_at_one(samples, workers):
    parts = []
    process_source(
        Memory(samples), plan([Collect("a"), Collect("b", Times(2.0))]), workers=workers, progress=parts.append
    )
    assert parts == sorted(parts)
    assert parts[-1] == 1.0
    assert parts[0] >= 0.0


def test_no_more_than_a_few_blocks_are_in_memory(samples):
    """The reader waits for the slowest group."""
    done = []

    @dataclass(frozen=True)
    class Slow(Collect):
        def start(self, stream):
            return _Slow(self)

    class _Slow(Collecting):
        def push(self, block):
            time.sleep(0.002)
            super().push(block)
            done.append(block.start)

    class Counting(Memory):
        def read(self):
            assert self.reads - len(done) < RING
            return super().read()

    process_source(Counting(samples, 100, 100), plan([Slow("slow"), Collect("quick")]), workers=3)
    assert len(done) == FRAMES // 100 + 1


@pytest.mark.parametrize("workers", [1, 2, 4])
@pytest.mark.parametrize("needs", [[], [Collect("a"), Collect("b", Delay(5))]])
def test_what_is_done_beside_comes_once_a_block_behind_the_reading(samples, workers, needs):
    source, seen, inside = Memory(samples), [], threading.Lock()

    def step():
        assert inside.acquire(blocking=False)  # never in two threads at once
        seen.append(source.reads)
        inside.release()

    process_source(source, plan(needs), workers=workers, block_step=step)
    assert len(seen) == source.blocks
    assert all(reads > k for k, reads in enumerate(seen))


def test_what_breaks_beside_ends_the_pass(samples):
    def step():
        raise Stop

    with pytest.raises(Stop):
        process_source(Memory(samples), plan([Collect("a")]), workers=2, block_step=step)


@pytest.mark.parametrize("workers", [1, 2])
def test_blocks_lie_ready_where_a_stage_would_otherwise_wait_for_the_reader(samples, workers):
    source = Memory(samples, 100, 100)
    ahead = []
    process_source(source, plan([]), workers=workers, block_step=lambda: ahead.append(source.reads - len(ahead)))
    assert set(ahead) <= set(range(1, process.AHEAD + 3))
    assert max(ahead) > process.AHEAD


def test_with_nothing_to_measure_the_source_is_still_read_and_nothing_kept(samples):
    source, kept = Memory(samples), []
    whole = source.read

    def read():
        slices = whole()
        kept.append(weakref.ref(slices[0]))
        assert not [block for block in kept[:-1] if block() is not None]
        return slices

    source.read = read
    assert process_source(source, plan([]), workers=2).results == {}
    assert source.reads == source.blocks


def test_a_stream_without_frames():
    whole = Collect("whole", Delay(3))
    assert process_source(Memory(np.zeros((2, 0))), plan([whole]), workers=2)[whole].shape == (2, 0)


def test_what_is_derived_is_worked_out_after_all_is_heard(samples):
    whole = Collect("whole")
    twice = Sum((whole, Sum((whole,))))
    assert process_source(Memory(samples), plan([twice]))[twice] == pytest.approx(2.0 * samples.sum())


def test_what_is_derived_from_something_broken_is_broken_too(samples):
    bad, good = Collect("bad", None, "finish"), Collect("good")
    measured = process_source(Memory(samples), plan([Sum((bad,)), Sum((good,))]), workers=2)
    assert sentences(measured) == {
        bad: "ValueError: it broke",
        Sum((bad,)): "LookupError: test.collect: ValueError: it broke",
    }
    assert measured[Sum((good,))] == pytest.approx(samples.sum())


@pytest.mark.parametrize("error", [ZeroDivisionError("by nought"), SystemExit(0)])
def test_a_derived_need_that_raises_is_put_aside(samples, error, monkeypatch):
    monkeypatch.setattr(Sum, "error", error)
    good = Collect("good")
    measured = process_source(Memory(samples), plan([Sum((good,))]), workers=1)
    assert sentences(measured) == {Sum((good,)): f"{type(error).__name__}: {error}"}
    np.testing.assert_array_equal(measured[good], samples)


def test_the_usual_number_of_workers():
    assert 1 <= process.default_workers() <= 4
