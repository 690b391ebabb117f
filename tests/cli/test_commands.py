"""The commands other than `check`, what starting costs, and the JSON Schemas that are printed and committed."""

from __future__ import annotations

import copy
import json
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
import soundfile
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

import qc
from qc.schemas.build import NAMES, generated
from support.command import COMMAND, RATE, called, programme

EXAMPLE = Path(__file__).parents[2] / "examples" / "quiet_harbour"


def apart(*words, command=COMMAND):
    """Run the command in a process of its own."""
    done = subprocess.run([*command, *words], capture_output=True, check=False, text=True, timeout=60)
    assert "Traceback" not in done.stderr + done.stdout
    return done


def ran(*words):
    code, out, err = called(words)
    return subprocess.CompletedProcess(words, code, out.decode(), err)


@pytest.mark.parametrize("command", [COMMAND, [sys.executable, "-m", "qc"]], ids=["script", "module"])
def test_version(command):
    done = apart("--version", command=command)
    assert (done.returncode, done.stderr) == (0, "")
    version, *plugins = done.stdout.splitlines()
    assert version == f"sidegate {qc.__version__}"
    assert {f"plugin {name} of sidegate {qc.__version__}" for name in ("rulesets", "standard")} <= set(plugins)


def test_help_tells_the_commands_and_the_exit_codes():
    done = ran("--help")
    assert (done.returncode, done.stderr) == (0, "")
    for word in (
        "check",
        "plan",
        "rulesets",
        "plugins",
        "schema",
        "explain",
        "completion",
        "exit codes: 0 nothing failed",
    ):
        assert word in done.stdout
    assert "--ruleset NAME[@VERSION]" in ran("check", "--help").stdout


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["--version"],
        ["check", "--help"],
        ["plan", "--help"],
        ["check"],
        ["completion", "bash"],
        ["rulesets"],
    ],
)
def test_help_imports_no_heavy_library(words):
    done = apart(*words, command=[sys.executable, "-X", "importtime", "-m", "qc"])
    imported = {line.rsplit("|", 1)[-1].strip() for line in done.stderr.splitlines()}
    assert "qc.cli.main" in imported
    heavy = {"numpy", "pydantic", "numba", "soundfile", "rich"}
    if words != ["rulesets"]:  # which asks plugins for the folders of theirs, and reads the YAML in them
        heavy |= {"dataclasses", "difflib", "inspect", "pluggy", "ruamel"}
    assert not {name.split(".")[0] for name in imported} & heavy


def test_rulesets_and_plugins_are_listed():
    done = ran("rulesets")
    assert (done.returncode, done.stderr) == (0, "")
    title, *rows = done.stdout.splitlines()
    assert title.split() == ["RULESET", "SERVES", "SHA-256"]
    assert [row.split()[:-1] for row in rows] == [
        ["disc-10in-33@1.0.0", "10in", "at", "33"],
        ["disc-10in-33@2.0.0", "10in", "at", "33"],
        ["disc-10in-33@2.0.1", "10in", "at", "33"],
        ["disc-10in-33@3.0.0", "10in", "at", "33"],
        ["disc-10in-33@3.1.0", "10in", "at", "33"],
        ["disc-10in-33@3.2.0", "10in", "at", "33"],
        ["disc-10in-45@1.0.0", "10in", "at", "45"],
        ["disc-10in-45@2.0.0", "10in", "at", "45"],
        ["disc-10in-45@2.0.1", "10in", "at", "45"],
        ["disc-10in-45@3.0.0", "10in", "at", "45"],
        ["disc-10in-45@3.1.0", "10in", "at", "45"],
        ["disc-10in-45@3.2.0", "10in", "at", "45"],
        ["disc-12in-33@1.0.0", "12in", "at", "33"],
        ["disc-12in-33@1.1.0", "12in", "at", "33"],
        ["disc-12in-33@2.0.0", "12in", "at", "33"],
        ["disc-12in-33@2.0.1", "12in", "at", "33"],
        ["disc-12in-33@3.0.0", "12in", "at", "33"],
        ["disc-12in-33@3.1.0", "12in", "at", "33"],
        ["disc-12in-33@3.2.0", "12in", "at", "33"],
        ["disc-12in-45@1.0.0", "12in", "at", "45"],
        ["disc-12in-45@2.0.0", "12in", "at", "45"],
        ["disc-12in-45@2.0.1", "12in", "at", "45"],
        ["disc-12in-45@3.0.0", "12in", "at", "45"],
        ["disc-12in-45@3.1.0", "12in", "at", "45"],
        ["disc-12in-45@3.2.0", "12in", "at", "45"],
        ["disc-7in-33@1.0.0", "7in", "at", "33"],
        ["disc-7in-33@2.0.0", "7in", "at", "33"],
        ["disc-7in-33@2.0.1", "7in", "at", "33"],
        ["disc-7in-33@3.0.0", "7in", "at", "33"],
        ["disc-7in-33@3.1.0", "7in", "at", "33"],
        ["disc-7in-33@3.2.0", "7in", "at", "33"],
        ["disc-7in-45@1.0.0", "7in", "at", "45"],
        ["disc-7in-45@2.0.0", "7in", "at", "45"],
        ["disc-7in-45@2.0.1", "7in", "at", "45"],
        ["disc-7in-45@3.0.0", "7in", "at", "45"],
        ["disc-7in-45@3.1.0", "7in", "at", "45"],
        ["disc-7in-45@3.2.0", "7in", "at", "45"],
        ["disc-common@2.0.1", "only", "extended"],
        ["disc-common@3.0.0", "only", "extended"],
        ["disc-common@3.1.0", "only", "extended"],
        ["disc-common@3.2.0", "only", "extended"],
    ]
    done = ran("plugins")
    assert (done.returncode, done.stderr) == (0, "")
    title, *rows = done.stdout.splitlines()
    assert title.split() == ["PLUGIN", "PACKAGE", "VERSION", "STATE", "HOOKS"]
    assert {tuple(row.split()[:3]) for row in rows} >= {
        ("standard", "sidegate", qc.__version__),
        ("rulesets", "sidegate", qc.__version__),
    }


# -- schemas -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_printed_committed_and_current(name):
    done = ran("schema", name)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == (files("qc") / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    assert done.stdout == generated(name), "run python -m qc.schemas.build"
    schema = json.loads(done.stdout)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == f"Sidegate {name}"
    assert '"$id"' not in done.stdout
    assert schema["additionalProperties"] is False


def test_nothing_but_the_schemas_is_committed_beside_them():
    there = {path.name for path in Path(qc.__file__).parent.joinpath("schemas").glob("*.json")}
    assert there == {f"{name}.json" for name in NAMES}


def validator(name):
    return Draft202012Validator(json.loads(generated(name)))


def from_yaml(path):
    return YAML(typ="safe", pure=True).load(path)


@pytest.mark.long
def test_the_example_fails_on_its_second_side_and_the_schema_takes_its_report(tmp_path):
    for name in ("make.py", "delivery.yaml"):
        shutil.copy(EXAMPLE / name, tmp_path)
    subprocess.run([sys.executable, tmp_path / "make.py"], check=True, capture_output=True, timeout=300)
    done = ran("check", str(tmp_path), "--out", "json=-")
    assert done.returncode == 1, done.stderr
    report = json.loads(done.stdout)
    validator("report").validate(report)
    assert {result["side"] for result in report["results"] if result["outcome"] == "fail"} == {"B"}


def test_the_schema_takes_a_real_report_and_no_wrong_one(bench):
    bench.deliver()
    soundfile.write(bench.folder / "side-a.wav", 20.0 * programme(), RATE, subtype="FLOAT")
    report = bench.check().report
    schema = validator("report")
    schema.validate(report)
    assert {side["id"] for side in report["sides"]} == {"A", "B"}
    assert any(result["findings"] for result in report["results"])
    for part, key, value in (
        (report, "verdict", "fine"),
        (report, "tool", None),
        (report["results"][0], "outcome", "good"),
        (report["results"][0], "colour", "black"),
        (report["sides"][0], "passes", "one"),
        (report["sides"][0]["levels"]["judged"], "value", "loud"),
        (report["sides"][0]["levels"]["judged"], "colour", "black"),
        (next(r["findings"][0] for r in report["results"] if r["findings"])["location"], "line", 1.5),
    ):
        before = dict(part)
        part[key] = value
        assert not schema.is_valid(report), key
        part.clear()
        part.update(before)
    schema.validate(report)


def test_the_schema_takes_the_example_delivery_and_no_wrong_one():
    delivery = from_yaml(EXAMPLE / "delivery.yaml")
    schema = validator("delivery")
    schema.validate(delivery)
    for change in (
        lambda d: d.update(colour="black"),
        lambda d: d.pop("title"),
        lambda d: d.update(schema=2),
        lambda d: d.update(sides=[]),
        lambda d: d["disc"].update(speed=34),
        lambda d: d["sides"][0].update(audio="../side-a.wav"),
        lambda d: d["sides"][0].update(cut_levl="-3 dB"),
        lambda d: d["sides"][0]["tracks"][0].update(start="1:75.0"),
    ):
        assert_refused(schema, delivery, change)


def test_the_schema_takes_the_shipped_ruleset_and_no_wrong_one():
    ruleset = from_yaml(Path(str(files("qc_rulesets"))) / "disc-12in-33" / "1.0.0.yaml")
    schema = validator("ruleset")
    schema.validate(ruleset)
    for change in (
        lambda d: d.update(colour="black"),
        lambda d: d.pop("limits"),
        lambda d: d.update(schema=2),
        lambda d: d["serves"].update(speed=34),
        lambda d: d["chain"]["cut"].pop("land"),
        lambda d: d["chain"]["cut"]["land"].pop("source"),
        lambda d: d["limits"]["groove.too-little-land"]["least"].update(wrn="13 um"),
        lambda d: d["limits"]["groove.too-little-land"]["least"].update(sets_level="pass"),
    ):
        assert_refused(schema, ruleset, change)


def assert_refused(schema, document, change):
    changed = copy.deepcopy(document)
    change(changed)
    assert not schema.is_valid(changed)
