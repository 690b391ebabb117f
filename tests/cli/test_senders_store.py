"""What a sender might put into a delivery to have its numbers believed, and what a user's own store may not do."""

from __future__ import annotations

import os
import shutil
import stat
import time
from pathlib import Path

import pytest
import soundfile

from support.command import PINNED, RATE, Bench, called, one_sentence, programme
from support.forged_store import forge
from support.signals import opposed, tone

SHIPPED = ".sidegate-cache"
SENT = "came with the delivery, or an earlier version left it: nothing in it is used"
OTHERWISE = "the next run measures again, unless --cache or SIDEGATE_STORE names another folder"
INSIDE = "lies in the delivery's folder, where its sender may have put measurements"
MONTH = 31 * 86_400.0


def bad():
    """A side with bass out of phase, as long as a good one, (frames, 2)."""
    x = programme().T
    x[:, RATE // 2 : RATE // 2 + round(0.6 * RATE)] += opposed(tone(60.0, 0.6, RATE, 0.5, fade=0.1))
    return x.T


@pytest.fixture(scope="module")
def trick(warm, tmp_path_factory):
    """The audio of a delivery whose side A is bad, and a store that has the numbers of a good master for it."""
    other = tmp_path_factory.mktemp("other")
    bench, store = Bench(other), other / "store"
    bench.deliver(PINNED)
    good = shutil.copy(bench.folder / "side-a.wav", other / "good.wav")
    words = ["check", str(bench.folder), "--cache", str(store), "--out", f"json={bench.report}"]
    assert called(words)[0] == 0
    soundfile.write(bench.folder / "side-a.wav", bad(), RATE, subtype="PCM_24")
    assert called(words)[0] == 1
    assert forge(store, Path(good), bench.folder / "side-a.wav", other / "forged") >= 6
    return bench.folder, other / "forged"


@pytest.fixture
def tricked(trick, bench, tmp_path_factory):
    """Such a delivery at a bench, and a copy of such a store."""
    folder, forged = trick
    shutil.copytree(folder, bench.folder, dirs_exist_ok=True)
    return bench, shutil.copytree(forged, tmp_path_factory.mktemp("forged") / "store")


def judged(ran):
    """The report without what may differ between two runs."""
    return {key: value for key, value in ran.report.items() if key != "run"}


@pytest.mark.parametrize("words", [[], ["--verify"], ["--no-cache"]])
def test_a_store_in_the_delivery_decides_nothing(tricked, words):
    bench, forged = tricked
    fresh = judged(bench.check("--no-cache"))
    shutil.copytree(forged, bench.folder / SHIPPED)
    before = {path: path.read_bytes() for path in (bench.folder / SHIPPED).rglob("*") if path.is_file()}
    ran = bench.check(*words)
    assert ran.code == 1
    assert judged(ran) == fresh
    assert [one for one in ran.sentences if SENT in one] == [one for one in ran.sentences if SHIPPED in one]
    assert sum(SENT in one for one in ran.sentences) == 1
    assert {path: path.read_bytes() for path in (bench.folder / SHIPPED).rglob("*") if path.is_file()} == before


def test_the_plan_and_a_comparison_of_rulesets_say_it_too(tricked):
    bench, forged = tricked
    shutil.copytree(forged, bench.folder / SHIPPED)
    plan = bench.run("plan", bench.folder)
    diff = bench.run("rulesets", "diff", "disc-12in-33@1.0.0", "disc-12in-33@1.1.0", "--on", bench.folder)
    assert [sum(SENT in one for one in ran.sentences) for ran in (plan, diff)] == [1, 1]


def aged(folder):
    """Files as a store has them, which nobody used for a month; gives each with its content."""
    inside = folder / ("0" * 32)
    inside.mkdir(parents=True)
    (folder / "files").mkdir()
    paths = [inside / f"groove.sectors-{'1' * 32}.kept", folder / "files" / f"96000-{'2' * 32}.kept"]
    for path in paths:
        path.write_bytes(b"somebody's own")
        os.utime(path, (time.time() - MONTH,) * 2)
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def files(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_link_in_a_delivery_leads_nowhere(bench, tmp_path_factory):
    """Old files behind a link that a sender made were deleted, and new ones written there."""
    bench.deliver(PINNED)
    private = tmp_path_factory.mktemp("private")
    before = aged(private)
    (bench.folder / SHIPPED).symlink_to(private)
    ran = bench.check()
    assert ran.code == 0
    assert files(private) == before
    assert sum(SENT in one for one in ran.sentences) == 1
    assert bench.check().report["run"]["sides"] == {"A": "stored", "B": "stored"}


@pytest.mark.parametrize("option", [True, False])
def test_a_link_in_the_place_of_the_store_is_not_followed(bench, tmp_path_factory, option):
    bench.deliver(PINNED)
    other = tmp_path_factory.mktemp("other")
    before = aged(other / "private")
    bench.store.parent.mkdir(exist_ok=True)
    link = other / "link" if option else bench.store
    link.symlink_to(other / "private")
    ran = bench.check(*(["--cache", link] if option else []))
    assert ran.code == 0
    assert files(other / "private") == before
    assert [one.partition(" (")[2] for one in ran.sentences if "not stored" in one] == [
        "it is a link, and links are not followed); " + OTHERWISE
    ]
    bench.report.unlink()
    refused = bench.run("store", "clear", *(["--cache", link] if option else []))
    assert "is a link, and links are not followed" in one_sentence(refused)
    assert files(other / "private") == before


def test_links_inside_the_store_are_not_followed(bench, tmp_path_factory):
    """Neither a subfolder nor an entry that leads elsewhere is read, written or deleted."""
    bench.deliver(PINNED)
    first = bench.check()
    other = tmp_path_factory.mktemp("other")
    subfolders = [path for path in bench.store.iterdir() if path.is_dir() and path.name != "files"]
    for path in (subfolders[0], next(subfolders[1].glob("level.*"))):
        shutil.move(path, other / path.name)
        path.symlink_to(other / path.name)
    for path in other.rglob("*.kept"):
        os.utime(path, (time.time() - MONTH,) * 2)
    before = {path: (octets, path.stat().st_mtime) for path, octets in files(other).items()}
    ran = bench.check()
    assert judged(ran) == judged(first)
    assert set(ran.report["run"]["sides"].values()) == {"heard", "partly stored"}
    assert any("is a link; it is measured again" in one for one in ran.sentences)
    assert {path: (octets, path.stat().st_mtime) for path, octets in files(other).items()} == before
    cleared = bench.run("store", "clear")
    assert cleared.code == 0
    assert {path: (octets, path.stat().st_mtime) for path, octets in files(other).items()} == before


def test_verify_measures_again_and_replaces_numbers_that_are_not_so(tricked):
    """A checksum shows damage, and no intent: numbers in the user's own store can be wrong all the same."""
    bench, forged = tricked
    fresh = judged(bench.check("--no-cache"))
    shutil.copytree(forged, bench.store)
    assert bench.check().report["verdict"] == "pass", "it is the user's own store, and it is believed"
    ran = bench.check("--verify")
    assert ran.code == 1
    assert judged(ran) == fresh
    said = [one for one in ran.sentences if "what was stored" in one]
    assert [one.partition(" on ")[0] for one in said] == ["sidegate: side A: what was stored of it"]
    assert "groove.sectors" in said[0]
    again = bench.check()
    assert (again.code, again.report["run"]["sides"]["A"]) == (1, "stored")
    assert judged(again) == fresh
    assert not any("what was stored" in one for one in bench.check("--verify").sentences)


@pytest.mark.parametrize("way", ["--cache", "a link", "SIDEGATE_STORE"])
def test_a_store_inside_the_delivery_is_not_used_whoever_names_it(tricked, way):
    bench, forged = tricked
    shutil.copytree(forged, bench.folder / "store")
    place = bench.folder / "store"
    if way == "a link":
        place = bench.root / "link"
        place.symlink_to(bench.folder)
        place /= "store"
    if way == "SIDEGATE_STORE":
        bench.environment["SIDEGATE_STORE"] = str(place)
    ran = bench.check(*([] if way == "SIDEGATE_STORE" else ["--cache", place]))
    assert ran.code == 1
    assert sum(INSIDE in one for one in ran.sentences) == 1
    assert ran.report["run"]["sides"]["A"] == "heard"


def test_a_relative_variable_is_refused(bench):
    bench.deliver(PINNED)
    bench.environment["SIDEGATE_STORE"] = "store"
    assert "SIDEGATE_STORE: store is relative; write the whole path" in one_sentence(bench.check())


@pytest.fixture
def home(bench, tmp_path_factory):
    """The bench with a home folder of its own and no other word on where to store; compiled kernels stay."""
    from qc.dsp.kernels.cache import opened

    folder = tmp_path_factory.mktemp("home")
    for name in ("SIDEGATE_STORE", "XDG_CACHE_HOME"):
        bench.environment.pop(name, None)
    bench.environment |= {"HOME": str(folder), "SIDEGATE_CACHE": str(opened().folder.parent.parent)}
    bench.deliver(PINNED)
    return folder


def kept(folder):
    return len(list(folder.rglob("*.kept")))


def test_the_option_comes_first_then_the_variable_then_the_users_cache_folder(bench, home, tmp_path_factory):
    named, option = tmp_path_factory.mktemp("named"), tmp_path_factory.mktemp("option")
    bench.check()
    assert kept(home) > 0
    assert kept(home) == kept(next(home.rglob("measurements")))
    count = kept(home)
    bench.environment["SIDEGATE_STORE"] = str(named)
    bench.check()
    assert (kept(home), kept(named)) == (count, count)
    bench.check("--cache", option)
    assert (kept(home), kept(named), kept(option)) == (count, count, count)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder in which not even root may write")
def test_without_a_home_nothing_is_stored_and_that_is_said_once(bench, home):
    plain = bench.check("--no-cache")
    for place in ("/proc/nonexistent", str(bench.folder / "delivery.yaml")):
        bench.environment["HOME"] = place
        ran = bench.check()
        assert ran.code == 0
        assert judged(ran) == judged(plain)
        assert sum("measurements are not stored in" in one for one in ran.sentences) == 1
    bench.environment["XDG_CACHE_HOME"] = "relative"  # to the delivery, in which the command runs
    assert bench.check().code == 0
    assert not (bench.folder / "relative").exists()


@pytest.mark.skipif(os.name != "posix", reason="needs modes of files")
def test_folder_and_files_are_private(bench):
    bench.deliver(PINNED)
    bench.check(umask=0)
    paths = [bench.store, *bench.store.rglob("*")]
    modes = {(path.is_dir(), stat.S_IMODE(path.stat().st_mode)) for path in paths}
    assert modes == {(True, 0o700), (False, 0o600)}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs to give files away")
def test_what_belongs_to_another_user_is_not_believed(bench):
    bench.deliver(PINNED)
    first = bench.check()
    for path in bench.store.rglob("*.kept"):
        os.chown(path, 12_345, -1)
    ran = bench.check()
    assert ran.report["run"]["sides"] == {"A": "heard", "B": "heard"}
    assert sum("belongs to another user; it is measured again" in one for one in ran.sentences) == 1
    assert judged(ran) == judged(first)


def test_the_store_is_shown_and_cleared(bench):
    bench.deliver(PINNED)
    assert bench.run("store").out.decode().splitlines()[1].startswith("0 entries, 0.0 MiB; limit 4 GiB")
    bench.check()
    own = bench.store / "own.kept"
    own.write_text("not the store's")
    count = len(list(bench.store.rglob("*.kept"))) - 1
    size = sum(path.stat().st_size for path in bench.store.rglob("*.kept")) - own.stat().st_size
    place, amount = bench.run("store", "show").out.decode().splitlines()
    assert place == str(bench.store)
    assert amount.startswith(f"{count} entries, {size / 2**20:.1f} MiB; limit 4 GiB")
    assert bench.run("store", "--cache", bench.root / "none").out.decode().splitlines()[1].startswith("0 entries")
    cleared = bench.run("store", "clear")
    assert cleared.out.decode() == f"{count} entries, {size / 2**20:.1f} MiB, deleted from {bench.store}\n"
    assert sorted(path.name for path in bench.store.iterdir()) == [".gitignore", "CACHEDIR.TAG", "own.kept"]
    assert bench.check().report["run"]["sides"] == {"A": "heard", "B": "heard"}
