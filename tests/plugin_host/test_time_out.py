"""A call that does not end is given up in time, whatever it does; every other call is as if it were made directly."""

import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from qc.model.errors import FAULTS, GivenUpError
from qc.plugin_host.time_out import Hand, Patient, still_at_work
from qc.text.sanitize import told


def test_a_call_gives_what_it_gives_and_raises_what_it_raises():
    with Patient(5.0) as ask:
        assert ask(lambda: 7) == 7
        for error in (ValueError("x"), SystemExit(0), KeyboardInterrupt()):

            def breaks(error=error):
                raise error

            with pytest.raises(type(error)) as caught:
                ask(breaks)
            assert caught.value is error
        assert ask(threading.current_thread) is ask(threading.current_thread)
    assert not still_at_work()
    assert not [one for one in threading.enumerate() if isinstance(one, Hand)]


def test_a_call_that_does_not_end_is_given_up_and_the_next_is_made(endless):
    began = time.monotonic()
    with Patient(0.3) as ask:
        with pytest.raises(GivenUpError) as caught:
            ask(endless)
        assert 0.3 <= time.monotonic() - began < 3.0
        assert told(caught.value) == "it had not ended after 0.3 s, and was given up"
        assert isinstance(caught.value, FAULTS)
        assert still_at_work()
        assert ask(lambda: 7) == 7


def test_a_call_that_ends_after_all_changes_nothing():
    late = threading.Event()
    with Patient(0.2) as ask:
        with pytest.raises(GivenUpError):
            ask(lambda: late.wait() and "too late")
        late.set()
        assert [ask(lambda k=k: k) for k in range(3)] == [0, 1, 2]
    deadline = time.monotonic() + 10.0
    while still_at_work():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def test_a_call_that_is_busy_without_end_is_given_up_too():
    ended = []

    def busy():
        while not ended:
            pass

    with Patient(0.3) as ask, pytest.raises(GivenUpError):
        ask(busy)
    ended.append(True)


STOPPED = """
import os, signal, subprocess, sys, time
from qc.plugin_host.time_out import Patient
awake = f"import os, signal, time; time.sleep(1.5); os.kill({os.getpid()}, signal.SIGCONT)"
with Patient(1.0) as ask:
    def call():
        subprocess.Popen([sys.executable, "-c", awake])
        os.kill(os.getpid(), signal.SIGSTOP)
        return "gone on"
    print(ask(call))
"""


def test_a_process_that_was_stopped_has_lost_no_patience():
    done = subprocess.run([sys.executable, "-c", STOPPED], capture_output=True, check=False, timeout=60, text=True)
    assert (done.stdout, done.stderr) == ("gone on\n", "")


def test_an_interrupt_does_not_wait_for_the_call(endless):
    def interrupt():
        os.kill(os.getpid(), signal.SIGINT)
        endless()

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    began = time.monotonic()
    try:
        with Patient(60.0) as ask:
            with pytest.raises(KeyboardInterrupt):
                ask(interrupt)
            assert ask(lambda: 7) == 7
    finally:
        signal.signal(signal.SIGINT, before)
    assert time.monotonic() - began < 5.0
