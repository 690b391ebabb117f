"""Names and chain values that are not a plugin's to take, and misspelt checks beside a plugin that did not load."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest

from qc import Analysis, Quantity, api, hookimpl
from qc.cli.main import main
from qc.plugin_host.host import Host
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources
from qc.testing.deliveries import Sent, deliver
from support.plugins import check, need, plugin, renderer

HUM = 0.1 * np.tile(np.sin(np.arange(9600.0) / 8.0), (2, 1))
"""0.2 s of a tone in both channels."""


@dataclass(frozen=True)
class Deaf(Analysis[float]):
    """Hears nothing; `land` is none of its business."""

    land: float = 0.0
    id: ClassVar[str] = "house.deaf"
    publishes: ClassVar[Mapping[str, str]] = {"house.nothing": "1"}

    @classmethod
    def of(cls, chain):
        return cls(chain.cut.land)

    def start(self, stream):
        return Hearing()

    def publish(self, result):
        return {"house.nothing": Quantity(value=result, unit="1")}


class Hearing:
    def push(self, block):
        pass

    def finish(self):
        return 0.0


class Plugin:
    def __init__(self, *needs):
        self.needs = needs

    @hookimpl
    def qc_measures(self):
        return list(self.needs)


def built(*needs):
    return Host.build(extra=[("house", Plugin(*needs))], core=api.units(()), formats=("json", "text"))


@pytest.mark.parametrize("name", ["layout.lead_in_silence", "audio.channels", "groove.travel", "groove.level_on_disc"])
def test_the_cores_numbers_keep_their_names(name):
    taken = type("Taken", (Deaf,), {"publishes": {name: "1"}, "id": "house.taken"})
    (failure,) = built(taken).failures
    assert name in failure.message
    assert "sidegate itself" in failure.message


def test_an_analysis_sees_the_signal_chain_only(tmp_path, variant):
    """With another land the same analysis would be another need, and hear the audio again for nothing."""
    ruleset = variant({"land": "20 um"})
    folder = deliver(tmp_path / "d", {"A": Sent(HUM)})
    report = api.check(folder, api.Options(ruleset=str(ruleset)), built(Deaf))
    (failure,) = report.plugin_failures
    assert "chain.signal" in failure.message
    assert "house.nothing" not in report.sides[0].measurements


class Broken:
    @hookimpl
    def qc_checkz(self):
        return []


def test_a_ruleset_whose_plugin_is_not_installed_judges_nothing(tmp_path, variant, capsys):
    ruleset = variant({})
    text = ruleset.read_text()
    ruleset.write_text(text.replace('requires: {sidegate: ">=0.1"}', 'requires: {acme-rules: ">=2"}'))
    folder = deliver(tmp_path / "d", {"A": Sent(HUM)})
    out = tmp_path / "report.json"
    assert main(["check", str(folder), "--ruleset", str(ruleset), "--out", f"json={out}"]) == 3
    (line,) = capsys.readouterr().err.splitlines()
    lacks = "requires acme-rules >=2, which is not installed; install it, or name another ruleset"
    assert line == f"sidegate: disc-12in-33@2.0.0 {lacks}"
    assert not out.exists()


def test_plugins_that_did_not_load_are_listed_with_why_and_end_with_3(monkeypatch, capsysbinary):
    host = Host.build(extra=[("acme-with-a-long-name", Broken())])
    monkeypatch.setattr(api, "build_host", lambda *_: host)
    assert main(["plugins"]) == 3
    head, *rows = capsysbinary.readouterr().out.decode().splitlines()
    assert head.split() == ["PLUGIN", "PACKAGE", "VERSION", "STATE", "HOOKS"]
    assert {row.index(word) for row, word in zip(rows[1:3], ("sidegate", "sidegate"), strict=True)} == {
        head.index("PACKAGE")
    }
    assert rows[0].split() == ["acme-with-a-long-name", "not", "loaded", "?"]
    assert rows[-1].startswith('acme-with-a-long-name: hooks: plugin "acme-with-a-long-name": ')
    assert 'did you mean "qc_checks"?' in rows[-1]
    assert "acme-with-a-long-name" not in "".join(rows[1:-1])


def test_plugins_are_listed_with_all_that_they_bring(monkeypatch, tmp_path, capsysbinary):
    (tmp_path / "acme-12in-33").mkdir()
    (tmp_path / "acme-12in-33" / "1.0.0.yaml").write_text("schema: 1\n")
    house = plugin(
        qc_checks=[check("acme.quiet")], qc_measures=[need("acme.need", {"acme.hum": "1", "acme.buzz": "1"})],
        qc_rulesets=tmp_path, qc_renderers=[renderer("lines")],
    )  # fmt: skip
    host = Host.build((), extra=[("acme", house)])
    monkeypatch.setattr(api, "build_host", lambda *_: host)
    assert main(["plugins"]) == 0
    _, _, _, title, *rows = capsysbinary.readouterr().out.decode().splitlines()
    assert title == "acme"
    assert [row.split(maxsplit=1) for row in rows] == [
        ["checks", "1: acme.quiet"],
        ["measurements", "2: acme.buzz, acme.hum"],
        ["rulesets", "1: acme-12in-33@1.0.0"],
        ["formats", "1: lines"],
    ]


def test_a_misspelt_check_is_reported_although_a_plugin_did_not_load(tmp_path, variant):
    from qc.model.errors import RulesetError

    ruleset = variant({})
    ruleset.write_text(ruleset.read_text().replace("groove.cut-too-deep:", "groove.cut-too-deeep:"))
    host = Host.build(extra=[("acme", Broken())])
    folder = deliver(tmp_path / "d", {"A": Sent(HUM)})
    with pytest.raises(RulesetError, match=r"groove\.cut-too-deep"):
        api.check(folder, api.Options(ruleset=str(ruleset)), host)


def test_a_check_of_a_plugin_that_did_not_load_is_an_error(tmp_path, variant):
    ruleset = variant({})
    ruleset.write_text(ruleset.read_text().replace("limits:\n", "limits:\n  acme.quite-another-thing: {}\n", 1))
    host = Host.build(extra=[("acme", Broken())])
    folder = deliver(tmp_path / "d", {"A": Sent(HUM)})
    report = api.check(folder, api.Options(ruleset=str(ruleset)), host)
    lost = next(result for result in report.results if result.check == "acme.quite-another-thing")
    assert lost.outcome == "error"
    assert report.verdict == "error"
    named = load_ruleset(ruleset, Sources(host.ruleset_folders)).limits
    assert sorted(result.check for result in report.results) == sorted(named)
