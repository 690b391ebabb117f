"""The store as a whole: which entries go at its limit, which never, and several processes on one store."""

from __future__ import annotations

import os
import threading
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc import api
from qc.cache import place as places
from qc.cache.folder import StoreFolder
from qc.cache.place import HOMELESS, StorePlace, outside, place
from qc.cache.sweep import LIMIT, clear, contents, sweep
from qc.model.errors import UsageError
from qc.testing.deliveries import Sent, deliver
from qc.testing.music import Song, song

GIBIBYTE = 2**30
KIND = tuple[int, ...]


def entry(folder, number, size, used):
    """An entry of a size that takes no room on the disk, last used some seconds ago."""
    path = folder / f"{number:032x}" / f"groove.sectors-{number:032x}.kept"
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as out:
        out.truncate(size)
    os.utime(path, (time.time() - used,) * 2)
    return path


def test_the_limit_is_four_gibibytes_and_the_least_recently_used_go_first(tmp_path):
    ages = [50, 10, 60, 20, 40, 30]
    paths = {age: entry(tmp_path, age, GIBIBYTE, age) for age in ages}
    assert LIMIT == 4 * GIBIBYTE
    assert contents(tmp_path).size == 6 * GIBIBYTE
    assert sweep(tmp_path).size == 2 * GIBIBYTE
    assert {age for age, path in paths.items() if path.exists()} == {10, 20, 30, 40}
    assert not paths[60].parent.exists()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.integers(0, 1000), max_size=12), st.integers(0, 4000))
def test_what_stays_fits_and_one_more_would_not(tmp_path, sizes, limit):
    clear(tmp_path)
    paths = [entry(tmp_path, number, size, 10.0 * number) for number, size in enumerate(sizes)]  # the newest first
    sweep(tmp_path, limit)
    stays = [path.exists() for path in paths]
    count = stays.count(True)
    assert stays == sorted(stays, reverse=True)
    assert sum(sizes[:count]) <= limit
    assert count == len(sizes) or sum(sizes[: count + 1]) > limit


def test_a_run_at_the_limit_keeps_what_it_measured(tmp_path):
    folder, store = deliver(tmp_path / "d", {"A": Sent(0.3 * song(Song(2.0, 48_000, seed=3)))}), tmp_path / "store"
    old = [entry(store, number, GIBIBYTE, 100.0 + number) for number in range(4)]
    assert api.check(folder, api.Options(cache=store)).run.sides == {"A": "heard"}
    assert [path.exists() for path in old] == [True, True, True, False]
    assert contents(store).size <= LIMIT
    assert api.check(folder, api.Options(cache=store)).run.sides == {"A": "stored"}


def test_only_what_the_store_wrote_goes(tmp_path):
    mine = [
        tmp_path / "files" / "letters.kept", tmp_path / "files" / ".sidegate-notes", tmp_path / ("0" * 32) / "a.txt",
        tmp_path / "music" / f"groove.sectors-{1:032x}.kept", tmp_path / ("g" * 32) / f"groove.sectors-{1:032x}.kept",
    ]  # fmt: skip
    for path in mine:
        path.parent.mkdir(exist_ok=True)
        path.write_text("mine")
        os.utime(path, (0, 0))
    sweep(tmp_path, 0)
    clear(tmp_path)
    assert all(path.exists() for path in mine)


def test_clearing_and_writing_at_once_is_no_fault(tmp_path):
    """Another process may delete a subfolder between its making and the first file in it, and no file half written."""
    said, done = [], threading.Event()

    def clearing():
        while not done.is_set():
            clear(tmp_path / "store")

    other = threading.Thread(target=clearing)
    other.start()
    try:
        for number in range(300):
            path = tmp_path / "store" / f"{number % 3:032x}" / f"x-{0:032x}.kept"
            folder = StoreFolder(tmp_path / "store", said.append)
            folder.write(path, "key", KIND, (number,))
            found = folder.read(path, "key", KIND)
            assert found is None or found.value == (number,)
    finally:
        done.set()
        other.join()
    assert said == []


def test_a_system_without_a_cache_folder(monkeypatch):
    monkeypatch.setattr(places, "_default", lambda: None)
    assert place(None, {}) == StorePlace(None, why=HOMELESS)


def test_names_that_are_no_folders():
    with pytest.raises(UsageError, match="the folder has no name"):
        place("", {})
    with pytest.raises(UsageError, match="is relative"):
        place(None, {"SIDEGATE_STORE": "~/store"})


@pytest.mark.parametrize(
    ("store", "named", "used"),
    [("d", True, False), ("d/x", True, False), ("d/../d/x", True, False), ("dx", True, True), ("d/x", False, True)],
)
def test_a_folder_that_was_named_is_not_used_inside_the_delivery(tmp_path, store, named, used):
    """The default one is: a delivery may lie in the home folder itself."""
    (tmp_path / "d").mkdir()
    where = outside(StorePlace(tmp_path / store, named=named), tmp_path / "d")
    assert (where.folder is not None, where.why == "") == (used, used)


def test_the_folder_of_earlier_versions_is_not_used_by_a_programme_either(tmp_path):
    said = []
    folder = deliver(tmp_path / "d", {"A": Sent(0.3 * song(Song(2.0, 48_000, seed=3)))})
    for _ in range(2):
        report = api.check(folder, api.Options(cache=folder / ".sidegate-cache", told=said.append))
        assert report.run.sides == {"A": "heard"}
    assert len(said) == 2
    assert "a folder of this name may have come with a delivery" in said[0]
    assert not (folder / ".sidegate-cache").exists()


def test_what_another_process_stores_while_the_store_is_cleared_is_not_told_as_kept(tmp_path, monkeypatch):
    entry(tmp_path, 1, 10, 5)
    here = entry(tmp_path, 2, 10, 5)
    unlink = type(here).unlink

    def racing(path, **more):
        unlink(path, **more)
        entry(tmp_path, 3, 10, 0)

    monkeypatch.setattr(type(here), "unlink", racing)
    gone = clear(tmp_path)
    assert (gone.entries, gone.kept) == (2, 0)
    assert contents(tmp_path).entries == 1


def test_what_cannot_be_deleted_is_counted(tmp_path, monkeypatch):
    def refused(path, **_):
        raise PermissionError(path)

    here = entry(tmp_path, 1, 10, 5)
    monkeypatch.setattr(type(here), "unlink", refused)
    assert clear(tmp_path).kept == 1
