"""What is done with a block, by its language; a kind that is not known fails.

To teach it another kind of YAML or JSON file, add a row to YAML or JSON: its name, the top-level keys that tell it,
and a function that loads it or raises. To teach it another block of text, add a row to TEXT.
"""

from __future__ import annotations

import contextlib
import json
import re
import sys
import textwrap
import tomllib
import types
from pathlib import Path

import ruamel.yaml
from jsonschema import Draft202012Validator

from documents.bench import in_the_sources
from documents.commands import parsed, try_line
from documents.pages import ROOT
from qc import api
from qc.cli.main import parser
from qc.delivery.approvals import read_approvals
from qc.delivery.reader import parse_delivery
from qc.delivery.waivers import read_waivers
from qc.judge.bind import bind
from qc.plugin_host.host import Host
from qc.plugin_host.names import GROUP
from qc.report.text.report import HEADS
from qc.ruleset.find import Available
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources
from qc.schemas.build import generated
from qc.testing import cases


def do(block, bench):
    """Try a block and say what was done with it."""
    assert block.language in LANGUAGES, f"{block.where}: blocks of {block.language or 'no language'} are not known"
    try:
        return LANGUAGES[block.language](block, bench)
    except Exception as why:
        raise AssertionError(f"{block.where}: {type(why).__name__}: {why}") from why


# -- YAML and JSON ---------------------------------------------------------------------------------------------


def delivery(text, _bench):
    """Read it as a delivery file."""
    read = parse_delivery(text.encode(), Path("delivery.yaml"), Path())
    assert read.delivery.sides


def ruleset(text, bench):
    """Load it as a ruleset, by the sources that there are, and bind it to the checks that there are."""
    host = api.build_host()
    place = bench.folder / "shown" / "ruleset.yaml"  # beside no case
    place.parent.mkdir(exist_ok=True)
    place.write_text(text, encoding="utf-8")
    bind(load_ruleset(Available(place), Sources(host.ruleset_folders)), host.checks, api.units(host.needs))


def approvals(text, bench):
    """Read it as a file of approvals."""
    place = bench.folder / "shown-approvals.yaml"
    place.write_text(text, encoding="utf-8")
    assert read_approvals(place)


def waivers(text, bench):
    """Read it as a file of waivers."""
    place = bench.folder / "shown-waivers.yaml"
    place.write_text(text, encoding="utf-8")
    assert read_waivers(place)


def case(text, bench):
    """Load it as a test case of a check; that it holds is tested with the kit."""
    folder = "shown" if (bench.folder / "cases").exists() else "cases"  # not among those that the page names
    place = bench.folder / folder / "house.left-too-heavy" / "warn-as-shown.yaml"
    place.parent.mkdir(parents=True)
    place.write_text(text, encoding="utf-8")
    assert cases.load(place).outcome == "warn"


YAML = (
    ("delivery", {"schema", "title", "sides"}, delivery),
    ("ruleset", {"schema", "name", "version"}, ruleset),
    ("file of waivers", {"schema", "waivers"}, waivers),
    ("file of approvals", {"schema", "approvals"}, approvals),
    ("case", {"why", "sides"}, case),
)
"""(kind, top-level keys that tell it, what loads it)"""


def report(text, _bench):
    """Hold it against the schema of reports."""
    Draft202012Validator(json.loads(generated("report"))).validate(json.loads(text))


JSON = (("report", {"verdict", "results"}, report),)


def _by_keys(data, kinds, what):
    assert isinstance(data, dict), f"this {what} has no keys at its top"
    fitting = [(name, load) for name, keys, load in kinds if keys <= set(data)]
    known = "; ".join(f"{name}: {', '.join(sorted(keys))}" for name, keys, _ in kinds)
    assert len(fitting) == 1, f"{what} with the keys {', '.join(data)} is of no known kind or of several ({known})"
    return fitting[0]


def yaml(block, bench):
    """Load it as what its keys say it is."""
    name, load = _by_keys(ruamel.yaml.YAML(typ="safe").load(block.text), YAML, "YAML")
    load(block.text, bench)
    return f"loaded as a {name}"


def written_json(block, bench):
    """Validate it as what its keys say it is."""
    name, load = _by_keys(json.loads(block.text), JSON, "JSON")
    load(block.text, bench)
    return f"validated as a {name}"


# -- code ------------------------------------------------------------------------------------------------------


def python(block, bench):
    """Execute it, beside the cases shown before it; where it has hooks, load it as a plugin."""
    module = types.ModuleType("shown")
    module.__file__ = str(bench.folder / "shown.py")
    for name in re.findall(r'checked\(Path\("([\w-]+)"\)', block.text):
        bench.delivered(name)
    sys.modules["shown"] = module  # dataclasses look their module up; what the block imports stays imported
    try:
        with contextlib.chdir(bench.folder):
            exec(compile(block.text, block.where, "exec", dont_inherit=True), module.__dict__)
    finally:
        del sys.modules["shown"]
    if not any(name.startswith("qc_") for name in vars(module)):
        return "executed"
    host = Host.build(extra=[("shown", module)], core=api.units(()), formats=api.FORMATS)
    assert host.failures == [], host.failures
    return "executed, and loaded as a plugin"


def toml(block, _bench):
    """Read it as a pyproject.toml that announces a plugin."""
    groups = tomllib.loads(block.text)["project"]["entry-points"]
    assert list(groups) == [GROUP]
    return "read as a pyproject.toml that announces a plugin"


def sh(block, bench):
    """Try each line."""
    lines = block.text.replace("\\\n", " ").splitlines()
    done = [sentence for line in lines for sentence in try_line(line, bench)]
    assert done, "there is no command in it"
    return "; ".join(done)


# -- text ------------------------------------------------------------------------------------------------------


def usage(text, _bench):
    """Read each line by the parser, once with everything that it says may be left out."""
    lines = re.sub(r"\n {8,}(?=\[)", " ", text).splitlines()
    shown = [re.split(r" {2,}", line)[0] for line in lines if line.startswith("sidegate ")]
    for line in shown:
        parsed(parser(), _example(line).split()[1:])
    return f"{len(shown)} lines of usage read by the parser"


STANDING_FOR = {
    "NAME[@VERSION]": "disc-12in-33@1.0.0", "KEY=VALUE": "cut.land=10um", "FORMAT=PATH": "json=report.json",
    "FOLDER|FILE": "folder", "SECONDS": "60", "ID=FILE,FILE": "A=a.wav,b.wav",
}  # fmt: skip


def _example(line):
    """Turn a line of usage into one that could be typed: all options, the first of alternatives, values for names."""
    for name, value in STANDING_FOR.items():
        line = line.replace(name, value)
    line = re.sub(r"\[([^\[\]|]+) \| [^\[\]]+\]", r"\1", line.replace("...", ""))
    return re.sub(r" N(?=\W|$)", " 2", re.sub(r"[\[\]]", "", line))


def demo(text, _bench):
    """See that it is about checks there are and names commands there are; the demo's tests compare it as a whole."""
    checks = api.build_host().checks
    faults = [line.rsplit(maxsplit=1)[1] for line in text.splitlines() if line.startswith("  B ")]
    assert faults
    assert set(faults) <= set(checks)
    commands = [re.split(r" {2,}", line.strip())[0] for line in text.splitlines() if line.startswith("  sidegate ")]
    for command in commands:
        parsed(parser(), command.split()[1:])
    assert "test_the_readme_shows_what_the_demo_prints" in in_the_sources("tests/demo/test_words.py").read_text("utf-8")
    return f"{len(faults)} checks are there, {len(commands)} commands read by the parser"


def part_of_a_delivery(text, bench):
    """Read it as the sides of a delivery file."""
    head = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n"
    delivery(head + textwrap.indent(textwrap.dedent(text), "  "), bench)
    return "read as the sides of a delivery"


def plan(text, bench):
    """See that a plan has such a table: its heading, and assumptions and checks of these names."""
    words = ["plan", "shown-plan"]
    made = bench.run(words, parsed(parser(), words))
    head, *rows = (re.split(r" {2,}", line.strip()) for line in text.splitlines())
    assert any(re.split(r" {2,}", line.strip()) == head for line in made.splitlines()), head
    for row in rows:
        assert row[0].removesuffix(" *") in made, row[0]
        assert row[-1] in api.build_host().checks
    return f"a plan has the heading and the {len(rows)} assumptions"


def drawing(text, _bench):
    """See that every folder and file in it is there."""
    named = set(re.findall(r"(?<![\w/])(?:[a-z_]+/)+[a-z_]+\.py|(?<![\w/])qc(?:/[a-z_]+)+", text))
    assert named
    for name in named:
        places = [folder / name for folder in (ROOT, ROOT / "qc", ROOT / "plugins")]
        assert any(place.exists() or place.with_suffix(".py").exists() for place in places), f"{name} is not there"
    return f"{len(named)} places are there"


def layers(text, _bench):
    """See that the map has the layers of the import contract, line by line."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
    (contract,) = (one for one in contracts if one["type"] == "layers")
    names = [re.split(r" {2,}", line.strip())[0] for line in text.splitlines() if re.match(r" \w", line)]
    assert names == contract["layers"]
    return f"{len(names)} layers are those of the contract"


TEXT = (
    ("usage", lambda text: text.startswith("sidegate "), usage),
    ("the demo", lambda text: text.startswith(tuple(f"{head}: " for head in HEADS.values())), demo),
    ("sides of a delivery", lambda text: text.lstrip().startswith("- id:"), part_of_a_delivery),
    ("a plan", lambda text: text.startswith("ASSUMED "), plan),
    ("a map of the layers", lambda text: text.startswith(" __main__ | testing "), layers),
    ("a drawing", lambda text: "│" in text, drawing),
)
"""(kind, what tells it, what tries it and says what it did)"""


def text(block, bench):
    """Try it as what it begins with."""
    fitting = [(name, try_it) for name, is_it, try_it in TEXT if is_it(block.text)]
    assert len(fitting) == 1, f"text of no known kind, or of several: {', '.join(name for name, _ in fitting)}"
    name, try_it = fitting[0]
    return f"{name}: {try_it(block.text, bench)}"


LANGUAGES = {"yaml": yaml, "json": written_json, "python": python, "toml": toml, "sh": sh, "text": text}
"""language of a block -> what is done with it"""
