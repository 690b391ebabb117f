"""What all rooms share: workers, kernels, a store for each test, rulesets varied for one, deliveries judged."""

import os
import re
import threading
from itertools import count

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

from qc.plugin_host.runner import RunnerThread
from qc.testing.deliveries import JudgedReport, deliver, judge
from support.houses import SHIPPED_12IN_33
from support.longest import longest

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else every process that a test starts compiles its sources again

# Hypothesis fails a test whose inputs take more than a second to draw, as they may on a busy machine.
settings.register_profile("busy", settings(), suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("busy")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers():
    """Return one worker more than there are cores: a test that waits for a process or a time-out leaves a core idle.

    The variable that pytest-xdist reads comes first.
    """
    return None if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ else 1 + (os.cpu_count() or 1)


def pytest_configure(config):
    """Start the files of a parallel run in the order of the folders; pytest-xdist would start those of few tests last.

    Files of few tests are the heavy ones here, and the last one of a run keeps one worker busy while the others wait.
    """
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Put the whole arrays first, since a test there takes longest, and mark the tests of `longest.txt`."""
    items.sort(key=lambda item: "whole_array" not in item.path.parts)
    listed = longest()
    for item in items:
        if item.nodeid in listed:
            item.add_marker(pytest.mark.long)


@pytest.fixture(scope="session", autouse=True)
def kernels(tmp_path_factory):
    """Compile all kernels once for all workers of a parallel run; a run in one process compiles what it calls.

    The lock is one without a time limit: on a busy machine the command's own would let every worker compile.
    """
    if "PYTEST_XDIST_WORKER" in os.environ:
        from qc import api
        from qc.measure.precompile import precompile

        with FileLock(tmp_path_factory.getbasetemp().parent / "kernels.lock"):
            precompile(api.build_host())


@pytest.fixture(scope="session", autouse=True)
def stores(tmp_path_factory):
    """A folder for the stores of all tests; SIDEGATE_STORE leads into it, so that no test touches the user's own."""
    folder = tmp_path_factory.mktemp("stores")
    before = os.environ.get("SIDEGATE_STORE")
    os.environ["SIDEGATE_STORE"] = str(folder / "shared")
    yield folder
    if before is None:
        del os.environ["SIDEGATE_STORE"]
    else:
        os.environ["SIDEGATE_STORE"] = before


_NUMBERS = count()


@pytest.fixture(autouse=True)
def store(stores, monkeypatch):
    """A store of the test's own, for the commands it runs in this process and in others; not there yet."""
    folder = stores / str(next(_NUMBERS))
    monkeypatch.setenv("SIDEGATE_STORE", str(folder))
    return folder


@pytest.fixture
def variant(tmp_path):
    """Write the shipped ruleset with some chain values changed, as a house would: variant({"outer": "241.8 mm"})."""

    def write(changes, speed="33"):
        text = SHIPPED_12IN_33.with_name("2.0.0.yaml").read_text(encoding="utf-8")
        for key, value in changes.items():
            text, count = re.subn(rf"(\b{key}: *\{{ *value: *)[^,}}]+", rf"\g<1>{value}", text)
            assert count == 1, f"{key} is not in the shipped ruleset once"
        text, count = re.subn(r"(serves:.*speed: *)\d+", rf"\g<1>{speed}", text)
        assert count == 1
        number = len(list(tmp_path.glob("variant-*.yaml")))
        path = tmp_path / f"variant-{number}.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def judged(tmp_path):
    """Deliver sides and judge them; gives the report: judged({"A": Sent(...)}, "--strict")."""
    count = 0

    def run(sides, *words, speed=33) -> JudgedReport:
        nonlocal count
        count += 1
        folder = deliver(tmp_path / f"delivery-{count}", sides, speed=speed)
        return judge(folder, tmp_path / f"report-{count}.json", *words)

    return run


@pytest.fixture
def endless():
    """A call that ends only with the test."""
    released = threading.Event()
    yield released.wait
    released.set()
    for thread in threading.enumerate():
        if isinstance(thread, RunnerThread):
            thread.join()
