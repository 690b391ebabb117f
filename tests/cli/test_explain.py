"""`sidegate explain`: every check and every published number can be explained, and a wrong name is met half-way."""

from __future__ import annotations

from importlib.resources import files
from typing import get_args

import pytest

from qc import api
from qc.cli import explain
from qc.cli.main import main
from qc.plugin_host import spec
from qc.plugin_host.host import Host
from qc.plugin_host.spec import HOOKS
from qc.report.registry import Command, formats
from qc.rulebook.words import meanings
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.overrides import keys
from support.command import called
from support.plugins import plugin, renderer

SHIPPED = files("qc_rulesets") / "disc-12in-33" / "1.0.0.yaml"


@pytest.fixture(scope="module")
def host():
    return api.build_host()


def told(capfdbinary, *words):
    """Run in this process; gives exit code, words on stdout, words on stderr."""
    code = main(["explain", *words])
    out, err = capfdbinary.readouterr()
    return code, " ".join(out.decode().split()), err.decode()


def test_every_check_is_explained(host, capfdbinary):
    for name, kind in host.checks.items():
        code, text, _ = told(capfdbinary, name)
        assert code == 0
        for words in (name, kind.title, kind.why, kind.how, kind.blind_to, kind.remedy):
            assert " ".join(words.split()) in text


def test_every_published_name_has_a_meaning(host):
    known = meanings(host)
    for name in api.units(host.needs):
        assert known.get(name, "").endswith("."), name


def test_nothing_has_a_meaning_that_is_not_published(host):
    assert set(meanings(host)) <= set(api.units(host.needs))


def test_a_report_holds_nothing_that_is_not_explained(host, judged):
    import numpy as np

    from qc.testing.deliveries import Sent

    x = 0.1 * np.random.default_rng(1).standard_normal((2, 48_000))
    known = explain.names(host)
    assert set(judged({"A": Sent(x)}).report["sides"][0]["measurements"]) <= set(known)


def test_limits_come_with_unit_source_and_place(capfdbinary):
    code, text, _ = told(capfdbinary, "groove.drive-too-high", "--ruleset", "disc-12in-33@1.0.0")
    line = 1 + SHIPPED.read_text(encoding="utf-8").splitlines().index(
        '    in_1s: {warn: 200 g, fail: 400 g, sets_level: fail, source: "C-10; practice"}'
    )
    assert code == 0
    assert "limits as disc-12in-33@1.0.0 sets them" in text
    assert "--ruleset disc-7in-45 shows those" in text
    compared = "compared with groove.drive_1s, the drive (rms acceleration) over the worst 1 s"
    assert f"in_1s: warn 200 g, fail 400 g at most, {compared}" in text
    assert f"source C-10; practice; fail sets the cut level; set in disc-12in-33/1.0.0.yaml:{line}" in text
    assert "C-10: Heat in the cutter's coils follows the mean square" in text
    assert "(confidence: M, from memory)" in text
    assert "practice: Custom of the trade: a working value" in text


def test_a_measurement(capfdbinary):
    code, text, _ = told(capfdbinary, "loudness.integrated")
    assert code == 0
    assert text.startswith("loudness.integrated, in LUFS is Gated loudness of the whole side")
    assert "from loudness.programme: Integrated loudness" in text
    assert "(the plugin standard)" in text
    code, text, _ = told(capfdbinary, "groove.lateral_slope_peak", "--ruleset", "disc-12in-33@1.0.0")
    assert "a plain number" in text
    assert "judged by groove.slope-too-steep" in text
    assert "peak: warn/fail 2/- in disc-12in-33@1.0.0, set in disc-12in-33/1.0.0.yaml:" in text


def test_a_value_of_the_chain(capfdbinary):
    for key in keys():
        code, text, _ = told(capfdbinary, key)
        assert code == 0
        assert text.startswith(f"{key}, a value of the chain is {MEANINGS[key]} value ")
        assert f"--chain {key}=" in text
    code, text, _ = told(capfdbinary, "cut.land", "--ruleset", "disc-12in-33@1.0.0")
    assert "value 13 um in disc-12in-33@1.0.0, source V-7" in text
    assert "may be 1 to 200 um: without land two turns run into each other" in text
    assert "V-7: Land kept between the turns" in text


def test_a_check_that_is_off_or_not_named(capfdbinary, variant, tmp_path):
    path = variant({})
    text = path.read_text(encoding="utf-8")
    off = tmp_path / "off.yaml"
    off.write_text(text.replace("off: {}", "off: {level.true-peak-too-high: our limiter sees to it}"), encoding="utf-8")
    code, words, _ = told(capfdbinary, "level.true-peak-too-high", "--ruleset", str(off))
    assert code == 0
    assert "is off, off.yaml:" in words
    assert "our limiter sees to it" in words
    off.write_text(
        text.replace("  level.true-peak-too-high:\n    most: {warn: 0 dBTP, fail: +1 dBTP, source: practice}\n", "")
    )
    assert (
        "does not name it; it is not judged" in told(capfdbinary, "level.true-peak-too-high", "--ruleset", str(off))[1]
    )


@pytest.mark.parametrize(
    ("name", "near"),
    [
        ("groove.drive-too-hihg", "groove.drive-too-high"),
        ("drive-too-high", "groove.drive-too-high"),
        ("loudness.intergrated", "loudness.integrated"),
        ("loudness-integrated", "loudness.integrated"),
        ("sibilance", "hf.sibilance-or-cymbals-too-strong"),
        ("xyzzy", "names begin with audio., cut., delivery., disc., file., groove."),
        ("\x1b[2J", "names begin with"),
    ],
)
def test_an_unknown_name_is_met_half_way(capfdbinary, name, near):
    code, out, err = told(capfdbinary, name)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert near in err or all(part in err for part in near.split(" or "))
    assert "\x1b" not in err


def test_an_unknown_ruleset(capfdbinary):
    code, _, err = told(capfdbinary, "groove.drive-too-high", "--ruleset", "disc-12in-34")
    assert code == 2
    assert "disc-12in-34" in err


def test_the_command_writes_on_stdout_alone():
    code, out, err = called(["explain", "groove.cut-too-deep", "--ascii"])
    assert (code, err) == (0, "")
    assert out.isascii()
    assert all(len(line) <= 96 for line in out.splitlines())


def test_a_limit_as_reports_name_it_is_its_check(capfdbinary):
    limit = told(capfdbinary, "groove.drive-too-high/in_1s")
    assert limit == told(capfdbinary, "groove.drive-too-high")


@pytest.mark.parametrize("name", api.FORMATS)
def test_every_format_is_explained(name, capfdbinary):
    code, text, _ = told(capfdbinary, name)
    assert code == 0
    assert f"--out {name}=" in text
    for command in get_args(Command):
        words = {"check": "of sidegate check", "rulesets": ", rulesets diff"}.get(command, f", {command}")
        assert (words in text) == (name in formats(command)), command
    assert text.endswith("brought by sidegate itself")


@pytest.mark.parametrize("name", HOOKS)
def test_every_hook_is_explained(name, capfdbinary):
    code, text, _ = told(capfdbinary, name)
    assert code == 0
    words = " ".join((getattr(spec, name).__doc__ or "").split())
    assert words.split(".")[0] in text
    assert f"def {name}(" in text
    assert ("the plugin standard" in text) == (name in {"qc_checks", "qc_measures"})


def test_the_format_of_a_plugin_is_explained_with_its_plugin(monkeypatch, capfdbinary):
    lines = renderer("lines", suffixes=(".lines",), __doc__="A line a check.\n\nNo more.")
    house = Host.build(extra=[("acme", plugin(qc_renderers=[lines]))])
    monkeypatch.setattr(api, "build_host", lambda *_: house)
    code, text, _ = told(capfdbinary, "lines")
    assert code == 0
    assert text.endswith(
        "is A line a check. writes a file, usually .lines asked by --out lines=report.lines, of sidegate check "
        "brought by the plugin acme"
    )
