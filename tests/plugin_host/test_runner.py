"""A call that does not end times out, whatever it does; every other call is as if it were made directly."""

import os
import signal
import subprocess
import sys
import threading
import time
from functools import partial

import pytest

from qc.model.errors import FAULTS, NoExceptionError, TimedOutError
from qc.plugin_host.runner import LeftBehindError, Runner, RunnerThread, unfinished
from qc.text.exceptions import exception_line
from support.plugins import PLACE, unplaced


def test_a_call_returns_what_it_returns_and_raises_what_it_raises():
    run = Runner(5.0)
    assert run(lambda: 7) == 7
    assert run(divmod, 17, 5) == (3, 2)
    assert run(lambda: None) is None
    error = ValueError("x")

    def breaks():
        raise error

    with pytest.raises(ValueError, match="x") as caught:
        run(breaks)
    assert caught.value is error
    assert not unfinished()
    assert not [thread for thread in threading.enumerate() if isinstance(thread, RunnerThread)]


@pytest.mark.parametrize("error", [SystemExit(0), KeyboardInterrupt(), GeneratorExit(), LeftBehindError("x")])
def test_what_is_no_exception_comes_out_as_one_in_its_own_words(error):
    def breaks():
        raise error

    with pytest.raises(NoExceptionError) as caught:
        Runner(5.0)(breaks)
    assert caught.value.__cause__ is error
    words = f"{type(error).__name__}: {error}".removesuffix(": ")
    assert unplaced(exception_line(caught.value)) == words


def test_the_traceback_of_a_call_leads_into_the_plugin():
    def breaks():
        raise ValueError("x")

    with pytest.raises(ValueError, match="x") as caught:
        Runner(5.0)(breaks)
    assert caught.traceback[-1].name == "breaks"


def test_of_several_calls_each_result_and_each_fault_is_kept(endless):
    def breaks():
        raise ValueError("x")

    results, faults = Runner(0.3).each({"a": lambda: 1, "b": breaks, "c": endless, "d": partial(int, "4")})
    assert results == {"a": 1, "d": 4}
    faults = {key: PLACE.sub("", fault) for key, fault in faults.items()}
    assert faults == {"b": "ValueError: x", "c": "it had not ended after 0.3 s, and timed out"}
    assert list(results) == ["a", "d"]


def test_the_text_of_an_error_is_built_inside_the_call(endless):
    """A plugin writes that text itself: it may end the process, or never end, like any other of its code."""

    class ExitsError(Exception):
        def __str__(self):
            raise SystemExit(0)

    class InterruptsError(Exception):
        def __str__(self):
            raise LeftBehindError

    class HangsError(Exception):
        def __str__(self):
            return endless()

    class OnceError(Exception):
        asked = 0

        def __str__(self):
            self.asked += 1
            return f"asked {self.asked}"

    def raises(error):
        raise error

    calls = {error: partial(raises, error()) for error in (ExitsError, InterruptsError, HangsError, OnceError)}
    results, faults = Runner(0.3).each(calls)
    assert results == {}
    assert {key: PLACE.sub("", fault) for key, fault in faults.items()} == {
        ExitsError: "ExitsError",
        InterruptsError: "InterruptsError",
        HangsError: "it had not ended after 0.3 s, and timed out",
        OnceError: "OnceError: asked 1",
    }


def test_several_threads_may_call_at_once():
    run, met = Runner(20.0), threading.Barrier(2)
    threads = [threading.Thread(target=run, args=(met.wait, 10.0)) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not met.broken


def test_a_call_that_does_not_end_times_out_and_the_next_is_made(endless):
    began = time.monotonic()
    run = Runner(0.3)
    with pytest.raises(TimedOutError) as caught:
        run(endless)
    assert 0.3 <= time.monotonic() - began < 3.0
    assert exception_line(caught.value) == "it had not ended after 0.3 s, and timed out"
    assert isinstance(caught.value, FAULTS)
    assert unfinished()
    assert run(lambda: 7) == 7


def test_a_call_that_ends_after_its_time_changes_nothing():
    late = threading.Event()
    run = Runner(0.2)
    with pytest.raises(TimedOutError):
        run(lambda: late.wait() and "too late")
    late.set()
    assert [run(lambda k=k: k) for k in range(3)] == [0, 1, 2]
    deadline = time.monotonic() + 10.0
    while unfinished():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_call_that_is_busy_without_end_times_out_too():
    ended = []

    def busy():
        while not ended:
            pass

    with pytest.raises(TimedOutError):
        Runner(0.3)(busy)
    ended.append(True)


STOPPED = """
import os, signal, subprocess, sys, time
from qc.plugin_host.runner import Runner
awake = f"import os, signal, time; time.sleep(1.5); os.kill({os.getpid()}, signal.SIGCONT)"
def call():
    subprocess.Popen([sys.executable, "-c", awake])
    os.kill(os.getpid(), signal.SIGSTOP)
    return "gone on"
print(Runner(1.0)(call))
"""


def test_time_in_which_the_process_is_suspended_does_not_count():
    done = subprocess.run([sys.executable, "-c", STOPPED], capture_output=True, check=False, timeout=60, text=True)
    assert (done.stdout, done.stderr) == ("gone on\n", "")


def test_an_interrupt_does_not_wait_for_the_call(endless):
    def interrupt():
        os.kill(os.getpid(), signal.SIGINT)
        endless()

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    began = time.monotonic()
    try:
        run = Runner(60.0)
        with pytest.raises(KeyboardInterrupt):
            run(interrupt)
        assert run(lambda: 7) == 7
    finally:
        signal.signal(signal.SIGINT, before)
    assert time.monotonic() - began < 5.0
