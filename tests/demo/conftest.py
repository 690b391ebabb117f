"""The demo, made and judged once by the command for all tests here; and one that takes no time to render."""

import contextlib
import io
import os
import pickle
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from filelock import FileLock

from qc import api
from qc.cli import demo as command
from qc.cli.main import main
from qc.demo import folder, score
from qc.demo.release import DemoSide, RenderedTrack


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str
    folder: object
    made: api.Demo


class Kept(io.TextIOWrapper):
    """A stdout that keeps the bytes."""

    def __init__(self):
        super().__init__(io.BytesIO(), encoding="utf-8")


def ran(*words):
    """Run the command in this process; gives exit code, stdout and stderr."""
    out, err = Kept(), io.StringIO()
    before = sys.stdout
    sys.stdout = out
    try:
        with contextlib.redirect_stderr(err):
            code = main(list(words))
    finally:
        sys.stdout = before
    out.flush()
    return code, out.buffer.getvalue().decode(), err.getvalue()


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The demo, made and judged by the first process that asks for it, and read by the others."""
    run = tmp_path_factory.getbasetemp()
    where = (run.parent if "PYTEST_XDIST_WORKER" in os.environ else run) / "demo"
    with FileLock(f"{where}.lock"):
        if not where.exists():
            where.mkdir()
            Path(f"{where}.pickle").write_bytes(pickle.dumps(made_in(where)))
        return Ran(*pickle.loads(Path(f"{where}.pickle").read_bytes()))


def made_in(where):
    """Run `sidegate demo` with no words, as the README does, in an empty folder; gives the parts of Ran."""
    made = []
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(where)
        whole = api.demo
        patch.setattr(command.api, "demo", lambda *words: made.append(whole(*words)) or made[-1])
        code, out, err = ran("demo")
    return code, out, err, where / "sidegate-demo", made[0]


@pytest.fixture(scope="session")
def sides(demo):
    """The samples as written, (2, frames), by side."""
    return {side: soundfile.read(demo.folder / f"side-{side.lower()}.wav")[0].T for side in "AB"}


@pytest.fixture
def quick(monkeypatch):
    """Let the demo consist of a tenth of a second of noise."""

    def side(name):
        samples = 0.1 * np.random.default_rng(1).standard_normal((2, 4_410)).astype(np.float32)
        return DemoSide(name, samples, (RenderedTrack(score.LAMP_ROOM, 0.0, 0.1),))

    monkeypatch.setattr(folder, "good_side", lambda: side("A"))
    monkeypatch.setattr(folder, "bad_side", lambda: side("B"))
