"""The house's checks on deliveries made for them, and its format and ruleset through the command."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from qc.cli.main import main
from qc.ruleset.model import RulesetFile
from qc.testing.cases import Case, cases_in, check
from qc.testing.deliveries import Sent, deliver, judge
from qc.testing.faults import hum
from qc.testing.findings import assert_found, assert_outcome
from qc.testing.signals import silence, sine

RATE = 48_000
EXTENDS = pytest.mark.skipif(
    "extends" not in RulesetFile.model_fields, reason="this sidegate reads no ruleset that extends another"
)


@pytest.mark.parametrize("case", cases_in(Path(__file__).parent / "cases"), ids=str)
def test_case(case: Case, tmp_path: Path) -> None:
    check(case, tmp_path)


def test_the_plugin_is_installed_and_loads(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["plugins"]) == 0
    lines = [line for line in capsysbinary.readouterr().out.decode().splitlines() if line.startswith("lowtide ")]
    hooks = "qc_checks, qc_measures, qc_renderers, qc_rulesets"
    assert lines[0].split(maxsplit=4) == ["lowtide", "lowtide-rules", "1.0.0", "loaded", hooks]


@EXTENDS
def test_the_slope_near_the_label_has_a_level_of_its_own(tmp_path: Path) -> None:
    """At +6 dB this tone is 1.343 times as steep as the cutter allows (the case has the sum), so at 0.95 at +3.0 dB."""
    folder = deliver(tmp_path / "delivery", {"A": Sent(sine(3000.0, 3.0, RATE, 0.501, fade_s=0.2))})
    judged = judge(folder, tmp_path / "report.json", "--ruleset", "lowtide-12in-33")
    level = judged.side()["levels"]["by_limit"]["lowtide.end-too-steep/most"]["level"]
    assert level["value"] == pytest.approx(3.0, abs=0.15)


@EXTENDS
def test_its_ruleset_finds_the_hum_and_its_format_tells_when(tmp_path: Path) -> None:
    x = np.concatenate([silence(3.0, RATE), sine(440.0, 2.0, RATE, 0.25, fade_s=0.2)], axis=1)
    side = Sent(hum(x, RATE, hz=50.0, peak=1e-3), more={"inscription": "QH-001-A"})
    folder = deliver(tmp_path / "delivery", {"A": side})
    table = tmp_path / "found.tsv"
    words = ("--ruleset", "lowtide-12in-33", "--out", f"timecodes={table}")
    judged = judge(folder, tmp_path / "report.json", *words)
    finding = assert_found(judged, "lowtide.mains-hum", severity="fail")
    assert finding["measured"]["value"] == pytest.approx(-60.0, abs=0.05)
    assert finding["limit"]["source"] == "house: transfer notes, sheet 1"
    assert_outcome(judged, "lowtide.inscription-not-ours", "pass")
    assert judged.report["ruleset"]["chain"]["cut"]["land"]["value"] == "16 um"
    lines = [line.split("\t") for line in table.read_text(encoding="utf-8").splitlines()]
    (when,) = [line[1] for line in lines if line[0] == "A" and line[2:4] == ["fail", "lowtide.mains-hum"]]
    assert when in {"0:00.000", "0:01.000", "0:02.000"}
