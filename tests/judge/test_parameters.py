"""Parameters of checks: read as the type that a check states, refused by file and line, in every report."""

from __future__ import annotations

import dataclasses
import io
import json
from enum import Enum
from pathlib import Path
from typing import Annotated, ClassVar, Literal

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from pydantic import AfterValidator, create_model

import qc_rulesets
import qc_standard
from qc import api
from qc.cli.main import main
from qc.judge.bind import bind
from qc.judge.context import Context, SideEvidence
from qc.judge.engine import exit_code
from qc.model.errors import RulesetError
from qc.plugin_api import Evidence, Judged, Limit, Pattern, Unit
from qc.plugin_host.host import Host
from qc.report.html.renderer import Html
from qc.report.text.report import Text
from qc.rulebook.book import Book
from qc.rulebook.checks import check_page
from qc.ruleset.sources import Sources
from qc.schemas.build import generated
from qc.testing import cases
from qc.testing.deliveries import Sent, deliver
from support import house_catalogue
from support.house_catalogue import CHECK, SOURCE, STATED, put
from support.houses import Houses

HOST = Host.build((), extra=[("standard", qc_standard), ("rulesets", qc_rulesets), ("catalogue", house_catalogue)])
UNITS = api.units(HOST.needs)
LINE = {key: 7 + index for index, key in enumerate(STATED)}
"""line of each key in the ruleset's file; a further one is on the next"""


@pytest.fixture
def houses(tmp_path):
    return Houses(tmp_path / "rulesets")


def bound(houses, **entries):
    checks = bind(houses.load(put(houses, **entries)), HOST.checks, UNITS).checks
    return next(check for check in checks if check.id == CHECK).limits


def test_each_value_is_of_the_type_that_the_check_states(houses):
    limits = bound(houses, letters=f"{{value: upper case, {SOURCE}}}", most_tracks=f"{{value: 8, {SOURCE}}}")
    assert limits.pattern == Pattern("^QH-[0-9]{3}$")
    assert (limits.required, limits.grade, limits.shortest) == (True, "fail", 0.1)
    assert (limits.letters, limits.most_tracks, limits.forbidden) == (house_catalogue.Case.UPPER, 8, None)


REFUSED = {
    "no switch": ("required", f"{{value: yes, {SOURCE}}}", 'is "yes"; it must be true or false'),
    "no choice": ("grade", f"{{value: faill, {SOURCE}}}", 'is "faill"; it must be one of warn, fail'),
    "no member": ("letters", f"{{value: UPPER, {SOURCE}}}", 'is "UPPER"; it must be one of any, upper case'),
    "no number": ("shortest", f"{{value: long, {SOURCE}}}", 'is "long"; it must be a number in s'),
    "another unit": ("shortest", f"{{value: 3 mm, {SOURCE}}}", 'is "3 mm"; it must be a number in s'),
    "no unit": ("shortest", f"{{value: 3, {SOURCE}}}", 'is "3"; it must be a number in s'),
    "no whole number": ("most_tracks", f"{{value: 2.5, {SOURCE}}}", 'is "2.5"; it must be a whole number'),
    "an open group": (
        "pattern", f'{{value: "^(QH", {SOURCE}}}', 'is "^(QH"; it is no pattern that can be read (unclosed group);',
    ),
    "a look ahead": ("pattern", f'{{value: "(?=QH)", {SOURCE}}}', "a pattern cannot look ahead, look behind or refer"),
    "a reference": ("pattern", f'{{value: "(Q)\\\\1", {SOURCE}}}', "cannot look ahead, look behind or refer back to"),
    "a pattern without end": ("pattern", f'{{value: "(Q{{999}}){{999}}", {SOURCE}}}', "as a pattern it is too large;"),
}  # fmt: skip


@pytest.mark.parametrize(("key", "entry", "says"), REFUSED.values(), ids=REFUSED)
def test_a_value_of_another_type_is_refused_in_a_sentence(houses, key, entry, says):
    with pytest.raises(RulesetError) as caught:
        bound(houses, **{key: entry})
    assert str(caught.value).startswith(f'house.yaml:{LINE.get(key, 11)}: the parameter "{key}" of "{CHECK}" is "')
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


MISPLACED = {
    "no source": ("pattern", "{value: Q}", 7, '"source" is missing; write it as source: practice'),
    "a list": ("pattern", f"{{value: [a, b], {SOURCE}}}", 7, '"value" is a list; it must be one value'),
    "too long": ("pattern", f"{{value: {'Q' * 257}, {SOURCE}}}", 7, "a value of 257 characters is too long; at most"),
    "both": ("grade", f"{{value: fail, warn: 3 s, {SOURCE}}}", 9, 'a limit has "warn" and "fail", a parameter has "v'),
    "a limit": ("grade", f"{{warn: 3 s, {SOURCE}}}", 9, f'"grade" of "{CHECK}" is a parameter; write it as {{value'),
    "unknown": ("patern", f"{{value: Q, {SOURCE}}}", 11, 'has no parameter "patern"; did you mean "pattern"?'),
    "missing": ("grade", "", 6, f'"{CHECK}" needs the parameter "grade"; add it, or put the check under "off"'),
    "out of bounds": ("shortest", f"{{value: -1 s, {SOURCE}}}", 10, '"shortest" is "-1.0"; it must be at least 0'),
}


@pytest.mark.parametrize(("key", "entry", "line", "says"), MISPLACED.values(), ids=MISPLACED)
def test_an_entry_that_does_not_fit_is_refused_at_its_line(houses, key, entry, line, says):
    with pytest.raises(RulesetError) as caught:
        bound(houses, **{key: entry})
    where, sentence = str(caught.value).split(": ", 1)
    assert (Path(where).name, "\n" in sentence) == (f"house.yaml:{line}", False)
    assert says in sentence


def test_a_limit_is_no_parameter(houses):
    body = f"limits: {{groove.cut-too-deep: {{greatest: {{value: 3, {SOURCE}}}}}}}\n"
    ruleset = houses.load(houses.put_at("house.yaml", "house@1.0.0", body))
    with pytest.raises(RulesetError, match=r'house.yaml:5: "greatest" of "groove.cut-too-deep" is a limit; give it "w'):
        bind(ruleset, HOST.checks, UNITS)


def test_parameters_are_inherited_one_by_one_and_a_check_may_be_put_off(houses):
    put(houses, "house/1.0.0.yaml")
    own = f"limits: {{{CHECK}: {{grade: {{value: warn, {SOURCE}}}}}}}\n"
    child = houses.load(houses.put("child@1.0.0", own, "house@1.0.0"))
    (check,) = (check for check in bind(child, HOST.checks, UNITS).checks if check.id == CHECK)
    assert (check.limits.grade, check.limits.pattern.value) == ("warn", "^QH-[0-9]{3}$")
    origins = {key: raw.origin for key, raw in child.parameters[CHECK].items()}
    assert (origins["grade"], origins["pattern"]) == ("child/1.0.0.yaml:5", "house/1.0.0.yaml:7")
    off = houses.load(houses.put("off@1.0.0", f"off: {{{CHECK}: another label}}\n", "house@1.0.0"))
    assert CHECK not in [check.id for check in bind(off, HOST.checks, UNITS).checks]


# -- judging -------------------------------------------------------------------------------------------------


def judged(houses, tmp_path, catalogue="QH-001", title="No. 1", **entries):
    folder = deliver(tmp_path / "delivery", {"A": Sent(0.1 * np.random.default_rng(4).standard_normal((2, 48_000)))})
    text = (folder / "delivery.yaml").read_text()
    text = text.replace("catalogue: QH-001", f"catalogue: {catalogue}").replace("No. 1", title)
    (folder / "delivery.yaml").write_text(text)
    report = api.check(folder, api.Options(ruleset=str(put(houses, **entries)), workers=1), HOST)
    return report, next(result for result in report.results if result.check == CHECK)


def test_a_check_judges_by_its_parameters_and_the_report_states_them(houses, tmp_path):
    report, result = judged(houses, tmp_path, most_tracks=f"{{value: 8, {SOURCE}}}")
    assert result.outcome == "pass"
    written = json.loads(report.model_dump_json())
    Draft202012Validator(json.loads(generated("report"))).validate(written)
    stated = {"source": "house: label guide 4", "origin": "house.yaml:7"}
    assert written["ruleset"]["parameters"] == {
        f"{CHECK}/pattern": {"value": "^QH-[0-9]{3}$", **stated},
        f"{CHECK}/required": {"value": True, **stated, "origin": "house.yaml:8"},
        f"{CHECK}/grade": {"value": "fail", **stated, "origin": "house.yaml:9"},
        f"{CHECK}/shortest": {"value": 0.1, "unit": "s", **stated, "origin": "house.yaml:10"},
        f"{CHECK}/letters": {"value": "any", "source": "default of the check", "origin": ""},
        f"{CHECK}/most_tracks": {"value": 8, **stated, "origin": "house.yaml:11"},
    }


def test_the_verbose_text_lists_parameters_with_their_sources(houses, tmp_path):
    report, _ = judged(houses, tmp_path, most_tracks=f"{{value: 8, {SOURCE}}}")
    out = io.BytesIO()
    Text(width=200, detail="verbose").render(report, Evidence(), out)
    assert f"{CHECK}/pattern is ^QH-[0-9]{{3}}$ (house: label guide 4)" in out.getvalue().decode()
    assert f"{CHECK}/shortest is 0.1 s (house: label guide 4)" in out.getvalue().decode()


@pytest.mark.parametrize("grade", ["warn", "fail"])
def test_another_value_gives_another_outcome(houses, tmp_path, grade):
    _, result = judged(houses, tmp_path, catalogue="QH-1", grade=f"{{value: {grade}, {SOURCE}}}")
    assert result.outcome == grade
    assert result.findings[0].message == 'The catalogue number is "QH-1"'


def test_a_report_without_parameters_does_not_name_them(houses, tmp_path):
    report = api.check(
        deliver(tmp_path / "delivery", {"A": Sent(np.zeros((2, 9_600)))}),
        api.Options(ruleset="disc-12in-33@1.0.0", workers=1), HOST,
    )  # fmt: skip
    assert "parameters" not in json.loads(report.model_dump_json())["ruleset"]


def test_a_text_that_is_too_long_fails_and_is_no_fault_of_the_plugin(houses, tmp_path):
    title = "A" * 300
    report, result = judged(houses, tmp_path, title=title, forbidden=f"{{value: Demo, {SOURCE}}}")
    assert (result.outcome, exit_code(report), report.plugin_failures) == ("fail", 1, ())
    (finding,) = result.findings
    assert finding.message == "A text of 300 characters is too long to be judged; at most 256 are"
    assert (finding.location.field, finding.location.line) == ("tracks.0.title", 9)


def test_a_long_text_of_the_delivery_is_named_by_its_key(houses):
    text = "A" * 300
    evidence = SideEvidence(side="", chain=houses.load(put(houses)).chain, declared={}, delivery={"catalogue": text})
    finding = Context(evidence, house_catalogue.CatalogueNumber(None)).of_text("It is too long", text)
    assert (finding.severity, finding.location.field) == ("fail", "catalogue")


def test_a_case_file_sets_parameters_beside_those_of_its_ruleset(houses, tmp_path):
    ruleset = put(houses, "house/1.0.0.yaml")
    path = tmp_path / CHECK / "fail-another-label.yaml"
    path.parent.mkdir()
    tone = "{sine: {frequency: 440 Hz, level: -12 dBFS, lasts: 1 s}}"
    path.write_text(
        f"why: The number is another label's.\nruleset: {ruleset}\n"
        f"limits: {{{CHECK}: {{required: {{value: true, {SOURCE}}}, pattern: {{value: ^ZZ, {SOURCE}}}}}}}\n"
        f"delivery: {{catalogue: QH-001}}\nsides: [{{audio: [{tone}], tracks: [{{start: 0, end: 1}}]}}]\n"
    )
    host = dataclasses.replace(HOST, ruleset_folders=houses.folders)
    judged_report = cases.check(cases.load(path), tmp_path / "run", host)
    stated = judged_report.report["ruleset"]["parameters"]
    assert stated[f"{CHECK}/pattern"]["value"] == "^ZZ"
    grade = stated[f"{CHECK}/grade"]
    assert (grade["value"], grade["source"]) == ("fail", "house: label guide 4")


def test_a_pattern_that_other_engines_hang_on_is_matched_at_once(houses, tmp_path):
    hopeless = '"^(([A-Z]+)+)+$"'
    _, result = judged(houses, tmp_path, catalogue="A" * 255 + "!", pattern=f"{{value: {hopeless}, {SOURCE}}}")
    assert result.outcome == "fail"
    _, result = judged(houses, tmp_path, catalogue="A" * 256, pattern=f"{{value: {hopeless}, {SOURCE}}}")
    assert result.outcome == "pass"


# -- shown ---------------------------------------------------------------------------------------------------


def test_explain_shows_value_meaning_source_and_place(houses, monkeypatch, capfdbinary):
    monkeypatch.setattr(api, "build_host", lambda *_: HOST)
    assert main(["explain", CHECK, "--ruleset", str(put(houses))]) == 0
    text = " ".join(capfdbinary.readouterr().out.decode().split())
    for words in (
        "limits none, in house@1.0.0", "pattern: ^QH-[0-9]{3}$ What a catalogue number looks like.", "shortest: 0.1 s",
        "source house: label guide 4; set in house.yaml:7", "required: true",
        "most_tracks: 20 Most tracks of a side. default of the check",
    ):  # fmt: skip
        assert words in text
    assert "forbidden" not in text


def test_the_html_report_shows_them_as_text(houses, tmp_path):
    report, _ = judged(houses, tmp_path, pattern=f"{{value: ^<b>QH, {SOURCE}}}")
    page = io.BytesIO()
    Html().render(report, Evidence(), page)
    text = page.getvalue().decode()
    assert "<h3>Parameters of checks</h3>" in text
    assert f'<tr><th scope="row">{CHECK}/shortest</th><td class="words"><bdi>0.1 s</bdi></td>' in text
    assert "^&lt;b&gt;QH" in text


def test_the_rulebook_shows_what_each_may_be_and_is(houses):
    ruleset = houses.load(put(houses))
    host = dataclasses.replace(HOST, ruleset_folders=houses.folders)
    book = Book(host, (ruleset,), Sources(houses.folders), UNITS, {})
    page = check_page(book, house_catalogue.CatalogueNumber)
    for words in (
        "`pattern`, a parameter: What a catalogue number looks like. It is a pattern.",
        "`grade`, a parameter: How grave a number of another form is. It is one of warn, fail.",
        "It is a number in s.", "It is one of any, upper case; any where a ruleset leaves it out.",
        "It is a whole number; 20 where a ruleset leaves it out.", "It is a text.", "`^QH-[0-9]{3}$`", "`100 ms`",
    ):  # fmt: skip
        assert words in " ".join(page.split())
    assert "It is judged, and has no limits." not in page


def test_the_command_ends_with_the_right_code(houses, tmp_path, monkeypatch, capfdbinary):
    monkeypatch.setattr(api, "build_host", lambda *_: HOST)
    folder = deliver(tmp_path / "delivery", {"A": Sent(np.zeros((2, 9_600)))})
    assert main(["check", str(folder), "--ruleset", str(put(houses, grade="{value: warn}")), "--out", "json=-"]) == 2
    *_, sentence = capfdbinary.readouterr().err.decode().splitlines()
    assert sentence.startswith("sidegate: ")
    assert sentence.endswith('house.yaml:9: "source" is missing; write it as source: practice')
    ruleset = put(houses, pattern=f'{{value: "[", {SOURCE}}}')
    assert main(["check", str(folder), "--ruleset", str(ruleset), "--out", "json=-"]) == 2
    *_, sentence = capfdbinary.readouterr().err.decode().splitlines()
    assert sentence.startswith(f'sidegate: house.yaml:7: the parameter "pattern" of "{CHECK}" is "["; it is no pattern')


# -- the types -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pattern", "text", "matches"),
    [
        ("QH", "a QH b", True), ("^QH", "a QH b", False), ("QH$", "QH", True), ("QH$", "QH\n", False),
        ("^.{256}$", "a" * 256, True), (r"^\p{Lu}+$", "ÄÖ", True), ("", "", True),
    ],
)  # fmt: skip
def test_a_pattern_is_found_anywhere_unless_it_says_where(pattern, text, matches):
    assert Pattern(pattern).matches(text) is matches


def test_a_pattern_is_matched_with_a_text_only():
    with pytest.raises(TypeError, match="not with a value of type int"):
        Pattern("1").matches(1)


@pytest.mark.parametrize("unit", ["furlong", "µm", "mm ", ""])
def test_a_unit_that_does_not_exist_is_refused(unit):
    with pytest.raises(ValueError, match=f'the unit "{unit}", which is not one of'):
        Unit(unit)


def refused(limits, **changes):
    class Own(house_catalogue.CatalogueNumber):
        Limits = limits
        judges: ClassVar = changes.get("judges", {})

    class Plugin:
        @staticmethod
        @house_catalogue.hookimpl
        def qc_checks():
            return [Own]

    (plugin,) = (plugin for plugin in Host.build((), extra=[("own", Plugin)]).plugins if plugin.name == "own")
    return plugin.error


class OwnLimits(house_catalogue.Model):
    most: Annotated[Limit, AfterValidator(lambda limit: limit)] | None = None
    later: Later = house_catalogue.Field(description="A choice.")


class Later(Enum):
    ANY = "any"


def test_limits_may_be_validated_and_name_types_that_are_defined_further_down():
    assert refused(OwnLimits) is None


def test_limits_that_no_ruleset_can_write_are_refused_when_the_plugin_loads():
    class WithoutWords(house_catalogue.Model):
        number: Annotated[float, Unit("mm")]

    class WithList(house_catalogue.Model):
        numbers: list[int] = house_catalogue.Field(description="Numbers.")

    assert f'the check "{CHECK}" has the parameter "number" without a description; write' in refused(WithoutWords)
    assert f'the check "{CHECK}" has "numbers" in its Limits with a type that is not a Limit, str' in refused(WithList)
    judges = {"grade": Judged("loudness.integrated", "<=")}
    assert 'judges "grade", which is a parameter and no Limit' in refused(house_catalogue.Catalogue, judges=judges)


@pytest.mark.parametrize(
    ("annotation", "default", "says"),
    [
        (int, "abc", "a value of type str as the default of a parameter; it must be a whole number"),
        (int, True, "a value of type bool as the default of a parameter; it must be a whole number"),
        (float, float("nan"), "a value of type float as the default of a parameter; it must be a number"),
        (str, None, "nothing as the default of a parameter; it must be a text"),
        (Pattern, "^a", "a value of type str as the default of a parameter; it must be a pattern"),
        (Literal["a", "b"], "c", "a value of type str as the default of a parameter; it must be one of a, b"),
        (Literal[1, "1"], 1, 'has two choices for "own" that a ruleset writes as 1'),
    ],
)
def test_a_default_of_another_type_and_choices_written_alike_are_refused_when_the_plugin_loads(
    annotation, default, says
):
    field = house_catalogue.Field(default=default, description="Its own.")
    assert says in refused(create_model("Own", __base__=house_catalogue.Model, own=(annotation, field)))


def test_defaults_of_the_type_of_their_field_load():
    fields = {
        "whole": (int, house_catalogue.Field(default=3, description="A number.")),
        "part": (float, house_catalogue.Field(default=3, description="A number.")),
        "text": (str | None, house_catalogue.Field(default=None, description="A text.")),
        "form": (Pattern, house_catalogue.Field(default=Pattern("^a"), description="A pattern.")),
        "later": (Later, house_catalogue.Field(default=Later.ANY, description="A choice.")),
    }
    assert refused(create_model("Own", __base__=house_catalogue.Model, **fields)) is None
