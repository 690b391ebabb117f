"""Runs of the command with plugins of a house, compared with a run without them."""

from __future__ import annotations

import json

import pytest
from lxml import etree

from qc import api
from qc.cli.main import main
from support.command import SCHEMA
from support.houses import SHIPPED_12IN_33
from support.misbehaving import own_check

FORMATS = {"json": "r.json", "junit": "r.xml", "sarif": "r.sarif"}


class Ran:
    """One run of the command: exit code, streams, and the reports that were written."""

    def __init__(self, code, out, err, folder):
        self.code, self.out, self.err, self.folder = code, out, err, folder
        self.report = json.loads((folder / "r.json").read_text())

    def own(self, name):
        return next(r for r in self.report["results"] if r["check"] == own_check(name))

    def numbers(self, names):
        """Every outcome, finding and number that is none of some plugins'."""

        def is_other(key):
            return key.partition(".")[0] not in names

        (side,) = self.report["sides"]
        measured = {key: value for key, value in side["measurements"].items() if is_other(key)}
        results = {r["check"]: (r["outcome"], r["measured"], found(r)) for r in self.report["results"]}
        return measured, {key: value for key, value in results.items() if is_other(key)}, side["levels"]


def found(result):
    """The findings of a check; the line of the limit depends on the lines above it."""
    return [finding | {"limit": {**(finding["limit"] or {}), "origin": ""}} for finding in result["findings"]]


def ran(host, delivery, folder, lines, capsysbinary, *words):
    """Judge the delivery with a host, by the shipped ruleset and some more limits, and write reports."""
    path = folder / "house.yaml"
    path.write_text(SHIPPED_12IN_33.read_text(encoding="utf-8").replace("limits:\n", f"limits:\n{lines}\n", 1))
    outs = [word for name, file in FORMATS.items() for word in ("--out", f"{name}={folder / file}")]
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(api, "build_host", lambda *_: host)
        code = main(["check", str(delivery), "--ruleset", str(path), "--no-cache", *outs, *words])
    out, err = capsysbinary.readouterr()
    assert b"Traceback" not in err
    assert b"the tool itself failed" not in err
    return Ran(code, out, err.decode(), folder)


def judged_as_without(report, names, alone):
    """The reports are valid, and whatever is none of some plugins' is as without them."""
    assert SCHEMA.is_valid(report.report)
    assert report.numbers(names) == alone
    etree.parse(report.folder / "r.xml")
    assert json.loads((report.folder / "r.sarif").read_text())["version"] == "2.1.0"
