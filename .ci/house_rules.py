"""Delivers a side with hum to `sidegate check` by the example's ruleset, and wants its finding and its format."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

from qc.testing.deliveries import Sent, deliver
from qc.testing.faults import hum
from qc.testing.signals import silence, sine

command, folder = sys.argv[1], Path(sys.argv[2])
x = np.concatenate([silence(3.0, 48_000), sine(440.0, 2.0, 48_000, 0.25, fade_s=0.2)], axis=1)
side = Sent(hum(x, 48_000, hz=50.0, peak=1e-3), more={"inscription": "QH-001-A"})
delivery = deliver(folder / "humming", {"A": side})
report, table = folder / "report.json", folder / "found.tsv"
words = ["check", str(delivery), "--ruleset", "lowtide-12in-33@1.0.0"]
done = subprocess.run([command, *words, "--out", f"json={report}", "--out", f"timecodes={table}"], check=False)
outcomes = {result["check"]: result["outcome"] for result in json.loads(report.read_text())["results"]}
assert done.returncode == 1, done.returncode
assert outcomes["lowtide.mains-hum"] == "fail", outcomes
assert outcomes["lowtide.inscription-not-ours"] == "pass", outcomes
assert "\tlowtide.mains-hum\t" in table.read_text()
print("lowtide.mains-hum was found")
