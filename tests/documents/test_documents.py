"""What the pages show is true: every block loads or runs, and every command exists.

How a kind of block is tried is in documents/kinds.py, how a command is in documents/commands.py.
"""

import types
from functools import cache

import numpy as np
import pytest

from documents.bench import Bench, small_delivery
from documents.commands import LEFT_TO_CI, LEFT_TO_PEOPLE, ci, subcommands, try_span
from documents.kinds import do
from documents.pages import ROOT, Block, every_page, read
from qc import api
from qc.cli.main import main
from qc.model.cautions import CAUTIONS
from qc.plugin_host.host import Host
from qc.testing.deliveries import Sent, deliver
from qc.testing.signals import sine
from support.houses import SHIPPED_12IN_33
from support.markdown_page import Read


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    return small_delivery(tmp_path_factory.mktemp("documents") / "delivery")


@pytest.mark.parametrize("name", every_page())
def test_every_block_and_command_of_a_page_is_tried(name, delivery, tmp_path, record_property):
    page, bench = read(name), Bench(tmp_path / "bench", delivery)
    done = {}
    for block in page.blocks:
        if block.named:
            bench.keep(block.named, block.text)
        done[block.where] = do(block, bench)
    assert 2 * len(done) == page.fences, f"{name} has a block that no parser sees; look at how it is fenced"
    assert all(done.values()), [where for where, what in done.items() if not what]
    said = [(line, try_span(span, bench)) for line, span in page.spans]
    for where, what in [*done.items(), *((f"{name}:{line}", what) for line, what in said if what)]:
        record_property(where, what)
        print(f"{where}: {what}")


@cache
def page_at(path):
    """A page, taken apart once for all the links that lead to it."""
    return Read(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", [*every_page(), "CHANGELOG.md"])
def test_every_link_to_another_page_leads_there(name):
    page = ROOT / name
    for link in page_at(page).links:
        target, _, anchor = link.partition("#")
        assert "://" in link or (page.parent / target).exists(), link
        if anchor and target.endswith(".md"):
            assert anchor in page_at((page.parent / target).resolve()).anchors, link


def test_no_command_is_left_to_others_that_no_page_shows():
    shown = "\n".join(block.text for name in every_page() for block in read(name).blocks if block.language == "sh")
    for command in {*LEFT_TO_CI, *LEFT_TO_PEOPLE}:
        assert command in shown


@pytest.mark.parametrize(
    ("language", "text", "why"),
    [
        ("ruby", "puts 1", "ruby are not known"),
        ("", "words", "no language are not known"),
        ("yaml", "one: 1\n", "no known kind"),
        ("yaml", "- 1\n", "no keys"),
        ("yaml", "schema: 1\ntitle: X\nsides: []\n", "delivery"),
        ("yaml", "schema: 1\nname: x\nserves: {size: 12in, speed: 33}\n", "version"),
        ("json", '{"one": 1}', "no known kind"),
        ("json", '{"verdict": "pass", "results": []}', "is a required property"),
        ("python", "import nothing_of_this_name", "nothing_of_this_name"),
        ("python", "def qc_chekcs():\n    return []\n", "qc_chekcs"),
        ("toml", "[project]\nname = 'x'\n", "entry-points"),
        ("sh", "frobnicate --all\n", "frobnicate is not known"),
        ("sh", "sidegate chekc delivery\n", "chekc"),
        ("sh", "sidegate explain level.cliped\n", "ended with 2"),
        ("sh", "sidegate check delivery --chain cut.lnad=10um\n", "ended with 2"),
        ("sh", "sidegate rulesets | head\n", "not tried here"),
        ("sh", ".venv/bin/python -m pytest -q tests/nowhere\n", "not there"),
        ("sh", ".venv/bin/python -m pytest tests/cases/test_cases.py::test_none -m long\n", "has no test_none"),
        ("sh", ".venv/bin/pip install numpy\n", "pip is not known"),
        ("sh", "python tests/benchmarks/run.py FOLDER --fast\n", "unrecognized arguments"),
        ("sh", "# nothing\n", "no command"),
        ("text", "some words\n", "no known kind"),
        ("text", "sidegate check DELIVERY [--rule-set NAME[@VERSION]]\n", "rule-set"),
        ("text", "- id: A\n  audo: a.wav\n", "audo"),
        ("text", "qc/nowhere.py │\n", "not there"),
    ],
)
def test_a_block_that_is_wrong_or_unknown_fails(language, text, why, delivery, tmp_path):
    with pytest.raises((AssertionError, pytest.fail.Exception), match=why):
        do(Block("page.md", 1, language, text), Bench(tmp_path / "bench", delivery))


@pytest.mark.parametrize(
    ("span", "why"),
    [
        ("sidegate chekc", "no command chekc"),
        ("sidegate schema reprot", "reprot"),
        ("--rule-set", "no command has an option"),
        ("--split 3", "--split 3"),
        ("python -m qc.report.schema", "no module"),
        ("ffmpeg -i SIDE -f mp3 -", "mp3"),
    ],
)
def test_a_command_in_the_prose_that_is_wrong_fails(span, why, delivery, tmp_path):
    with pytest.raises((AssertionError, pytest.fail.Exception), match=why):
        try_span(span, Bench(tmp_path / "bench", delivery))


def test_what_is_no_command_is_left_alone(delivery, tmp_path):
    bench = Bench(tmp_path / "bench", delivery)
    assert [try_span(span, bench) for span in ("delivery.yaml", "disc", "+ - *", "# C-3", "")] == [None] * 5


def test_a_file_that_a_page_names_is_there_for_the_commands_below_it(delivery, tmp_path):
    bench = Bench(tmp_path / "bench", delivery)
    with pytest.raises(AssertionError, match="ended with 2"):
        do(Block("page.md", 1, "sh", "sidegate check delivery --ruleset house.yaml\n"), bench)
    bench.keep("house.yaml", SHIPPED_12IN_33.read_text(encoding="utf-8"))
    done = do(Block("page.md", 9, "sh", "sidegate check delivery --ruleset house.yaml\n"), bench)
    assert done == "run: sidegate check delivery --ruleset house.yaml"


def test_the_commands_shown_are_all_there_are():
    (usage,) = [block.text for block in read("README.md").blocks if block.text.startswith("sidegate check DELIVERY")]
    shown = {line.split()[1] for line in usage.splitlines() if line.startswith("sidegate ")}
    assert shown == set(subcommands())


def test_the_first_two_blocks_of_shell_are_the_ones_ci_runs():
    shown = [block.text for block in read("README.md").blocks if block.language == "sh"]
    assert shown[0].rstrip().endswith("sidegate demo")
    assert "pytest" in shown[1]
    assert all(block in ci() for block in shown[:2])


def test_the_cautions_are_those_of_every_report():
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert all(caution in text for caution in CAUTIONS)
    assert len(CAUTIONS) == 4


def test_every_shipped_check_is_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for check in api.build_host().checks:
        assert f"`{check}`" in text


def test_the_plugin_shown_works(tmp_path, variant):
    (shown,) = [block.text for block in read("plugins/README.md").blocks if block.language == "python"][:1]
    plugin = types.ModuleType("house_plugin")
    exec(compile(shown, "plugins/README.md", "exec"), plugin.__dict__)
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


def test_the_groove_measurement_shown_can_set_the_level_and_is_explained_under_its_ruleset(
    tmp_path, variant, monkeypatch, capfdbinary
):
    (shown,) = [block.text for block in read("plugins/README.md").blocks if "GrooveDerived[" in block.text]
    (limit,) = [span for _, span in read("plugins/README.md").spans if span.startswith("house.inner-curves-tight: {")]
    plugin = types.ModuleType("house_plugin")
    exec(compile(shown, "plugins/README.md", "exec"), plugin.__dict__)
    ruleset = variant({})
    text = ruleset.read_text(encoding="utf-8").replace("limits:\n", f"limits:\n  {limit.replace('0.8', '0.1')}\n", 1)
    ruleset.write_text(text, encoding="utf-8")
    host = Host.build(extra=[("house", plugin)])
    assert host.failures == []
    folder = deliver(tmp_path / "delivery", {"A": Sent(sine(9_000.0, 3.0, 48_000, 0.3))})
    report = api.check(folder, api.Options(ruleset=str(ruleset)), host)
    assert report.plugin_failures == ()
    levels = report.sides[0].levels
    assert levels.ruling == "house.inner-curves-tight/most"
    assert 0.095 < report.sides[0].measurements["house.inner_curve"].value <= 0.1
    monkeypatch.setattr(api, "build_host", lambda *_: host)
    assert main(["explain", "house.inner-curves-tight", "--ruleset", str(ruleset)]) == 0
    assert b"sets the cut level" in capfdbinary.readouterr().out
