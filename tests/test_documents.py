"""What README and DEVELOPERS show is true: blocks load and run, and the commands exist."""

import re
import shlex
import types
from pathlib import Path

import numpy as np
import pytest

from qc import api
from qc.cautions import CAUTIONS
from qc.cli.main import parser
from qc.delivery.reader import parse_delivery
from qc.hooks.host import Host
from qc.testing.deliveries import Sent, deliver

ROOT = Path(__file__).resolve().parent.parent


def blocks(page, language):
    text = (ROOT / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def test_the_delivery_shown_is_read():
    (shown,) = blocks("README.md", "yaml")
    read = parse_delivery(shown.encode(), Path("delivery.yaml"), Path())
    assert [track.number for track in read.delivery.sides[0].tracks] == [1, 2]


def test_the_first_two_commands_are_the_ones_ci_runs():
    main, tests = blocks("README.md", "sh")
    assert main.rstrip().endswith("sidegate demo")
    assert "pytest" in tests


def test_the_commands_shown_are_understood():
    (usage,) = [block for block in blocks("README.md", "text") if block.startswith("sidegate check")]
    shown = {line.split()[1] for line in usage.splitlines() if line.startswith("sidegate ")}
    assert shown == {"check", "completion", "demo", "explain", "init", "plan", "plugins", "rulesets", "schema"}
    for words in (
        "check D --ruleset a@1.0.0 --side A --out json=x --strict --workers 2 --verbose --ascii",
        "plan D --disc 12in-45 --split --most 3 --reorder --chain cut.land=10um --out json=x",
        "schema report",
    ):
        parser().parse_args(shlex.split(words))


def test_the_cautions_are_those_of_every_report():
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert all(caution in text for caution in CAUTIONS)
    assert len(CAUTIONS) == 4


def test_every_shipped_check_is_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for check in api.build_host().checks:
        assert f"`{check}`" in text


def test_the_plugin_shown_works(tmp_path, variant):
    shown = blocks("DEVELOPERS.md", "python")[0]
    plugin = types.ModuleType("house_plugin")
    exec(compile(shown, "DEVELOPERS.md", "exec"), plugin.__dict__)
    ruleset = variant({})
    ruleset.write_text(
        ruleset.read_text(encoding="utf-8").replace(
            "limits:\n",
            'limits:\n  house.left-too-heavy:\n    most: {warn: 75 %, source: "house: desk notes"}\n',
            1,
        ),
        encoding="utf-8",
    )
    x = 0.1 * np.random.default_rng(1).standard_normal((2, 48_000))
    x[0] *= 2.0
    host = Host.build(extra=[("house", plugin)])
    assert host.failures == []
    folder = deliver(tmp_path / "delivery", {"A": Sent(x)})
    report = api.check(folder, api.Options(ruleset=str(ruleset)), host)
    result = next(result for result in report.results if result.check == "house.left-too-heavy")
    assert result.outcome == "warn"
    assert result.findings[0].measured.value == pytest.approx(0.8, abs=0.01)
    assert report.sides[0].passes == 1
