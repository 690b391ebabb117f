"""The same verdicts on a processor without AVX, and with the kernels compiled for this one.

LLVM is told to compile for a processor that has nothing beyond the 128-bit registers every x86-64 has. Numbers may
differ by what a product contracted into a sum rounds; outcomes, places and levels may not.
"""

import json
import os
import platform
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.testing.deliveries import Sent, deliver
from qc.testing.music import Song, song

pytestmark = pytest.mark.long

SCRIPT = Path(__file__).parents[1] / "support" / "plain_processor.py"


@pytest.fixture(scope="module")
def heard(tmp_path_factory):
    """A delivery of three sides at three rates, judged for this processor and for a plain one."""
    folder = tmp_path_factory.mktemp("plain")
    loud = 0.9 * song(Song(11.0, 96_000, seed=3, tempo=120.0, cymbals=4.0, bass_width=0.6))
    sides = {
        "A": Sent(np.clip(1.4 * loud, -0.99, 0.99), 96_000, more={"cut_level": "3 dB"}),
        "B": Sent(0.4 * song(Song(9.0, 44_100, seed=4, tempo=100.0)), 44_100),
        "C": Sent(0.5 * song(Song(5.0, 192_000, seed=6, tempo=90.0)), 192_000),
    }
    delivery = deliver(folder / "delivery", sides)
    reports, said, warned = {}, {}, {}
    for cpu in ("", "generic"):
        # no folder can be where a file is: kernels are compiled in the process, which can then show their code
        elsewhere = {"NUMBA_CPU_NAME": cpu, "SIDEGATE_CACHE": str(SCRIPT)} if cpu else {}
        env = os.environ | elsewhere
        words = [sys.executable, str(SCRIPT), str(delivery), str(folder / f"{cpu}.json")]
        done = subprocess.run(words, env=env, check=True, capture_output=True, text=True)
        said[cpu], warned[cpu] = done.stdout.splitlines(), done.stderr
        reports[cpu] = json.loads((folder / f"{cpu}.json").read_text(encoding="utf-8"))
    return reports, said, warned


def judgements(report):
    """Outcome of every check, and severity and check of every finding."""
    return [(r["check"], r["side"], r["outcome"], [f["severity"] for f in r["findings"]]) for r in report["results"]]


def test_verdicts_are_the_same(heard):
    here, plain = heard[0][""], heard[0]["generic"]
    assert judgements(here) == judgements(plain)
    assert any(outcome == "fail" for _, _, outcome, _ in judgements(here))
    for one, other in zip(here["sides"], plain["sides"], strict=True):
        assert one["levels"]["recommended"]["value"] == other["levels"]["recommended"]["value"]
        assert one["levels"]["ruling"] == other["levels"]["ruling"]
        for name, quantity in one["measurements"].items():
            assert other["measurements"][name]["value"] == pytest.approx(quantity["value"], rel=1e-5, abs=1e-6), name


def test_where_nothing_can_be_stored_the_process_itself_compiles_before_any_plugin_is_called(heard):
    _, said, warned = heard
    assert said["generic"][0].split()[2:] == ["True", "1"]
    assert warned["generic"].count("which cannot be stored") == 1


@pytest.mark.skipif(platform.machine() not in {"x86_64", "AMD64"}, reason="these registers are x86's")
def test_no_register_wider_than_128_bits(heard):
    kernels, *wide = heard[1]["generic"]
    assert int(kernels.split()[0]) >= 10
    assert not wide
    assert heard[1][""][0].split()[1] != kernels.split()[1]  # stored apart
