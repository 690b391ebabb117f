"""What several tests share: signals with soft ends, rulesets varied for one test, deliveries judged in this process."""

import os
import re
import threading
from importlib.resources import files
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from qc.plugin_host.time_out import Hand
from qc.testing.deliveries import JudgedReport, Sent, deliver, judge

SHIPPED = Path(str(files("qc_rulesets"))) / "disc-12in-33" / "1.0.0.yaml"


def tone(hz, seconds, rate, peak=1.0, phase=0.0, fade=0.25):
    """A sine with raised-cosine ends, so that no click outweighs it."""
    t = np.arange(round(seconds * rate)) / rate
    ends = np.clip(np.minimum(t, t[::-1]) / fade, 0.0, 1.0)
    return peak * np.sin(2.0 * np.pi * hz * t + phase) * 0.5 * (1.0 - np.cos(np.pi * ends))


def both(x):
    """The same in both channels: lateral."""
    return np.vstack([x, x])


def opposed(x):
    """Opposite in the two channels: vertical."""
    return np.vstack([x, -x])


def pushed(meter, x, sizes=()):
    """Push x (2, n) into a meter in blocks of some sizes, the rest in one more, and give what it finds."""
    at = 0
    for size in (*sizes, x.shape[1]):
        meter.push(x[:, at : at + size])
        at = min(at + size, x.shape[1])
    return meter.finish()


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
        text = SHIPPED.with_name("2.0.0.yaml").read_text(encoding="utf-8")
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


__all__ = ["Sent", "both", "opposed", "pushed", "tone"]


@pytest.fixture
def endless():
    """A call that ends only with the test."""
    released = threading.Event()
    yield released.wait
    released.set()
    for thread in threading.enumerate():
        if isinstance(thread, Hand):
            thread.join()
