"""A process of its own says and writes what the command does in the process of the tests, where most tests run it."""

from __future__ import annotations

import subprocess

import pytest
import soundfile

from support.command import COMMAND, HUNG, PINNED, RATE, programme

WORDS = {
    "a pass": ["check", ".", "--reproducible", "--no-cache", "--out", "json=-"],
    "a failure": ["check", "loud.yaml", "--reproducible", "--no-cache", "--verbose", "--out", "text=-"],
    "no delivery": ["check", "none.yaml"],
    "no such option": ["check", ".", "--fast"],
    "a level with a minus": ["check", ".", "--level", "-3 dB", "--no-cache", "--out", "sarif=-", "--reproducible"],
    "a draft": ["init", "side-a.wav", "side-b.wav", "--out", "../out/delivery.yaml"],
    "a plan": ["plan", ".", "--reproducible", "--no-cache"],
    "an explanation": ["explain", "groove.drive-too-high"],
    "rulesets compared": ["rulesets", "diff", "disc-12in-33@1.0.0", "disc-12in-33@2.0.0"],
}


@pytest.fixture
def loud(bench):
    """A bench with a delivery that passes and one whose first side is far too loud."""
    bench.deliver()
    bench.deliver(PINNED.replace("side-a.wav", "loud.wav"), name="loud.yaml", audio=False)
    soundfile.write(bench.folder / "loud.wav", 20.0 * programme(), RATE, subtype="FLOAT")
    return bench


SLOW = ("a failure", "a level with a minus", "a plan", "rulesets compared")


@pytest.mark.parametrize("case", [pytest.param(case, marks=pytest.mark.long if case in SLOW else ()) for case in WORDS])
def test_a_process_says_and_writes_what_the_command_does_here(loud, case):
    here = loud.run(*WORDS[case])
    written = {path.name: path.read_bytes() for path in loud.output.iterdir()}
    for path in loud.output.iterdir():
        path.unlink()
    done = subprocess.run(
        [*COMMAND, *WORDS[case]], capture_output=True, check=False, cwd=loud.folder, env=loud.environment,
        stdin=subprocess.DEVNULL, timeout=HUNG,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr.decode()) == (here.code, here.out, here.err)
    assert {path.name: path.read_bytes() for path in loud.output.iterdir()} == written
