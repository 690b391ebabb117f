"""One disc, one decision: the free sides of a disc are judged at its release level, in the report and on paper."""

from __future__ import annotations

import re

import numpy as np
import pytest
import soundfile

from qc.model.quantity import show
from qc.testing.deliveries import Sent, deliver, judge
from support.real_music import MUSIC, needed

RATE = 48_000


def programme(seconds, peak, hz=(196.0, 440.0, 880.0)):
    """Partials with ends of 0.1 s after half a second of silence, (2, frames)."""
    t = np.arange(round(seconds * RATE)) / RATE
    ends = np.clip(np.minimum(t - 0.5, seconds - 0.5 - t) / 0.1, 0.0, 1.0)
    waves = sum(np.sin(2.0 * np.pi * one * t + one) / len(hz) for one in hz)
    return np.vstack([waves, 0.9 * waves]) * peak * ends


LOUD = {"A": 0.9, "B": 0.2, "C": 0.4}


@pytest.fixture
def sent(tmp_path):
    """Judge sides of given peaks: sent({"A": {}}, "--side", "A"), each with what its paper says of it."""

    def run(papers, *words, head=""):
        sides = {
            name: Sent(programme(4.0, LOUD[name]), RATE, coding="PCM_24", more=more) for name, more in papers.items()
        }
        folder = deliver(tmp_path / "sent", sides)
        if head:
            papers = folder / "delivery.yaml"
            papers.write_text(papers.read_text().replace("sides:\n", f"{head}\nsides:\n"))
        return judge(folder, tmp_path / "report.json", *words)

    return run


def levels(judged):
    return {side["id"]: side["levels"] for side in judged.report["sides"]}


def at(judged, name="judged"):
    return {side: found[name] and found[name]["value"] for side, found in levels(judged).items()}


def test_the_free_sides_of_a_disc_are_judged_at_the_lower_level(sent):
    judged = sent({"A": {}, "B": {}})
    recommended = at(judged, "recommended")
    assert recommended["A"] < recommended["B"] - 3.0
    lowest = min(recommended.values())
    assert at(judged) == at(judged, "release") == {"A": lowest, "B": lowest}
    assert judged.report["discs"][0]["release"]["value"] == lowest
    assert all(side["measurements"]["groove.judged_level"]["value"] == lowest for side in judged.report["sides"])
    assert {judged.outcome("groove.level-above-recommended", side) for side in "AB"} == {"not_applicable"}


def test_each_side_is_read_once(sent):
    judged = sent({"A": {}, "B": {}})
    assert [side["passes"] for side in judged.report["sides"]] == [1, 1]


def test_a_last_odd_side_is_a_disc_alone(sent):
    judged = sent({"A": {}, "B": {}, "C": {}})
    assert at(judged)["C"] == at(judged, "recommended")["C"] == at(judged, "release")["C"]
    assert len(judged.report["discs"]) == 1


def test_a_side_with_a_cut_level_keeps_it_and_lowers_no_other(sent):
    for asked in ("-20 dB", "6 dB"):
        judged = sent({"A": {}, "B": {"cut_level": asked}})
        assert at(judged)["B"] == float(asked.split()[0])
        assert at(judged)["A"] == at(judged, "recommended")["A"]
        (disc,) = judged.report["discs"]
        assert (disc["sides"], disc["requested"], disc["ruling"]) == (["A"], ["B"], "A")


def test_levels_each_judges_every_side_at_its_own(sent):
    judged = sent({"A": {}, "B": {}}, head="levels: each")
    assert at(judged) == at(judged, "recommended")
    assert at(judged)["A"] < at(judged)["B"]
    assert judged.report["discs"] == []
    assert at(judged, "release") == {"A": None, "B": None}
    assert [one["basis"] for one in levels(judged).values()] == ["recommended"] * 2


def test_a_wrong_word_for_levels_is_named_with_its_line(sent, capsys):
    with pytest.raises(FileNotFoundError):
        sent({"A": {}}, head="levels: eech")
    assert re.search(r'delivery\.yaml:5: "levels" is "eech"; it must be each or release', capsys.readouterr().err)


def test_one_side_alone_is_judged_at_the_level_of_its_disc(sent, tmp_path):
    whole = sent({"A": {}, "B": {}})
    judged = sent({"A": {}, "B": {}}, "--side", "B", "--out", f"text={tmp_path / 'b.txt'}")
    assert [side["id"] for side in judged.report["sides"]] == ["B"]
    assert at(judged)["B"] == at(whole)["B"]
    assert {result["side"] for result in judged.report["results"]} <= {"B", None}
    assert judged.report["discs"][0]["not_judged"] == ["A"]
    assert judged.side("B")["geometry"] == whole.side("B")["geometry"]
    assert "A was measured only for this level" in " ".join((tmp_path / "b.txt").read_text().split())


def test_a_side_that_cannot_be_measured_is_left_out_and_named(sent, tmp_path):
    sent({"A": {}, "B": {}})
    (tmp_path / "sent" / "side-a.wav").write_bytes(b"RIFF")
    judged = judge(tmp_path / "sent", tmp_path / "report.json", "--out", f"text={tmp_path / 'b.txt'}")
    assert judged.code == 1
    assert levels(judged)["A"] is None
    own = levels(judged)["B"]
    assert own["judged"]["value"] == own["recommended"]["value"] == own["release"]["value"]
    assert judged.report["discs"][0]["not_measured"] == ["A"]
    assert "A could not be measured and is left out" in " ".join((tmp_path / "b.txt").read_text().split())


def test_the_sheet_states_the_last_diameter_at_the_release_level(sent, tmp_path):
    """The sheet of side B gives the diameter that B ends at when it is cut at A's level, as requested by cut_level."""
    judged = sent({"A": {}, "B": {}}, "--out", f"sheet={tmp_path / 's.md'}")
    page = (tmp_path / "s.md").read_text().split("\n---\n")[1]
    release = at(judged)["A"]
    asked = sent({"A": {}, "B": {"cut_level": f"{release:.1f} dB"}})
    ends = asked.side("B")["geometry"]["last_diameter_mm"]
    assert f"at {ends:.1f} mm" in page
    assert f"judged at {show(release, 'dB')}, the release level" in page


def test_reports_are_identical_with_and_without_stored_measurements(sent, tmp_path):
    words = ("--reproducible", "--cache", str(tmp_path / "store"))
    first = sent({"A": {}, "B": {}}, *words).report
    assert judge(tmp_path / "sent", tmp_path / "again.json", *words).report == first
    assert judge(tmp_path / "sent", tmp_path / "again.json", "--reproducible").report == first
    one = judge(tmp_path / "sent", tmp_path / "one.json", *words, "--side", "B").report
    assert one == judge(tmp_path / "sent", tmp_path / "one.json", "--reproducible", "--side", "B").report


def test_a_report_names_a_side_that_the_baseline_judged_at_another_level(sent, tmp_path):
    sent({"A": {}, "B": {}}, head="levels: each")
    (tmp_path / "report.json").rename(tmp_path / "then.json")
    now = sent({"A": {}, "B": {}}, "--baseline", str(tmp_path / "then.json"))
    (other,) = now.report["baseline"]["other_levels"]
    assert other["side"] == "B"
    assert other["then"] == levels(now)["B"]["recommended"]["value"]
    assert other["now"] == at(now)["B"]


# -- real music --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    """Judge a disc whose side A rules: as one, and each side by itself; with the sheet and the letter of each."""
    folder = tmp_path_factory.mktemp("real")
    sides = {}
    for side, name in (("A", "frantic.ogg"), ("B", "return_to_wesnoth.ogg")):
        needed((MUSIC / name).exists(), f"no real music: {MUSIC / name} is missing (Debian: wesnoth-1.16-music)")
        x, rate = soundfile.read(MUSIC / name, always_2d=True)
        sides[side] = Sent(x.T, rate, coding="PCM_24", container="FLAC")
    deliver(folder, sides)
    found = {}
    for word in ("release", "each"):
        papers = (folder / "delivery.yaml").read_text()
        (folder / "delivery.yaml").write_text(re.sub("(levels: .*\n)?sides:", f"levels: {word}\nsides:", papers))
        out = [part for name in ("sheet", "note") for part in ("--out", f"{name}={folder / word}.{name}.md")]
        store = ("--cache", str(folder.with_name(f"{folder.name}-store")))  # measured once
        found[word] = judge(folder, folder / f"{word}.json", *out, *store), folder / f"{word}.sheet.md"
    return found


def findings(judged, prefix):
    """Count the findings of side B by checks of an area."""
    results = [one for one in judged.report["results"] if one["side"] == "B" and one["check"].startswith(prefix)]
    return sum(len(one["findings"]) + one["findings_omitted"] for one in results)


@pytest.mark.music
@pytest.mark.long
def test_real_sides_of_one_disc_warn_of_the_groove_that_will_be_cut(real):
    (one, sheet), (each, _) = real["release"], real["each"]
    recommended = at(each)
    assert recommended["B"] - recommended["A"] > 4.0
    assert set(at(one).values()) == {min(recommended.values())}
    assert findings(each, "groove.") > 0
    assert findings(one, "groove.") < findings(each, "groove.") / 4
    ends = {name: judged.side("B")["geometry"]["last_diameter_mm"] for name, (judged, _) in real.items()}
    assert ends["release"] > ends["each"] + 5.0
    assert f"at {ends['release']:.1f} mm" in sheet.read_text().split("\n---\n")[1]
