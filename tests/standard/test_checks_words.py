"""The words of the standard checks, and that each check is one file, one id, one entry in every ruleset."""

from __future__ import annotations

import inspect
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

import qc_rulesets
import qc_standard
from qc.audio.received import AsReceived, AudioFault, ReceivedAudio
from qc.model.cutting_chain import Chain
from qc.model.errors import NotApplicableError, NotMeasuredError
from qc.model.report import AudioFacts
from qc.plugin_api import At, Limit
from qc.ruleset.load import load_ruleset
from qc.ruleset.sources import Sources
from qc_standard import checks
from support.houses import judging

FOLDER = Path(checks.__file__).parent
RULESETS = Path(str(qc_rulesets.qc_rulesets()))
EVERY = qc_standard.qc_checks()
BY_ID = {check.id: check for check in EVERY}
TEXTS = ("title", "why", "how", "remedy", "blind_to")
OF_THE_TRADE = re.compile(
    r"\b(dB\w*|LUFS|LU|k?Hz|EQ|RIAA|mono|stereo|polarity|phase|sibilan\w*|de-ess\w*|transients?|lacquers?|land|pitch|slope|"
    r"velocity|radius|stylus|cutter|lead-(in|out)|lateral|vertical|correlation|excursion|curvature|drive|"
    r"headroom|true peak|dynamics?|compress\w*|programme|delivery|ruleset|sector|turntable)\b|\d+ (um|mm|g)\b"
)
"""What a musician need not know: a letter to them says it in other words."""
EXPLAINED = re.compile(r"\b(clipping|limiting|ISRC)\b")
NOT_OF_THE_TRADE = re.compile(r"\b(rule|error|todo|config|parameter|algorithm|threshold)\b", re.IGNORECASE)


@pytest.mark.parametrize("check", EVERY, ids=lambda check: check.id)
class TestWords:
    @pytest.mark.parametrize("text", TEXTS)
    def test_every_text_is_there_and_plain(self, check, text):
        words = getattr(check, text)
        assert words == " ".join(words.split())
        assert 15 <= len(words) <= 330
        assert words[0].isupper()
        assert words.endswith(".") == (text != "title")
        assert words.isascii()
        assert NOT_OF_THE_TRADE.search(words) is None

    @pytest.mark.parametrize("text", ["name", "means", "asks"])
    def test_the_words_for_the_client_are_plain_and_kind(self, check, text):
        words = getattr(check.client, text)
        assert words == " ".join(words.split())
        assert 10 <= len(words) <= 330
        assert words.endswith(".") == (text != "name")
        assert words.isascii()
        assert OF_THE_TRADE.search(words) is None
        for term in EXPLAINED.finditer(words):
            assert re.search(rf"engineers call {term[0]}|recording code of a track, its {term[0]}", words)
        assert text != "asks" or re.search(r"[Pp]lease|you may like|tell us|We propose", words)
        assert re.search(r"\b(wrong with|mistake|bad|fail\w*|your fault|incorrect)\b", words) is None

    def test_the_id_is_plain_words_and_the_name_of_the_file(self, check):
        assert re.fullmatch(r"[a-z]+\.[a-z]+(-[a-z]+)*", check.id)
        area, _, words = check.id.partition(".")
        assert check.__module__ == f"qc_standard.checks.{area}.{words.replace('-', '_')}"
        assert check.__name__ == "".join(word.capitalize() for word in words.split("-"))
        assert check.__doc__

    def test_every_limit_is_judged_and_every_judged_one_is_a_limit(self, check):
        judged = {key.partition(".")[0] for key in check.judges}
        assert judged <= set(check.Limits.model_fields)
        for own in set(check.Limits.model_fields) - judged:  # held against what the check works out by itself
            assert f"self.limits.{own}" in inspect.getsource(check.evaluate)

    def test_the_numbers_have_names_for_messages(self, check):
        for judged in check.judges.values():
            assert judged.of.startswith("the ")
            assert not judged.of.endswith(".")


def test_every_file_is_a_check():
    files = {path for path in FOLDER.glob("*/*.py") if path.stem != "__init__"}
    assert {f"{path.parent.name}.{path.stem.replace('_', '-')}" for path in files} == set(BY_ID)


def test_every_ruleset_names_every_check():
    newest = {there.name: there for there in judging()}
    for there in judging():
        ruleset = load_ruleset(there, Sources([RULESETS]))
        said = set(ruleset.limits) | set(ruleset.off)
        assert said == set(BY_ID) if there == newest[there.name] else said <= set(BY_ID)
        for check_id, limits in ruleset.limits.items():
            fields = BY_ID[check_id].Limits.model_fields
            assert {name for name, field in fields.items() if field.is_required()} <= set(limits) <= set(fields)


def test_sibilance_findings_mention_cymbals():
    check = BY_ID["hf.sibilance-or-cymbals-too-strong"]
    assert "ibilance or cymbals" in check.title
    assert all("sibilance or cymbals" in judged.of for judged in check.judges.values())


# -- the checks that are more than their limits ----------------------------------------------------------------


class Ctx:
    """A side on which only some numbers are known; judging notes what was asked."""

    side, chain = "A", Chain()

    def __init__(self, known=(), declared=None, received=None, requested=None):
        self.known, self.declared, self.received, self.asked = set(known), declared or {}, received, []
        self.requested_level = requested

    def __getitem__(self, need):
        assert need is AsReceived
        return self.received

    def measured(self, name):
        if name not in self.known:
            raise NotMeasuredError(f"{name} has no value on this side")

    def judge(self, name, limit, *, op, of):
        assert of
        if name not in self.known:
            raise NotMeasuredError(f"{name} has no value on this side")
        self.asked.append((name, limit.warn, op))
        yield SimpleNamespace(check=name)

    def found(self, severity, message, *, measured, at=None, field=("audio",), remedy=""):
        assert field == ("audio",)
        return (severity, message, measured, at, remedy)


def made(check_id):
    """A check whose limits warn at 0, 1, 2 ... in the order of its keys."""
    check = BY_ID[check_id]
    keys = check.Limits.model_fields
    limits = {key: Limit(warn=float(i), unit="1", source="practice") for i, key in enumerate(keys)}
    return check(check.Limits(**limits))


def test_a_free_level_is_not_compared_with_the_recommended_one():
    check = made("groove.level-above-recommended")
    ctx = Ctx(["groove.level_over_recommended"])
    with pytest.raises(NotApplicableError, match="no cut level is requested"):
        list(check.evaluate(ctx))
    ctx = Ctx(["groove.level_over_recommended"], requested=0.0)
    assert len(list(check.evaluate(ctx))) == 1
    assert ctx.asked == [("groove.level_over_recommended", 0.0, "<=")]


def test_the_steepest_slope_is_limited_laterally_and_vertically():
    check = made("groove.slope-too-steep")
    ctx = Ctx([judged.measure for judged in check.judges.values()])
    assert len(list(check.evaluate(ctx))) == len(check.judges)
    peak = check.limits.peak.warn
    assert ("groove.lateral_slope_peak", peak, "<=") in ctx.asked
    assert ("groove.vertical_slope_peak", peak, "<=") in ctx.asked


def test_bass_without_a_correlation_is_judged_by_its_movement():
    kind = type(made("stereo.low-end-out-of-phase"))
    limits = [Limit(warn=value, unit="1", source="practice") for value in (0.0, 1.0)]
    check = kind(kind.Limits(excursion=limits[0], correlation=limits[1]))
    both = Ctx(["groove.low_vertical_peak", "stereo.low_correlation"])
    assert len(list(check.evaluate(both))) == 2
    assert both.asked == [("groove.low_vertical_peak", 0.0, "<="), ("stereo.low_correlation", 1.0, ">=")]
    assert len(list(check.evaluate(Ctx(["groove.low_vertical_peak"])))) == 1
    with pytest.raises(NotMeasuredError, match=r"groove\.low_vertical_peak"):
        list(check.evaluate(Ctx(["stereo.low_correlation"])))


def test_every_fault_of_the_file_is_reported():
    faults = (
        AudioFault("cut off", "a.wav is cut off", "Ask for it again.", At(start_s=3.0)),
        AudioFault("checksum", "a.wav is another file", "Ask which one.", None),
    )
    check = made("delivery.audio-disagrees")
    ctx = Ctx(received=ReceivedAudio("a.wav", AudioFacts(file="a.wav"), faults))
    assert list(check.evaluate(ctx)) == [
        ("fail", "a.wav is cut off", "cut off", At(start_s=3.0), "Ask for it again."),
        ("fail", "a.wav is another file", "checksum", None, "Ask which one."),
    ]
    assert list(check.evaluate(Ctx(received=ReceivedAudio("a.wav", AudioFacts(file="a.wav"), ())))) == []


def test_as_received_is_one_need_for_every_chain():
    assert AsReceived.of(Chain()) == AsReceived()
    assert AsReceived.id == "audio.received"
