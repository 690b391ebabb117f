"""A second run over unchanged audio: the same report, and nothing heard but what is not stored."""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import time
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
import soundfile

from qc import Analysis, Quantity, api, hookimpl
from qc.cache import entry, keys
from qc.cache.store import Store
from qc.groove.level.memo import StoredMemo
from qc.groove.signal.sector_envelopes import Sectors
from qc.measure import side as measuring
from qc.plugin_host.host import Host
from qc.testing.deliveries import Sent, deliver
from qc.testing.music import Song, song
from support import forged_store

RATE = 48_000
CORE = {
    "groove.band-parts", "groove.sectors", "groove.parts", "level.peaks", "level.overs", "loudness.file",
    "stereo.low-band", "stereo.means", "edges.milliseconds", "bits.low-bits", "spectrum.spectra", "spectrum.low-band",
    "programme.time-faults", "lossy.holes",
}  # fmt: skip
ENTRIES = len(CORE) + 1
"""of a side: one an analysis, and what the level search found"""
WRONG = "0" * 64


@cache
def installed():
    return api.build_host()


@cache
def sung(seed, seconds):
    return 0.5 * song(Song(seconds, RATE, seed=seed, tempo=120.0, cymbals=1.2, bass_width=0.2))


def music(seed=3, seconds=2.0):
    return sung(seed, seconds).copy()


@pytest.fixture
def folder(tmp_path):
    return deliver(tmp_path / "d", {"A": Sent(music()), "B": Sent(music(4)[0])})


@pytest.fixture
def passes(monkeypatch):
    """What each pass was to hear: the source, and the ids of analyses."""
    found, process_source = [], measuring.process_source

    def counted(source, plan, **more):
        found.append((source.stream.source, {analysis.id for analysis in plan.analyses}))
        return process_source(source, plan, **more)

    monkeypatch.setattr(measuring, "process_source", counted)
    return found


@pytest.fixture
def check(tmp_path):
    """Judge with a store; gives the report without its run, what each side was, what was said."""

    def run(folder, host=None, *, ruleset=None, cache=tmp_path / "store", verify=False):
        said = []
        options = api.Options(ruleset, cache=cache, verify=verify, told=said.append)
        report = api.check(folder, options, host or installed())
        return report.model_dump(mode="json", exclude={"run"}), dict(report.run.sides), said

    return run


def entries(folder):
    return sorted(path for path in Path(folder).rglob("*.kept") if path.parent.name != "files")


# -- the same report -------------------------------------------------------------------------------------------


def test_a_second_run_hears_nothing_and_says_the_same(folder, check, passes, tmp_path):
    plain = api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})
    passes.clear()
    first = check(folder)
    assert first == (plain, {"A": "heard", "B": "heard"}, [])
    assert len(passes) == 2
    second = check(folder)
    assert second == (plain, {"A": "stored", "B": "stored"}, [])
    assert len(passes) == 2
    assert [side["passes"] for side in second[0]["sides"]] == [1, 1]
    assert len(entries(tmp_path)) == 2 * ENTRIES


def test_the_plan_takes_what_the_check_heard(folder, check, passes, tmp_path):
    check(folder)
    plans = [api.plan(folder, api.PlanOptions(cache=cache, split=True)) for cache in (None, tmp_path / "store")]
    assert [plan.run.sides["A"] for plan in plans] == ["heard", "stored"]
    plain, stored = (plan.model_dump(mode="json", exclude={"run"}) for plan in plans)
    assert stored == plain


def test_other_limits_and_another_cut_need_no_pass(folder, check, variant):
    check(folder)
    ruleset = str(variant({"land": "20 um", "outer": "250 mm"}))
    report, origins, _ = check(folder, ruleset=ruleset)
    assert set(origins.values()) == {"stored"}
    assert report == api.check(folder, api.Options(ruleset)).model_dump(mode="json", exclude={"run"})


def test_another_signal_is_heard_where_it_matters(folder, check, passes, variant):
    """The top is the business of the wall motion and of what is programme; peaks are of the samples as they came."""
    check(folder)
    passes.clear()
    ruleset = str(variant({"top": "19 kHz"}))
    report, origins, _ = check(folder, ruleset=ruleset)
    assert set(origins.values()) == {"partly stored"}
    assert [analyses for _, analyses in passes] == [{"groove.band-parts", "groove.sectors"}] * 2
    assert report == api.check(folder, api.Options(ruleset)).model_dump(mode="json", exclude={"run"})


def test_nobody_who_asks_for_no_store_gets_one(folder):
    api.check(folder)
    assert sorted(path.name for path in folder.iterdir()) == ["delivery.yaml", "side-a.wav", "side-b.wav"]


def test_a_side_under_another_name_is_another_stream(folder, check):
    """What hears may tell sides by their name, so a result goes with it."""
    check(folder)
    paper = folder / "delivery.yaml"
    paper.write_text(paper.read_text().replace("id: A", "id: C"))
    assert check(folder)[1] == {"C": "heard", "B": "stored"}


# -- other audio -----------------------------------------------------------------------------------------------


def test_audio_of_the_same_length_is_heard(folder, check, passes, tmp_path):
    before = check(folder)
    soundfile.write(folder / "side-a.wav", music(9).T, RATE, subtype="FLOAT")
    other = check(folder)
    assert other[1] == {"A": "heard", "B": "stored"}
    assert other[0]["sides"][0] != before[0]["sides"][0]
    assert other[0] == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})


def test_a_file_that_was_only_touched_or_copied_is_hashed_and_not_heard(folder, check, tmp_path):
    before = check(folder)
    os.utime(folder / "side-a.wav", (1e9, 1e9))
    again = check(folder)
    assert again[1] == {"A": "stored", "B": "stored"}
    copied = shutil.copytree(folder, tmp_path / "copy")
    assert check(copied)[1] == {"A": "stored", "B": "stored"}
    assert before[0]["sides"][0]["measurements"] == again[0]["sides"][0]["measurements"]


def unnoticed(folder, monkeypatch):
    """Another side behind the same size, time, inode and device, as nothing but a hash can tell."""
    path = folder / "side-a.wav"
    state = path.stat()
    soundfile.write(folder / "other.wav", music(9).T, RATE, subtype="FLOAT")
    octets = (folder / "other.wav").read_bytes()
    (folder / "other.wav").unlink()
    with path.open("r+b") as out:
        out.write(octets)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    frozen = (state.st_size, state.st_mtime_ns, state.st_ino, state.st_dev, state.st_ctime_ns)
    of = "qc.intake.inspection._state"
    known = measuring.read_input.__globals__["inspect"].__globals__["_state"]
    monkeypatch.setattr(of, lambda one: frozen if one.samefile(path) else known(one))


def test_verify_does_not_trust_the_digest_that_is_remembered(folder, check, monkeypatch):
    before = check(folder)
    unnoticed(folder, monkeypatch)
    assert check(folder) == (before[0], {"A": "stored", "B": "stored"}, [])
    after = check(folder, verify=True)
    assert after[1] == {"A": "heard", "B": "heard"}
    assert [said.partition(" on ")[0] for said in after[2]] == ["side A: what was stored of it"]
    assert "(the digest of side-a.wav)" in after[2][0]
    assert after[0] == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})
    assert check(folder)[0] == after[0]


def test_verify_replaces_numbers_by_level_that_are_not_so(folder, check, tmp_path):
    """They are worked out and not measured, and decide the level all the same."""
    fresh = check(folder)[0]
    for path in (tmp_path / "store").rglob("groove.sectors.further-*.kept"):
        octets = path.read_bytes()
        key = forged_store.header(octets)[0]["key"]
        kept = entry.read(path, key, StoredMemo).value
        wrong = [
            replace(one, worst=tuple((name, replace(worst, value=0.5 * worst.value)) for name, worst in one.worst))
            for one in kept.levels
        ]
        entry.write(path, key, StoredMemo, replace(kept, levels=tuple(wrong)), "2026-02-03")
    assert check(folder)[0] != fresh
    report, origins, said = check(folder, verify=True)
    assert (report, set(origins.values())) == (fresh, {"heard"})
    assert [one.partition(" on ")[0] for one in said] == [f"side {side}: what was stored of it" for side in "AB"]
    assert check(folder)[::2] == (fresh, [])


@pytest.mark.parametrize("spoil", ["silent", "not_finite"])
def test_verify_takes_away_what_is_stored_of_audio_that_cannot_be_judged(tmp_path, check, monkeypatch, spoil):
    """The numbers of a good master are stored for a file with nothing on it, or with a sample that is no number."""
    good = deliver(tmp_path / "good", {"A": Sent(music())})
    bad = deliver(tmp_path / "bad", {"A": Sent({"silent": silent, "not_finite": not_finite}[spoil](music()))})
    fresh = api.check(bad, None, installed()).model_dump(mode="json", exclude={"run"})
    stored, keep = [], Store.keep
    monkeypatch.setattr(Store, "keep", lambda *words, **more: stored.append(words) or keep(*words, **more))
    check(good)
    ((store, sound, results, *_),) = stored
    digest = hashlib.sha256((bad / "side-a.wav").read_bytes()).hexdigest()
    keep(store, replace(sound, files=((digest, *sound.files[0][1:]),)), results)
    assert check(bad)[1] == {"A": "stored"}, "as long as nothing is verified"
    report, origins, said = check(bad, verify=True)
    assert (report, origins, len(said)) == (fresh, {}, 1)
    assert said[0].startswith("side A: what was stored of it")
    assert check(bad) == (fresh, {}, [])


def test_verify_has_nothing_to_say_of_a_file_that_is_not_what_was_sent(folder, check):
    """A list that disagrees is a fault of the delivery; what is stored of these bytes is right all the same."""
    check(folder)
    (folder / "SHA256SUMS").write_text(f"{WRONG}  side-a.wav\n")
    assert check(folder, verify=True)[1:] == ({"B": "heard"}, [])
    (folder / "SHA256SUMS").unlink()
    assert check(folder)[1] == {"A": "stored", "B": "stored"}


def test_what_is_stored_of_one_file_is_not_mixed_with_what_is_heard_of_another(folder, check, monkeypatch, passes):
    """A new analysis makes a pass, and the pass shows that the file is another one: all of it is heard."""
    check(folder)
    unnoticed(folder, monkeypatch)
    passes.clear()
    report, origins, _ = check(folder, built(Crest))
    assert origins == {"A": "heard", "B": "partly stored"}
    assert [analyses for _, analyses in passes] == [{"house.crest"}, CORE | {"house.crest"}, {"house.crest"}]
    assert report == api.check(folder, None, built(Crest)).model_dump(mode="json", exclude={"run"})


@pytest.mark.parametrize("change", ["gone", "empty", "cut off", "text", "not what was sent"])
def test_audio_at_fault_is_found_as_without_a_store(folder, check, change):
    check(folder)
    path = folder / "side-a.wav"
    if change == "gone":
        path.unlink()
    elif change == "not what was sent":
        (folder / "SHA256SUMS").write_text(f"{WRONG}  side-a.wav\n")
    else:
        path.write_bytes({"empty": b"", "cut off": path.read_bytes()[:100_000], "text": b"no audio"}[change])
    report, origins, said = check(folder)
    assert report == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})
    assert (origins, said) == ({"B": "stored"}, [])
    assert report["sides"][0]["passes"] == 0
    assert check(folder)[0] == report


def silent(x):
    return 0.0 * x


def not_finite(x):
    x[0, 60_000] = np.nan
    return x


@pytest.mark.parametrize("spoil", [silent, not_finite])
def test_audio_that_cannot_be_judged_is_never_stored(tmp_path, check, passes, spoil):
    folder = deliver(tmp_path / "d", {"A": Sent(spoil(music()))})
    first = check(folder)
    assert first[1] == {}
    assert entries(tmp_path) == []
    assert check(folder) == first
    assert len(passes) == 2


def test_a_file_that_is_not_what_was_sent_is_never_stored(folder, check, tmp_path):
    (folder / "SHA256SUMS").write_text(f"{WRONG}  side-a.wav\n{WRONG}  side-b.wav\n")
    assert check(folder)[1] == {}
    assert entries(tmp_path) == []


def test_what_the_papers_say_is_compared_with_what_is_remembered(folder, check):
    report, _, _ = check(folder)
    digest = report["sides"][0]["audio"]["sha256"]
    (folder / "SHA256SUMS").write_text(f"{digest}  side-a.wav\n")
    audio = check(folder)[0]["sides"][0]["audio"]
    assert (audio["sha256"], audio["checked"]) == (digest, ["sha256 of SHA256SUMS"])


def test_an_md5_that_was_not_asked_for_before_is_worked_out(folder, check, passes):
    check(folder)
    (folder / "side-a.wav.md5").write_text("0" * 32)
    passes.clear()
    report, origins, _ = check(folder)
    assert origins == {"B": "stored"}
    assert passes == []
    assert report == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})


def test_a_file_that_changes_while_it_is_heard_is_not_stored(folder, check, monkeypatch, tmp_path):
    path, process_source = folder / "side-a.wav", measuring.process_source

    def changed(source, *args, **more):
        measured = process_source(source, *args, **more)
        if source.stream.source == "side:A":
            os.utime(path, (1e9, 1e9))
        return measured

    monkeypatch.setattr(measuring, "process_source", changed)
    assert check(folder)[1] == {"B": "heard"}
    assert len(entries(tmp_path)) == ENTRIES
    monkeypatch.undo()
    assert check(folder)[1] == {"A": "heard", "B": "stored"}


# -- one file a track ------------------------------------------------------------------------------------------

HEAD = "schema: 1\ntitle: Quiet Harbour\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n    tracks:\n"


def joined(folder, gap):
    lines = [f"      - {{number: 1, title: No, audio: 1.wav, gap_after: {gap}}}\n"]
    lines += ["      - {number: 2, title: No, audio: 2.wav}\n"]
    (folder / "delivery.yaml").write_text(HEAD + "".join(lines))


def test_a_joined_side_goes_with_all_its_files_and_its_gaps(tmp_path, check):
    folder = tmp_path / "d"
    folder.mkdir()
    for i in (1, 2):
        soundfile.write(folder / f"{i}.wav", music(i).T, RATE, subtype="PCM_24")
    joined(folder, "1 s")
    first = check(folder)
    assert first[1] == {"A": "heard"}
    assert check(folder) == (first[0], {"A": "stored"}, [])
    joined(folder, "2 s")
    assert check(folder)[1] == {"A": "heard"}
    joined(folder, "1 s")
    assert check(folder) == (first[0], {"A": "stored"}, [])
    for one, other in (("1.wav", "x"), ("2.wav", "1.wav"), ("x", "2.wav")):
        (folder / one).rename(folder / other)
    swapped = check(folder)
    assert swapped[1] == {"A": "heard"}
    assert swapped[0] == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})


# -- plugins ---------------------------------------------------------------------------------------------------


class Loudest:
    def __init__(self):
        self.most = 0.0

    def push(self, block):
        self.most = max(self.most, float(np.abs(block.samples).max(initial=0.0)))

    def finish(self):
        return self.most


@dataclass(frozen=True)
class Crest(Analysis[float]):
    id: ClassVar[str] = "house.crest"
    publishes: ClassVar = {"house.crest": "1"}

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def start(self, stream):
        return Loudest()

    def publish(self, result):
        return {"house.crest": Quantity(value=result, unit="1")}


class Own:
    pass


@dataclass(frozen=True)
class Odd(Crest):
    id: ClassVar[str] = "house.odd"
    publishes: ClassVar = {}

    def start(self, stream):
        return type("Running", (), {"push": lambda *_: None, "finish": lambda _: Own()})()

    def publish(self, result):
        return {}


@dataclass(frozen=True)
class Untyped(Analysis):
    id: ClassVar[str] = "house.untyped"
    of = classmethod(lambda cls, _chain: cls())
    start = Crest.start


@dataclass(frozen=True)
class Raising(Odd):
    id: ClassVar[str] = "house.raising"

    def start(self, stream):
        raise ValueError("no")


@dataclass(frozen=True)
class Newer(Crest):
    version: ClassVar[int] = 2


class Plugin:
    def __init__(self, *needs):
        self.needs = needs

    @hookimpl
    def qc_measures(self):
        return list(self.needs)


def built(*needs):
    return Host.build(extra=[("house", Plugin(*needs))], core=api.units(()), formats=("json", "sheet", "text"))


def test_only_what_a_new_plugin_measures_is_heard(folder, check, passes):
    check(folder)
    passes.clear()
    report, origins, _ = check(folder, built(Crest))
    assert set(origins.values()) == {"partly stored"}
    assert [analyses for _, analyses in passes] == [{"house.crest"}] * 2
    assert report == api.check(folder, None, built(Crest)).model_dump(mode="json", exclude={"run"})
    assert check(folder, built(Crest))[1] == {"A": "stored", "B": "stored"}


@pytest.mark.parametrize("need", [Odd, Raising])
def test_what_cannot_be_stored_is_heard_every_time(folder, check, passes, need):
    reports = [check(folder, built(need)) for _ in range(3)]
    assert reports[0][0] == reports[1][0] == reports[2][0]
    assert reports[2][1:] == ({"A": "partly stored", "B": "partly stored"}, [])
    assert [len(analyses) for _, analyses in passes[2:]] == [1] * 4


def test_another_version_of_a_need_is_heard(folder, check):
    check(folder, built(Crest))
    assert check(folder, built(Newer))[1]["A"] == "partly stored"


def test_the_sources_of_a_plugin_are_part_of_what_it_measured(folder, check, why, tmp_path):
    """No version has to be raised: an edit to any file of its package is enough."""
    package = tmp_path / "house_of_tests"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "beside.py").write_text("FACTOR = 1.0\n")
    module = sys.modules.setdefault("house_of_tests", type(sys)("house_of_tests"))
    module.__path__ = [str(package)]
    made = type("Made", (Crest,), {"__module__": "house_of_tests.inside", "id": "house.made"})
    check(folder, built(made))
    assert check(folder, built(made))[1]["A"] == "stored"
    (package / "beside.py").write_text("FACTOR = 2.0\n")
    keys.code_of.cache_clear()
    assert why(folder, made) == ["side A: house.made was measured: the source of house_of_tests changed"]
    del sys.modules["house_of_tests"]


def test_a_need_without_sources_is_not_stored(folder, check):
    made = type("Made", (Crest,), {"__module__": "nowhere_to_be_found", "id": "house.made"})
    for _ in range(2):
        check(folder, built(made))
    assert check(folder, built(made))[1]["A"] == "partly stored"


# -- why it was measured ---------------------------------------------------------------------------------------


@pytest.fixture
def why(tmp_path):
    """Judge with a store; gives the sentences about what was measured."""

    def run(folder, *needs, verify=False):
        said = []
        options = api.Options(cache=tmp_path / "store", verify=verify, explained=said.append)
        api.check(folder, options, built(*needs) if needs else installed())
        return [sentence for sentence in said if sentence.startswith("side A: ")]

    return run


def test_each_analysis_that_was_measured_is_named_with_the_reason(folder, why, monkeypatch):
    every = "side A: every analysis was measured: "
    assert why(folder) == [every + "this audio was not measured before"]
    assert why(folder) == []
    assert why(folder, Crest) == ["side A: house.crest was measured: it was not measured of this audio before"]
    monkeypatch.setattr(Crest, "version", 2)
    assert why(folder, Crest) == ["side A: house.crest was measured: its version changed"]
    monkeypatch.setattr(Crest, "version", 3)
    monkeypatch.setattr(Sectors, "version", 3)
    assert why(folder, Crest) == [
        "side A: groove.sectors was measured: its version changed",
        "side A: house.crest was measured: its version changed",
    ]
    assert why(folder, Crest, verify=True) == [every + "--verify measures everything again"]


@pytest.mark.parametrize("seconds", [2.0, 3.0])
def test_a_file_that_changed_is_the_reason(folder, why, seconds):
    why(folder)
    soundfile.write(min(folder.glob("*.wav")), music(9, seconds).T, RATE, subtype="PCM_24")
    assert why(folder) == ["side A: every analysis was measured: the file changed"]


def test_an_entry_that_is_damaged_is_the_reason(folder, why, tmp_path):
    why(folder)
    for path in (tmp_path / "store").glob("*/level.peaks-*.kept"):
        path.write_bytes(path.read_bytes()[:-1])
    assert why(folder) == ["side A: level.peaks was measured: what is stored of it is damaged"]


def test_a_result_that_cannot_be_stored_is_described_with_class_and_plugin_in_each_run(folder, why):
    words = (
        "side A: house.odd was measured: its result cannot be stored, so it is measured in each run: the result of Odd "
        "holds a value of type Own, a type that no store can write (plugin house)"
    )
    assert words in why(folder, Odd)
    assert why(folder, Odd) == [words]


def test_a_result_whose_type_is_not_named_is_described(folder, why):
    assert (
        "side A: house.untyped was measured: its result cannot be stored, so it is measured in each run: Untyped does "
        "not name the type of its result; write Analysis[TYPE] (plugin house)"
    ) in why(folder, Untyped)


# -- the folder ------------------------------------------------------------------------------------------------


def test_damage_is_heard_again_mended_and_said_once(folder, check, tmp_path):
    first = check(folder)
    for k, path in enumerate(entries(tmp_path)):
        octets = path.read_bytes()
        path.write_bytes([octets[:-1], b"", octets[:90] + b"x" + octets[91:], b"foreign" * 99][k % 4])
    report, origins, said = check(folder)
    assert (report, origins) == (first[0], first[1])
    (sentence,) = said
    assert "is damaged; it is measured again" in sentence
    assert check(folder) == (first[0], {"A": "stored", "B": "stored"}, [])


def test_an_entry_in_the_place_of_another_is_not_taken_for_it(folder, check, tmp_path):
    first = check(folder)
    loud = [path for path in entries(tmp_path) if path.name.startswith("loudness")]
    held = [path.read_bytes() for path in loud]
    for path, octets in zip(loud, reversed(held), strict=True):
        path.write_bytes(octets)
    report, origins, said = check(folder)
    assert (report, len(said)) == (first[0], 1)
    assert origins == {"A": "partly stored", "B": "partly stored"}


def test_a_damaged_digest_is_worked_out_again(folder, check, tmp_path):
    first = check(folder)
    for path in (tmp_path / "store" / "files").iterdir():
        path.write_bytes(path.read_bytes()[:-3])
    report, origins, said = check(folder)
    assert (report, origins, len(said)) == (first[0], {"A": "stored", "B": "stored"}, 1)
    assert check(folder)[2] == []


@pytest.mark.parametrize("way", ["a file", "in a file"])
def test_a_folder_that_cannot_be_made_costs_a_sentence(folder, check, tmp_path, way):
    (tmp_path / "taken").write_text("no folder")
    cache = tmp_path / "taken" if way == "a file" else tmp_path / "taken" / "store"
    report, origins, said = check(folder, cache=cache)
    assert report == api.check(folder, None, installed()).model_dump(mode="json", exclude={"run"})
    assert set(origins.values()) == {"heard"}
    (sentence,) = said
    assert "measurements are not stored in" in sentence
    assert (tmp_path / "taken").read_text() == "no folder"


def test_nobody_commits_the_folder_or_backs_it_up(folder, check, tmp_path):
    check(folder)
    assert (tmp_path / "store" / ".gitignore").read_text() == "*\n"
    assert (tmp_path / "store" / "CACHEDIR.TAG").read_text().startswith("Signature: 8a477f597d28d172789f06886806bc55\n")


def test_a_folder_with_other_things_in_it_is_left_as_it_is(folder, check, tmp_path):
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "mine.txt").write_text("mine")
    check(folder)
    assert {"mine.txt", "files"} < {path.name for path in (tmp_path / "store").iterdir()}
    assert not (tmp_path / "store" / ".gitignore").exists()


def test_what_nobody_used_for_long_goes_and_nothing_else(folder, check, tmp_path):
    check(folder)
    old = entries(tmp_path)
    (tmp_path / "store" / "keep.kept").write_text("not in a folder of the store")
    other = tmp_path / "store" / "other"
    other.mkdir()
    (other / "a.kept").write_text("mine")
    unfinished = old[0].parent / ".sidegate-x1_y2z3w"
    unfinished.write_text("half")
    then = time.time() - 31 * 86_400
    for path in [*old, other / "a.kept", tmp_path / "store" / "keep.kept", unfinished]:
        os.utime(path, (then, then))
    soundfile.write(folder / "side-a.wav", music(9).T, RATE, subtype="FLOAT")
    assert check(folder)[1] == {"A": "heard", "B": "stored"}
    left = {path.parent for path in old if path.exists()}
    assert len(left) == 1, "what side B used again stays, what the old side A had goes"
    assert len(list(left.pop().iterdir())) == ENTRIES
    assert not unfinished.exists()
    assert (other / "a.kept").exists()
    assert (tmp_path / "store" / "keep.kept").exists()
    assert check(folder)[1] == {"A": "stored", "B": "stored"}


def test_a_first_run_reads_no_file_twice(tmp_path, check, monkeypatch):
    """Two sides of one length are hashed while they are heard, as they are without a store."""
    folder = deliver(tmp_path / "d", {"A": Sent(music()), "B": Sent(music(4))})
    monkeypatch.setattr("qc.intake.inspection.digests_of", None)
    assert check(folder)[1] == {"A": "heard", "B": "heard"}


def test_an_edit_while_the_audio_is_heard_does_not_go_with_its_results(folder, check, monkeypatch):
    keys.code_of.cache_clear()
    read, process_source = [], measuring.process_source
    sources = keys._sources

    def counted(source, plan, **more):
        monkeypatch.setattr(keys, "_sources", lambda paths: read.append(paths) or sources(paths))
        return process_source(source, plan, **more)

    monkeypatch.setattr(measuring, "process_source", counted)
    assert check(folder, built(Crest))[1] == {"A": "heard", "B": "heard"}
    assert read == []
