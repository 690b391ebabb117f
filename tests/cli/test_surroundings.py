"""What is around the command: a cache that cannot be written, nobody listening, files with next to nothing in them."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np

from qc.testing.deliveries import Sent, deliver
from support.signals import tone


def run(words, **changes):
    env = {**os.environ, **changes}
    return subprocess.run([sys.executable, "-m", "qc", *words], env=env, capture_output=True, text=True, check=False)


def test_a_cache_that_cannot_be_written_leaves_nothing_behind(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    temporary = tmp_path / "tmp"
    temporary.mkdir()
    ran = run(["rulesets"], SIDEGATE_CACHE=str(blocked), TMPDIR=str(temporary))
    assert ran.returncode == 0
    assert "disc-12in-33@1.0.0" in ran.stdout
    assert list(temporary.iterdir()) == []


def test_nobody_listening_on_stderr_is_no_reason_to_stop(tmp_path):
    folder = deliver(tmp_path / "d", {"A": Sent(0.2 * np.vstack([tone(400.0, 1.0, 48_000)] * 2))})
    out = tmp_path / "report.json"
    read, write = os.pipe()
    os.close(read)
    words = [sys.executable, "-m", "qc", "check", str(folder), "--out", f"json={out}"]
    ran = subprocess.run(words, stderr=write, check=False)
    os.close(write)
    assert ran.returncode == 0
    assert out.exists()


def test_a_side_with_next_to_nothing_on_it_does_not_pass(judged):
    """One 10 ms tone at -58 dBFS in 20 s of silence is below the meter's gate, and drowns on the disc."""
    x = np.zeros(20 * 44_100)
    x[1000:1441] = tone(400.0, 441 / 44_100, 44_100, 0.0017, fade=0.0005)
    report = judged({"A": Sent(np.vstack([x, x]), 44_100)})
    assert report.outcome("groove.level-on-disc-too-low") == "fail"
    assert report.side()["measurements"]["groove.level_on_disc"]["bound"] == "<"
    assert report.code == 1


def test_mono_names_no_channel_and_counts_once(judged):
    x = np.clip(1.5 * tone(500.0, 2.0, 48_000), -1.0, 1.0)
    report = judged({"A": Sent(x), "B": Sent(np.vstack([x, x]))})
    assert report.value("level.clipped_runs") * 2 == report.value("level.clipped_runs", "B")
    places = [quantity.get("at", {}) for quantity in report.side()["measurements"].values()]
    assert not any("channel" in place for place in places)


def test_the_command_is_run_from_anywhere(tmp_path):
    ran = subprocess.run(
        [sys.executable, "-m", "qc", "--version"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0
    assert Path(tmp_path).exists()
