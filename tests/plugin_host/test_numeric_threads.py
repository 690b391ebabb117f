"""Numeric libraries use one thread a call during a run, and as many as before after it, in any case."""

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from qc import api
from qc.plugin_host.numeric_threads import NumericThreads
from qc.run import check as running
from qc.testing.deliveries import Sent, deliver
from support.command import called


def threads():
    """The threads of the linear algebra that numpy calls; scipy, which tests alone have, may be loaded during a run."""
    return [
        library["num_threads"]
        for library in threadpool_info()
        if library["user_api"] == "blas" and "numpy" in library["filepath"]
    ]


@pytest.fixture(autouse=True)
def two():
    """A process whose libraries use two threads, whatever the environment says."""
    with threadpool_limits(limits=2, user_api="blas"):
        if not threads() or set(threads()) != {2}:
            pytest.skip("numpy has no linear algebra whose threads can be set")
        yield


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    t = np.arange(48_000) / 48_000
    return deliver(tmp_path_factory.mktemp("threads") / "delivery", {"A": Sent(0.1 * np.sin(2.0 * np.pi * 440.0 * t))})


def test_a_run_has_one_thread_a_call(delivery):
    seen = []
    api.check(delivery, api.Options(progress=lambda _side, _part: seen.append(threads())))
    assert seen
    assert {count for counts in seen for count in counts} == {1}
    assert set(threads()) == {2}


def test_a_plan_has_one_thread_a_call(delivery):
    seen = []
    api.plan(delivery, api.PlanOptions(progress=lambda _side, _part: seen.append(threads())))
    assert {count for counts in seen for count in counts} == {1}
    assert set(threads()) == {2}


def test_the_threads_are_as_before_after_an_error(delivery, tmp_path):
    def stop(_side, _part):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        api.check(delivery, api.Options(progress=stop))
    assert set(threads()) == {2}
    with pytest.raises(api.DeliveryError):
        api.check(tmp_path / "none")
    assert set(threads()) == {2}


def test_the_command_limits_them_and_leaves_them_as_they_were(delivery, tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr(
        running, "whole_report", lambda *given, whole=running.whole_report: seen.append(threads()) or whole(*given)
    )
    code, _, err = called(["check", str(delivery), "--no-cache", "--out", f"json={tmp_path / 'report.json'}"])
    assert code in {0, 1}, err
    assert {count for counts in seen for count in counts} == {1}
    assert set(threads()) == {2}


def test_runs_that_overlap_share_the_limit_until_the_last_ends():
    limit = NumericThreads()
    first, second = limit.limited(), limit.limited()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert set(threads()) == {1}
    second.__exit__(None, None, None)
    assert set(threads()) == {2}
