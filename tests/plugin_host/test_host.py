"""The host: each plugin whole or not at all, named when it is left out, and the others go on."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

import qc_rulesets
import qc_standard
from qc.plugin_host import names
from qc.plugin_host.finder import InstalledPlugin
from qc.plugin_host.host import Host, Plugin
from qc.plugin_host.spec import hookimpl
from support.plugins import PLACE, NotACheck, Plain, Unfinished, check, need, plugin, renderer, report, unplaced

GOOD = plugin(qc_checks=[check("good.thing")])


OTHERWISE = "choose another name"


def build(*extra, **more):
    return Host.build((), extra=extra, **more)


def test_the_tool_itself_loads_without_a_failure():
    host = build(("standard", qc_standard), ("rulesets", qc_rulesets))
    assert host.failures == []
    assert [one.name for one in host.plugins] == ["rulesets", "standard"]
    assert host.plugins[1] == Plugin("standard", "", "", ("qc_checks", "qc_measures"))
    files = Path(qc_standard.__file__).parent.glob("checks/*/*.py")  # one check a file
    assert len(host.checks) == sum(path.name != "__init__.py" for path in files)
    assert set(host.owner.values()) == {"standard"}
    assert (host.ruleset_folders[0] / "disc-12in-33" / "1.0.0.yaml").is_file()
    assert {"level.true_peak", "loudness.integrated", "stereo.low_correlation"} <= {
        name for kind in host.needs for name in kind.publishes
    }
    assert set(host.need_owner.values()) == {"standard"}


def test_everything_is_in_the_order_of_names_however_it_was_given(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "z").mkdir()
    zed = plugin(qc_checks=[check("b.one")], qc_measures=[need("z.z", {})], qc_rulesets=tmp_path / "z")
    ant = plugin(
        qc_checks=[check("c.one"), check("a.one")], qc_measures=[need("a.a", {})], qc_rulesets=[tmp_path / "a"]
    )
    host, other = build(("zed", zed), ("ant", ant)), build(("ant", ant), ("zed", zed))
    assert list(host.checks) == list(other.checks) == ["a.one", "b.one", "c.one"]
    assert [kind.id for kind in host.needs] == [kind.id for kind in other.needs] == ["a.a", "z.z"]
    assert host.ruleset_folders == other.ruleset_folders == (tmp_path / "a", tmp_path / "z")
    assert host.owner == {"a.one": "ant", "b.one": "zed", "c.one": "ant"}


def raising(error):
    def hook():
        raise error

    return hook


class Exits:
    def __dir__(self):
        raise SystemExit(7)


def wrapper():
    @hookimpl(wrapper=True)
    def qc_checks():
        return (yield)

    return Plain({"qc_checks": qc_checks})


def unmarked():
    return Plain({"qc_checks": list})


def a_list():
    return Plain({"qc_checks": [check()]})


def with_arguments():
    @hookimpl
    def qc_checks(ruleset):
        return []

    return Plain({"qc_checks": qc_checks})


def misspelt_and_marked():
    @hookimpl
    def qc_check():
        return []

    return Plain({"qc_check": qc_check})


def marked_by_another_name():
    @hookimpl(specname="qc_mesures")
    def anything():
        return []

    return Plain({"anything": anything})


TWICE = [check("a.one"), check("a.one")]
BAD = {
    "misspelt": (misspelt_and_marked(), "hooks", 'defines "qc_check", which is no hook; did you mean "qc_checks"?'),
    "misspelt, unmarked": (Plain({"qc_ruleset": list}), "hooks", 'did you mean "qc_rulesets"?'),
    "misspelt specname": (marked_by_another_name(), "hooks", '"qc_mesures", which is no hook; did you mean'),
    "unmarked": (unmarked(), "hooks", 'its "qc_checks" is no function marked with @hookimpl'),
    "a list in place of a function": (a_list(), "hooks", 'its "qc_checks" is no function marked'),
    "wrapper": (wrapper(), "hooks", 'its "qc_checks" is a wrapper'),
    "arguments": (with_arguments(), "hooks", 'its "qc_checks" takes "ruleset", and the hook is called with no'),
    "raises": (plugin(qc_checks=raising(ValueError("so\nit is"))), "qc_checks", "raised ValueError: so it is"),
    "exits": (plugin(qc_measures=raising(SystemExit(3))), "qc_measures", "qc_measures raised SystemExit: 3"),
    "exits when looked at": (Exits(), "hooks", "it raised SystemExit: 7"),
    "none": (plugin(qc_checks=None), "qc_checks", "qc_checks gave nothing; return a list"),
    "no list": (
        plugin(qc_checks=check()),
        "qc_checks",
        "gave the class Quiet, and not a list of classes made from Check",
    ),
    "an instance": (plugin(qc_checks=[1]), "qc_checks", "gave a value of type int in its list"),
    "another class": (plugin(qc_checks=[NotACheck]), "qc_checks", "gave the class NotACheck in its list"),
    "abstract": (plugin(qc_checks=[Unfinished]), "qc_checks", "gave Unfinished, which does not define evaluate"),
    "no id": (plugin(qc_checks=[check("")]), "qc_checks", "has no id"),
    "code number": (plugin(qc_checks=[check("HOUSE-01")]), "qc_checks", 'the check id "HOUSE-01" is not area.plain'),
    "no remedy": (plugin(qc_checks=[check(remedy=" ")]), "qc_checks", "has no remedy"),
    "no limits": (plugin(qc_checks=[check(Limits=int)]), "qc_checks", "has no Limits"),
    "judges elsewhere": (
        plugin(qc_checks=[check(judges={"mist": check().judges["most"]})]),
        "qc_checks",
        'judges "mist", which is not in its Limits; did you mean "most"?',
    ),
    "explains a text": (
        plugin(qc_checks=[check(explains={"level.clipped": "a text"})]),
        "qc_checks",
        'has "explains" that is no check id with a tuple of texts',
    ),
    "judges by a name": (plugin(qc_checks=[check(judges={"most": "x"})]), "qc_checks", "and not by a Judged"),
    "an unknown unit": (plugin(qc_measures=[need(publishes={"a.b": "furlong"})]), "qc_measures", '"furlong"'),
    "a unit written otherwise": (plugin(qc_measures=[need(publishes={"a.b": "µm"})]), "qc_measures", 'unit "µm"'),
    "a unit with a space": (plugin(qc_measures=[need(publishes={"a.b": "mm "})]), "qc_measures", 'unit "mm "'),
    "an empty unit": (plugin(qc_measures=[need(publishes={"a.b": ""})]), "qc_measures", 'unit ""'),
    "publishes a list": (
        plugin(qc_measures=[need(publishes=["a"])]),
        "qc_measures",
        "a value of type list, and not a dict",
    ),
    "a folder that is not": (plugin(qc_rulesets=Path("/nowhere/at/all")), "qc_rulesets", "is no folder"),
    "a folder of a kind": (plugin(qc_rulesets=[3]), "qc_rulesets", "gave a value of type int, and not the path"),
    "a format with an equals sign": (
        plugin(qc_renderers=[renderer("fo=o")]),
        "qc_renderers",
        'called "fo=o"; use letters',
    ),
    "suffixes in one text": (
        plugin(qc_renderers=[renderer("foo", suffixes=".foo")]),
        "qc_renderers",
        "no tuple of endings",
    ),
    "suffixes of nothing": (
        plugin(qc_renderers=[renderer("foo", suffixes=None)]),
        "qc_renderers",
        "no tuple of endings",
    ),
    "a docstring of a number": (plugin(qc_renderers=[renderer("foo", __doc__=5)]), "qc_renderers", "is no text"),
    "a nameless format": (plugin(qc_renderers=[renderer("")]), "qc_renderers", "has no name"),
    "one check twice": (plugin(qc_checks=TWICE), "names", 'the check "a.one" is given twice'),
    "a check of another": (GOOD, "names", 'the check "good.thing" is already given by plugin "good"'),
    "a name of the core": (
        plugin(qc_measures=[need("a.b", {"groove.travel": "mm"})]),
        "names",
        'the measurement "groove.travel" is already given by sidegate itself',
    ),
    "a format of the core": (plugin(qc_renderers=[renderer("json")]), "names", 'the report format "json" is already'),
    "two publishers in one": (
        plugin(qc_measures=[need("a.a"), need("a.b")]),
        "names",
        'the measurement "house.quietness" is given twice',
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_plugin_is_named_and_left_out_and_the_others_go_on(case):
    bad, stage, says = BAD[case]
    host = build(("good", GOOD), ("not so", bad), ("other", plugin()), core=["groove.travel"], formats=["json"])
    (failure,) = host.failures
    assert (failure.plugin, failure.stage) == ("not so", stage)
    assert failure.message.startswith('plugin "not so": ')
    assert says in failure.message
    assert "\n" not in failure.message
    assert list(host.checks) == ["good.thing"]
    assert host.needs == ()
    assert [one.error for one in host.plugins] == [None, failure.message, None]


def test_two_publishers_of_one_name():
    one, two = plugin(qc_measures=[need("a.a")]), plugin(qc_measures=[need("b.b")])
    host = build(("one", one), ("two", two))
    assert [kind.id for kind in host.needs] == ["a.a"]
    assert host.failures[0].message == (
        'plugin "two": the measurement "house.quietness" is already given by plugin "one"; choose another name'
    )


def test_an_interrupt_that_a_plugin_raises_itself_is_its_fault():
    host = build(("bad", plugin(qc_checks=raising(KeyboardInterrupt))), ("good", GOOD))
    (failure,) = host.failures
    assert unplaced(failure.message) == 'plugin "bad": qc_checks raised KeyboardInterrupt'
    assert list(host.checks) == ["good.thing"]


class Entry:
    """An entry point that is loaded from here."""

    def __init__(self, load):
        self.load = load


def importing(error):
    def load():
        raise error

    return Entry(load)


def test_a_plugin_that_does_not_import_is_named_with_its_package():
    found = [
        InstalledPlugin("a", "acme-rules", "1.2", importing(ImportError("no module named foo"))),
        InstalledPlugin("b", "other", "3", importing(SystemExit("bye"))),
        InstalledPlugin("c", "third", "0", Entry(lambda: GOOD)),
        InstalledPlugin("c", "fourth", "0", Entry(plugin)),
    ]
    host = Host.build(found)
    assert [(one.plugin, one.stage, PLACE.sub("", one.message)) for one in host.failures] == [
        ("a", "load", 'plugin "a" of acme-rules 1.2: it raised ImportError: no module named foo'),
        ("b", "load", 'plugin "b" of other 3: it raised SystemExit: bye'),
        (
            "c",
            "find",
            f'plugin "c" of fourth 0: the plugin name "c" is already given by plugin "c" of third 0; {OTHERWISE}',
        ),
    ]
    assert list(host.checks) == ["good.thing"]
    assert len(host.plugins) == 4


def test_an_entry_point_to_nowhere():
    entry = EntryPoint("gone", "no_such_module_at_all", names.GROUP)
    host = Host.build([InstalledPlugin("gone", "acme", "1", entry)])
    assert "ModuleNotFoundError: No module named 'no_such_module_at_all'" in host.failures[0].message


def test_nobody_takes_the_place_of_the_tools_own():
    own = InstalledPlugin("standard", "sidegate", "0.1.0", Entry(lambda: GOOD))
    first = InstalledPlugin("aaa", "acme", "1", Entry(lambda: plugin(qc_checks=[check("good.thing")])))
    host = Host.build([first, own])
    assert host.owner == {"good.thing": "standard"}
    assert host.failures[0].plugin == "aaa"
    assert [one.name for one in host.plugins] == ["aaa", "standard"]


def test_the_first_by_name_that_knows_a_path_reads_it():
    asked = []

    def knows(name, text):
        def qc_read_delivery(path):
            asked.append(name)
            return text

        return name, plugin(qc_read_delivery=qc_read_delivery)

    host = build(knows("c", "three"), knows("b", "two"), knows("a", None))
    assert host.read_delivery(Path("x")) == "two"
    assert asked == ["a", "b"]
    assert build(("a", plugin())).read_delivery(Path("x")) is None


def test_a_reader_that_breaks_is_noted_and_the_next_is_asked():
    def qc_read_delivery(path):
        raise RuntimeError(f"cannot read {path}")

    host = build(
        ("a", plugin(qc_read_delivery=qc_read_delivery)),
        ("b", plugin(qc_read_delivery=b"bytes")),
        ("c", plugin(qc_read_delivery="text")),
    )
    assert host.read_delivery(Path("x")) == "text"
    assert [PLACE.sub("", one.message) for one in host.failures] == [
        'plugin "a": qc_read_delivery raised RuntimeError: cannot read x',
        'plugin "b": qc_read_delivery gave a value of type bytes, and not text or None',
    ]


def test_the_report_reaches_everybody_whoever_breaks():
    seen = []

    def breaks(report):
        raise OSError("disk full")

    def files(report):
        seen.append(report)

    host = build(("c", plugin(qc_report_done=files)), ("b", plugin(qc_report_done=breaks)), ("a", plugin()))
    given = report()
    (failure,) = host.report_done(given)
    assert (failure.plugin, failure.stage) == ("b", "qc_report_done")
    assert unplaced(failure.message) == 'plugin "b": qc_report_done raised OSError: disk full'
    assert seen == [given]


def test_an_error_whose_text_raises():
    class Mute(Exception):  # noqa: N818
        def __str__(self):
            raise ValueError("no text")

    host = build(("a", plugin(qc_checks=raising(Mute()))))
    assert unplaced(host.failures[0].message) == 'plugin "a": qc_checks raised Mute'


def test_renderers_by_name():
    host = build(("a", plugin(qc_renderers=[renderer("zig"), renderer("abc")])))
    assert list(host.renderers) == ["abc", "zig"]


def test_a_class_or_an_object_may_be_a_plugin():
    class House:
        @hookimpl
        def qc_checks(self):
            return [check("a.one")]

    assert list(build(("house", House())).checks) == ["a.one"]


def test_finding_and_importing_the_plugins_stays_light():
    code = (
        "import sys, qc_standard, qc_rulesets, qc.plugin_host.finder\n"
        "heavy = {'numpy', 'numba', 'pydantic', 'soundfile', 'ruamel'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
