"""Case files: what cannot be used is refused in one sentence with its line, and each difference is reported in one."""

import json

import numpy as np
import pytest
import soundfile

from qc.testing.cases import CaseError, cases_in, check, hold, load, run
from qc.testing.made import make
from qc.testing.written import Number

GOOD = """\
why: A tone of 1 kHz, two seconds long.
sides:
  - audio:
      - silence: 1 s
      - sine: {frequency: 1 kHz, level: -18 dBFS, lasts: 2 s}
    paper: {cut_level: 0 dB}
expect:
  measured:
    layout.lead_in_silence: {near: 1 s, within: 1 %}
"""


@pytest.fixture
def written(tmp_path):
    def write(text, name="pass-a-tone", check_id="layout.lead-in-silence"):
        path = tmp_path / check_id / f"{name}.yaml"
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_a_case_is_read(written):
    case = load(written(GOOD))
    assert (case.check, case.outcome, str(case)) == (
        "layout.lead-in-silence", "pass", "layout.lead-in-silence/pass-a-tone",
    )  # fmt: skip
    assert load(written(GOOD, "na-a-tone")).outcome == "not_applicable"
    assert [str(one) for one in cases_in(case.path.parent.parent)] == [
        "layout.lead-in-silence/na-a-tone", "layout.lead-in-silence/pass-a-tone",
    ]  # fmt: skip


# what stands in the file -> what is put in its place -> line, sentence
BAD = {
    "unknown signal": ("- sine:", "- sien:", 5, 'unknown key "sien"; did you mean "sine"?'),
    "unknown value": ("frequency", "freqency", 5, 'unknown key "freqency"; did you mean "frequency"?'),
    "missing value": (", lasts: 2 s", "", 5, '"lasts" is missing; write it as lasts: 2 s'),
    "no unit": ("frequency: 1 kHz", "frequency: 1000", 5, '"1000" is not given in Hz; write it like "1 kHz"'),
    "another unit": ("-18 dBFS", "-18 dB", 5, '"-18 dB" is not a level in dBFS; write it like "-18 dBFS"'),
    "unknown channels": ("2 s}", "2 s, channels: mid}", 5, "channels"),
    "two in one step": ("silence: 1 s", "silence: 1 s\n        sine: {frequency: 1 Hz, level: 0 dBFS, lasts: 1 s}", 4,
                        "a step names one signal or fault"),
    "nothing sounds": (GOOD[GOOD.index("audio") : GOOD.index("paper")], "", 3,
                       'a side has "audio", or each of its tracks has; write one of the two'),
    "no reason": ("why: A tone of 1 kHz, two seconds long.", "why:", 1, '"why" is empty; fill it in'),
    "near alone": (", within: 1 %", "", 9, '"near" and "within" go together; write both'),
    "no quantity": ("near: 1 s", "near: long", 9, '"long" is not a number with a unit'),
    "unknown part": ("expect:", "expected:", 7, 'unknown key "expected"; did you mean "expect"?'),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD.values(), ids=BAD)
def test_an_invalid_case_is_refused_with_its_line(written, old, new, line, sentence):
    assert GOOD.count(old) == 1
    path = written(GOOD.replace(old, new))
    with pytest.raises(CaseError) as caught:
        load(path)
    assert str(caught.value).startswith(f"{path}:{line}: ")
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_case_that_is_named_for_no_outcome_is_refused(written):
    with pytest.raises(CaseError, match="it begins with pass-, warn-, fail-, waived- or na-"):
        load(written(GOOD, "good-tone"))
    with pytest.raises(CaseError, match="there is no such file; check the name of the case file"):
        load(written(GOOD).with_name("pass-another.yaml"))


def test_a_case_that_cannot_be_used_hides_no_other_one(written, tmp_path):
    written(GOOD)
    path = written(GOOD.replace("sine", "sien"), "pass-misspelt")
    written(GOOD, "named-for-nothing")
    cases = {str(case).partition("/")[2]: case for case in cases_in(tmp_path)}
    assert [name for name, case in cases.items() if case.error is None] == ["pass-a-tone"]
    with pytest.raises(CaseError) as caught:
        check(cases["pass-misspelt"], tmp_path / "run")
    assert str(caught.value).startswith(f'{path}:5: unknown key "sien"')


def test_a_folder_without_cases_is_refused(tmp_path):
    with pytest.raises(CaseError, match="there is no case"):
        cases_in(tmp_path)


def test_a_case_about_no_check_is_refused(written, tmp_path):
    case = load(written(GOOD, check_id="layout.lead-in-silences"))
    with pytest.raises(CaseError, match=r'no check is called .* did you mean "layout.lead-in-silence"'):
        run(case, tmp_path / "run")


# -- what is made ----------------------------------------------------------------------------------------------


def samples(written, tmp_path, audio, more="    coding: 32 bit float\n"):
    text = f"why: It sounds.\nsides:\n  - audio: [{audio}]\n{more}"
    make(load(written(text)).file, tmp_path / "made")
    return soundfile.read(next((tmp_path / "made").glob("side-a.*")), always_2d=True)


def test_signals_are_appended_or_added_at_their_time(written, tmp_path):
    steps = (
        "silence: 0.5 s", "sine: {frequency: 100 Hz, level: 0 dBFS, lasts: 0.5 s, phase: 90 deg}",
        "sine: {frequency: 100 Hz, level: -6.0206 dBFS, lasts: 0.5 s, phase: 90 deg, at: 0.75 s}",
    )  # fmt: skip
    x, rate = samples(written, tmp_path, ", ".join(f"{{{step}}}" for step in steps))
    assert (len(x), rate) == (60_000, 48_000)  # what sticks out at the end is appended
    assert not x[:24_000].any()
    assert x[[24_000, 36_000, 48_000], 0] == pytest.approx([1.0, 1.5, 0.5], abs=1e-5)


def test_a_fault_applies_to_the_steps_before_it(written, tmp_path):
    loud = "{sine: {frequency: 100 Hz, level: 0 dBFS, lasts: 0.5 s}}"
    x, _ = samples(written, tmp_path, f"{loud}, {{clip: {{level: -6.0206 dBFS}}}}, {loud}")
    assert np.abs(x[:24_000]).max() == pytest.approx(0.5, abs=1e-5)
    assert np.abs(x[24_000:]).max() == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize(("coding", "bits"), [("16 bit", 16), ("24 bit", 24)])
def test_every_container_holds_the_same_samples(written, tmp_path, coding, bits):
    found = []
    for container in ("WAV", "AIFF", "FLAC"):
        more = f"    container: {container}\n    coding: {coding}\n"
        place = tmp_path / container
        x, _ = samples(written, place, "{pink_noise: {level: -20 dBFS, lasts: 0.2 s}}", more)
        found.append(x)
    steps = found[0] * 2.0 ** (bits - 1)
    assert np.array_equal(steps, np.rint(steps))
    assert all(np.array_equal(found[0], other) for other in found[1:])


def test_the_delivery_file_has_the_keys_of_the_case(written, tmp_path):
    text = GOOD.replace("cut_level: 0 dB", "cut_level: 0 dB, inscription: QH-001 A") + "delivery: {notes: As sent.}\n"
    paper = make(load(written(text)).file, tmp_path / "made").read_text(encoding="utf-8")
    for line in ('notes: "As sent."', '    cut_level: "0 dB"', '    inscription: "QH-001 A"', '  - id: "A"'):
        assert line in paper.splitlines()


# -- what differs ----------------------------------------------------------------------------------------------

DIFFERS = {
    "measured": ("near: 1 s, within: 1 %", "near: 2 s, within: 1 %",
                 "layout.lead_in_silence on side A is 1 s, not between 1.98 and 2.02 s"),
    "least": ("near: 1 s, within: 1 %", "at_least: 2 s", "is 1 s, not 2 s or more"),
    "most": ("near: 1 s, within: 1 %", "at_most: 0.5 s", "is 1 s, not 0.5 s or less"),
    "unit": ("near: 1 s, within: 1 %", "at_most: 0.5 mm", "cannot be compared with what is expected"),
    "name": ("layout.lead_in_silence", "layout.lead_in_silense", 'did you mean "layout.lead_in_silence"?'),
    "findings": ("expect:", "expect:\n  findings: 2", "has 0 findings, not 2: none"),
    "finding": ("expect:", "expect:\n  at: 1 s", "found nothing, and a finding is expected"),
    "words": ("expect:", "expect:\n  says: too loud", 'does not say "too loud"; it says: nothing'),
}  # fmt: skip


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    place = tmp_path_factory.mktemp("layout")
    path = place / "layout.lead-in-silence" / "pass-a-tone.yaml"
    path.parent.mkdir()
    path.write_text(GOOD, encoding="utf-8")
    return run(load(path), place / "run")


@pytest.mark.parametrize(("old", "new", "sentence"), DIFFERS.values(), ids=DIFFERS)
def test_a_difference_is_reported(written, judged, old, new, sentence):
    hold(load(written(GOOD)), judged)
    with pytest.raises(AssertionError) as caught:
        hold(load(written(GOOD.replace(old, new))), judged)
    assert sentence in str(caught.value)


def test_every_difference_is_reported(written, judged):
    text = GOOD.replace("near: 1 s", "near: 2 s").replace("expect:", "expect:\n  findings: 2\n  says: it\n  track: 2")
    with pytest.raises(AssertionError) as caught:
        hold(load(written(text, "warn-a-tone")), judged)
    words = ("is pass, not warn", "has 0 findings, not 2", "is 1 s, not between", "does not say", "found nothing")
    lines = str(caught.value).split("\n")
    assert len(lines) == len(words)
    assert all(word in line for word, line in zip(words, lines, strict=True))


def test_all_that_differs_in_a_finding_is_reported(written, tmp_path):
    text = SHORT + "  severity: fail\n  at: 3 s\n  track: 2\n  remedy: louder\n"
    with pytest.raises(AssertionError) as caught:
        check(load(written(text, "warn-short")), tmp_path / "run")
    for words in ("it warns", "its track is None, not 2", "not within 0.05 s of 3 s", 'its remedy is "'):
        assert words in str(caught.value)


def test_another_outcome_is_reported_with_the_file(written, tmp_path):
    path = written(GOOD, "warn-a-tone")
    with pytest.raises(AssertionError) as caught:
        check(load(path), tmp_path / "run")
    assert str(caught.value).startswith(f"{path}: layout.lead-in-silence on side A is pass, not warn")


SHORT = GOOD.replace("silence: 1 s", "silence: 0.5 s").replace("near: 1 s", "near: 0.5 s")


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ("severity: warn\n  found: {near: 0.5 s, within: 1 %}", None),
        ("severity: fail", "it warns"),
        ("found: {near: 0.7 s, within: 1 %}", "its number is 0.5 s, not between 0.693 and 0.707 s"),
        ("kind: cut off", "it gives a number"),
        ("channel: left", "its channel is None, not left"),
        ("at: 9 s", "it lies at 0.000 s, not within 0.05 s of 9 s"),
    ],
)
def test_an_unexpected_finding_is_reported(written, tmp_path, more, sentence):
    case = load(written(SHORT.replace("expect:", f"expect:\n  {more}"), "warn-short"))
    if sentence is None:
        assert check(case, tmp_path / "run").code == 0
        return
    with pytest.raises(AssertionError) as caught:
        check(case, tmp_path / "run")
    assert "layout.lead-in-silence has no finding that is as expected" in str(caught.value)
    assert sentence in str(caught.value)


def test_a_case_makes_the_same_bytes_each_time(written, tmp_path):
    for name in ("one", "other"):
        make(load(written(GOOD)).file, tmp_path / name)
    assert (tmp_path / "one" / "side-a.wav").read_bytes() == (tmp_path / "other" / "side-a.wav").read_bytes()


def test_limits_of_a_case_replace_those_of_the_ruleset(written, tmp_path):
    limits = 'limits: {layout.lead-in-silence: {least: {warn: 1.5 s, source: "house: intake sheet"}}}\n'
    report = check(load(written(limits + GOOD, "warn-house")), tmp_path / "run").report
    assert report["ruleset"]["name"] == "case-disc-12in-33"
    assert report["ruleset"]["limits"]["layout.lead-in-silence/least"]["warn"] == 1.5
    assert report["ruleset"]["limits"]["layout.lead-in-silence/most"]["warn"] == 3.0
    assert len(report["results"]) == len(check(load(written(GOOD)), tmp_path / "plain").report["results"])


def test_the_chain_is_the_same_under_limits_of_a_case(written, tmp_path):
    limits = 'limits: {layout.lead-in-silence: {least: {warn: 1 s, source: "house: intake sheet"}}}\n'
    plain = run(load(written(GOOD)), tmp_path / "plain").report
    house = run(load(written(limits + GOOD, "pass-house")), tmp_path / "house").report
    assert json.dumps(house["sides"]) == json.dumps(plain["sides"])
    assert house["ruleset"]["chain"] == plain["ruleset"]["chain"]


def test_a_case_may_name_its_ruleset(written, variant, tmp_path):
    older = run(load(written(GOOD + "ruleset: disc-12in-33@1.0.0\n")), tmp_path / "older").report["ruleset"]
    assert (older["name"], older["version"]) == ("disc-12in-33", "1.0.0")
    file = variant({"land": "20 um"})
    path = written(GOOD + f"ruleset: ../{file.name}\n", check_id="groove.too-little-land")
    assert path.parent.parent == file.parent
    report = run(load(path), tmp_path / "file").report
    assert report["ruleset"]["chain"]["cut"]["land"]["value"] == "20 um"
    assert report["sides"][0]["measurements"]["groove.land_min"]["value"] == pytest.approx(20.0, abs=0.02)


@pytest.mark.parametrize(
    ("number", "unit", "least", "most"),
    [
        ({"near": "110 um", "within": "1 %"}, "um", 108.9, 111.1),  # of the value
        ({"near": "0.11 mm", "within": "1 um"}, "um", 109.0, 111.0),
        ({"near": "2 %", "within": "0.5 %"}, "1", 0.015, 0.025),  # of a ratio, so much more or less
        ({"near": "0.5", "within": "2 %"}, "1", 0.48, 0.52),
        ({"near": "-12 LUFS", "within": "0.1 dB"}, "LUFS", -12.1, -11.9),
        ({"near": "-12 LUFS", "within": "10 %"}, "LUFS", -13.2, -10.8),
        ({"at_least": "3 s", "at_most": "4000 ms"}, "s", 3.0, 4.0),
        ({"at_most": "1"}, "1", -np.inf, 1.0),
    ],
)
def test_an_expected_number_has_a_range(number, unit, least, most):
    assert Number.model_validate(number).span(unit) == pytest.approx((least, most))
