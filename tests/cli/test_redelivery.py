"""Waivers and earlier reports at the command: a delivery with planted faults, waived, mended, and sent again."""

from __future__ import annotations

import json

import pytest
import soundfile

from support.command import PINNED, RATE, one_sentence, programme
from support.signals import opposed, tone

NARROW = "groove.top-width-too-narrow"
DEEP = "groove.cut-too-deep"
BASS = "stereo.low-end-out-of-phase"
CHECKS = (NARROW, DEEP, BASS)


def spoiled(*seconds, long=12.0, peak=0.25):
    """A good side with bursts of bass out of phase at some seconds."""
    x = programme(long, peak=peak).T
    for second in seconds:
        at, burst = round(second * RATE), opposed(tone(60.0, 0.3, RATE, 0.5, fade=0.1))
        x[:, at : at + burst.shape[1]] += burst
    return x


def waiver(check, **more):
    return {"check": check, "reason": "the drop is the song", "owner": "M. Reed", **more}


@pytest.fixture
def deliver(bench, shared_store):
    """Write a delivery: deliver(A=seconds of its bursts) with waivers of side A; side B is good."""
    bench.environment["SIDEGATE_STORE"] = shared_store

    def write(*seconds, waivers=(), more=""):
        text = PINNED.replace("end: 2.0}", "end: 12.0}")
        if waivers:
            level = "    cut_level: 0 dB\n"
            text = text.replace(level, f"{level}    waivers: {json.dumps(waivers)}\n", 1)
        bench.deliver(text + more)
        soundfile.write(bench.folder / "side-a.wav", spoiled(*seconds).T, RATE, subtype="PCM_24")
        return bench

    return write


def kept(bench, ran):
    path = bench.root / "first.json"
    path.write_bytes(json.dumps(ran.report).encode())
    return path


def findings(ran, check, side="A"):
    return ran.result(check, side)["findings"]


def test_waived_until_its_last_day_and_mended_after_it(deliver):
    """Every fault of one place is waived: the delivery passes, and what is waived is told with its owner."""
    over = [waiver(check, **{"from": 2.9, "to": 3.4, "expires": "2999-12-31"}) for check in CHECKS]
    whole = [waiver(check) for check in ("groove.level-above-recommended",)]
    ran = deliver(3.0, waivers=over + whole).check()
    assert ran.code == 0, [r for r in ran.report["results"] if r["outcome"] == "fail"]
    for check in CHECKS:
        assert ran.outcomes("A")[check] in {"waived", "warn"}
        assert findings(ran, check)[0]["waived_by"].startswith("delivery.yaml:")
    assert {one["state"] for one in ran.report["waivers"]} == {"used"}
    later = [one | {"expires": "2001-01-01"} for one in over]
    ran = deliver(3.0, waivers=later + whole).check()
    assert ran.code == 1
    assert [one["state"] for one in ran.report["waivers"]] == ["expired"] * 3 + ["used"]
    assert all(one["findings"] for one in ran.report["waivers"])
    text = deliver(3.0, waivers=later + whole).run("check", "--quiet", ".").out.decode()
    assert "3 waivers expired" in text


def test_a_waiver_of_one_place_is_none_of_another(deliver):
    bare = deliver(3.0, 8.0).check()
    over = [waiver(NARROW, **{"from": 2.9, "to": 3.4})]
    ran = deliver(3.0, 8.0, waivers=over).check()
    first, second = sorted(findings(ran, NARROW), key=lambda one: one["location"]["start_s"])
    assert (first["waived_by"] is not None, second["waived_by"]) == (True, None)
    assert ran.outcomes("A")[NARROW] == "fail"
    for check, outcome in bare.outcomes("A").items():
        assert ran.outcomes("A")[check] == outcome
        if check != NARROW:
            assert ran.result(check) == bare.result(check)
    assert ran.report["sides"][0]["levels"] == bare.report["sides"][0]["levels"]


def test_a_file_of_waivers(deliver):
    bench = deliver(3.0)
    path = bench.folder / "waivers.yaml"
    path.write_text(f"schema: 1\nwaivers:\n  - {json.dumps(waiver(NARROW, side='A'))}\n", encoding="utf-8")
    ran = bench.check("--waivers", str(path))
    assert ran.outcomes("A")[NARROW] == "waived"
    assert ran.report["waivers"][0]["key"] == "waivers.yaml:3"
    refused = one_sentence(bench.check("--waivers", str(path), "--out", f"text={path}"))
    assert "belongs to the delivery" in refused


FORMATS = ("text", "html", "json", "junit", "sarif", "sheet")


def told(bench, *words):
    """Every format that tells of waivers, and the exit code."""
    places = {name: bench.output / f"{name}.out" for name in FORMATS}
    outs = [word for name, place in places.items() for word in ("--out", f"{name}={place}")]
    code = bench.run("check", bench.folder, *outs, *words).code
    texts = {name: " ".join(place.read_text(encoding="utf-8").split()) for name, place in places.items()}
    for place in places.values():
        place.unlink()
    return texts, code


def test_whose_waivers_count(deliver):
    """A sender's waivers are the sender's: they are told apart from the house's own, and may be left uncounted."""
    over = [waiver(check) for check in (*CHECKS, "groove.level-above-recommended")]
    bench = deliver(3.0, waivers=over)
    bare = deliver(3.0).check()
    bench = deliver(3.0, waivers=over)
    theirs, code = told(bench)
    assert code == 0
    assert {one["given_in"] for one in json.loads(theirs["json"])["waivers"]} == {"delivery"}
    assert "waived by the delivery itself" in theirs["text"]
    for name in set(FORMATS) - {"json"}:
        assert "delivery.yaml:8 of the delivery" in theirs[name], name
    ran = bench.check("--own-waivers")
    assert ran.code == bare.code == 1
    assert ran.outcomes("A") == bare.outcomes("A")
    assert {one["state"] for one in ran.report["waivers"]} == {"not_counted"}
    assert [one["findings"] for one in ran.report["waivers"]] == [
        len(findings(bare, one["check"])) for one in ran.report["waivers"]
    ]
    left, code = told(bench, "--own-waivers")
    assert code == 1
    for name in ("text", "html", "sheet"):
        assert "not counted" in left[name], name
    assert "suppressions" not in left["sarif"]


def test_the_houses_own_waivers_count_beside_those_that_do_not(deliver):
    over = [waiver(check) for check in (*CHECKS, "groove.level-above-recommended")]
    bench = deliver(3.0, waivers=over)
    path = bench.root / "house.yaml"
    path.write_text("schema: 1\nwaivers:\n" + "".join(f"  - {json.dumps(one)}\n" for one in over), encoding="utf-8")
    ours, code = told(bench, "--own-waivers", "--waivers", str(path))
    assert code == 0
    facts = json.loads(ours["json"])["waivers"]
    assert {(one["given_in"], one["state"]) for one in facts} == {("delivery", "not_counted"), ("file", "used")}
    assert "waived by --waivers" in ours["text"]
    for name in set(FORMATS) - {"json"}:
        assert "house.yaml:3 by --waivers" in ours[name], name
    both, code = told(bench, "--waivers", str(path))
    assert code == 0
    assert "waived by the delivery itself and by --waivers" in both["text"]


def test_without_a_file_of_waivers_none_count(deliver):
    over = [waiver(check) for check in (*CHECKS, "groove.level-above-recommended")]
    quiet = deliver(3.0, waivers=over).run("check", "--quiet", "--own-waivers", ".")
    assert quiet.code == 1
    assert "4 waivers of the delivery not counted" in quiet.out.decode()


def test_audio_at_fault_cannot_be_waived_away(deliver):
    over = [waiver(check) for check in CHECKS]
    bench = deliver(3.0, waivers=over)
    held = (bench.folder / "side-a.wav").read_bytes()
    (bench.folder / "side-a.wav").write_bytes(held[: len(held) // 2])
    ran = bench.check()
    assert ran.code == 1
    assert ran.outcomes("A")["delivery.audio-disagrees"] == "fail"
    assert {ran.outcomes("A")[check] for check in CHECKS} == {"not_measured"}


@pytest.mark.parametrize(
    ("one", "part"),
    [
        (waiver("level.cliped"), 'no check is called "level.cliped"; did you mean "level.clipped"?'),
        (waiver("delivery.audio-disagrees"), 'what "delivery.audio-disagrees" finds cannot be waived'),
        (waiver(NARROW, to=13), '"to" is 0:13.000, and side A ends at 0:12.000'),
        (waiver(NARROW, tracks=[9]), "side A has no track 9; known are 1, 2"),
    ],
)
def test_a_waiver_that_does_not_fit_is_refused_before_anything_is_heard(deliver, one, part):
    sentence = one_sentence(deliver(3.0, waivers=[one]).check())
    assert "delivery.yaml:8: " in sentence
    assert part in sentence


def test_mended_and_sent_again(deliver):
    """One fault is mended, one stays, one is new: the report says which, and CI may count what is new alone."""
    first = deliver(3.0, 8.0).check()
    bench = deliver(3.2, 10.5)
    before = kept(bench, first)
    ran = bench.check("--baseline", str(before))
    assert (ran.code, ran.report["verdict"]) == (1, "fail")
    old, new = sorted(findings(ran, NARROW), key=lambda one: one["location"]["start_s"])
    assert (old["baseline"], new["baseline"]) == ("unchanged", "new")
    facts = ran.report["baseline"]
    (gone,) = [one for one in facts["gone"] if one["check"] == NARROW]
    assert 8.0 < gone["location"]["start_s"] < 8.3
    now = sum(len(one["findings"]) for one in ran.report["results"])
    then = sum(len(one["findings"]) for one in first.report["results"])
    assert facts["new"] + facts["unchanged"] == now
    assert len(facts["gone"]) + len(facts["not_judged"]) + facts["unchanged"] == then
    assert bench.check("--baseline", str(before), "--only-new").code == 1


def test_only_what_is_new_counts(deliver):
    bench = deliver(3.0, 8.0)
    first = bench.check()
    assert first.code == 1
    before = kept(bench, first)
    ran = bench.check("--baseline", str(before), "--only-new", "--strict")
    assert (ran.code, ran.report["verdict"]) == (0, "fail")
    assert ran.sentences[-1].endswith("failed; only what is new counts: nothing new fails or warns")
    deliver(3.0)
    ran = bench.check("--baseline", str(before), "--only-new")
    assert ran.code == 0
    assert NARROW in {one["check"] for one in ran.report["baseline"]["gone"]}
    sarif, junit = bench.output / "r.sarif", bench.output / "r.xml"
    formats = ("--out", f"sarif={sarif}", "--out", f"junit={junit}")
    for words, code in ((["--only-new"], 0), ([], 1)):
        assert bench.run("check", bench.folder, "--baseline", before, *formats, *words).code == code
        (run,) = json.loads(sarif.read_bytes())["runs"]
        assert run["invocations"][0]["exitCode"] == code
        assert (b"<failure" in junit.read_bytes()) == bool(code)


def test_missing_audio_counts_however_long_it_has_been_missing(deliver):
    bench = deliver(3.0)
    (bench.folder / "side-a.wav").unlink()
    before = kept(bench, bench.check())
    junit = bench.output / "r.xml"
    ran = bench.run("check", bench.folder, "--baseline", before, "--only-new", "--out", f"junit={junit}")
    assert ran.code == 1
    assert ran.sentences[-1].endswith(
        "only what is new counts: nothing new fails; but 1 finding of missing or wrong audio always counts"
    )
    assert b"<failure" in junit.read_bytes()


def test_what_is_not_heard_any_more_is_not_mended(deliver):
    bench = deliver(3.0)
    before = kept(bench, bench.check())
    (bench.folder / "side-a.wav").unlink()
    facts = bench.check("--baseline", str(before)).report["baseline"]
    assert NARROW in {one["check"] for one in facts["not_judged"]}
    assert {one["location"]["side"] for one in facts["gone"]} <= {""}


def test_what_is_compared_with_is_never_written_over(deliver):
    bench = deliver()
    before = kept(bench, bench.check())
    held = before.read_bytes()
    ran = bench.check("--baseline", before, "--out", f"text={before}")
    assert "is the baseline of this run" in one_sentence(ran)
    assert before.read_bytes() == held


def test_a_stale_report_or_none_is_refused(deliver):
    bench = deliver()
    before = kept(bench, bench.check())
    report = json.loads(before.read_bytes())
    for change, part in (
        (
            {"ruleset": report["ruleset"] | {"name": "house"}},
            "judged by house@1.0.0, and this by",
        ),
        (
            {"ruleset": report["ruleset"] | {"sha256": "0" * 64}},
            f"judged by another file called {report['ruleset']['name']}@{report['ruleset']['version']}: give the",
        ),
        ({"sides": report["sides"][:1]}, "it has the sides A, and this delivery A, B"),
        ({"schema": 2}, "it is of schema 2"),
        ({"results": None}, 'does not understand "results"'),
    ):
        before.write_text(json.dumps(report | change), encoding="utf-8")
        assert part in one_sentence(bench.check("--baseline", str(before)))
    before.write_text(json.dumps(report), encoding="utf-8")
    land = report["ruleset"]["chain"]["cut"]["land"]["value"]
    for words, part in (
        (
            ["--baseline", str(before), "--chain", "cut.land=25um"],
            f"judged with cut.land {land}, and this with cut.land 25 um; judge",
        ),
        (["--baseline", "none.json"], "none.json: there is no such file"),
        (["--baseline", "delivery.yaml"], "delivery.yaml: this is no JSON object"),
        (["--baseline", ""], "--baseline: the file has no name"),
        (["--waivers", ""], "--waivers: the file has no name"),
        (["--waivers", "none.yaml"], "none.yaml: there is no such file"),
        (["--only-new"], "--only-new: there is no earlier report to compare with"),
    ):
        assert part in one_sentence(bench.check(*words))


def test_what_a_lower_level_alone_mends_is_said_to_be_so(deliver):
    bench = deliver(3.0)
    first = kept(bench, bench.check())
    papers = bench.folder / "delivery.yaml"
    papers.write_text(papers.read_text("utf-8").replace("cut_level: 0 dB", "cut_level: -20 dB", 1), encoding="utf-8")
    ran = bench.check("--baseline", str(first))
    assert len(ran.report["baseline"]["gone"]) > 0
    assert ran.report["baseline"]["other_levels"] == [{"side": "A", "then": 0.0, "now": -20.0}]
    said = " ".join(bench.run("check", ".", "--baseline", str(first)).out.decode().split())
    assert "side A was judged at +0.0 dB then and is at -20.0 dB now: " in said
    assert "fixed by the level alone" in said
