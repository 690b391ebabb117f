"""The folder of stored measurements: results by the sound they were heard in, and the digests of files.

Whatever goes wrong with it costs a run time and nothing else: what cannot be read is measured again, what cannot be
written is left, and each is said once, in a sentence. Folder and files are private to the user, links are not followed,
and several processes may use one store: a file is written under another name and renamed, and read whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from qc.cache import entry
from qc.cache.codec import Array, UnknownFormError, form_of
from qc.cache.entry import Dated
from qc.cache.folder import StoreFolder
from qc.cache.keys import Sound, key_of, key_of_further, look_at, result_of
from qc.cache.place import LONG
from qc.cache.sweep import FILES, SUFFIX, sweep
from qc.plugin_api import Analysis, Need
from qc.text.sanitize import shown

T = TypeVar("T")
State = tuple[int, ...]
"""What tells one state of a file from another: size, time of change, inode, device ..."""


@dataclass(frozen=True, slots=True)
class _Remembered:
    """The digests of a file in one state."""

    path: str
    state: State
    digests: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class StoredResults:
    """Stored results by their analysis, and the first day on which one of them was measured; empty without any."""

    results: Mapping[Need[Any], Any]
    day: str = ""


class Store:
    """A folder of stored measurements; made when there is something to store.

    Parameters
    ----------
    folder
        Where they lie.
    verify
        Whether nothing that is stored counts: every file is hashed and measured again, and what is stored and differs
        is replaced.
    told
        Told each sentence about what cannot be read or written, or differs.
    versions
        Outermost package of a plugin -> its distribution with the version.
    """

    def __init__(
        self, folder: Path, *, verify: bool = False, told: Callable[[str], None] | None = None,
        versions: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self._folder = StoreFolder(folder, told or (lambda _: None))
        self._verify, self._versions = verify, versions or {}
        self._differing: set[str] = set()
        self._new: set[str] = set()

    @property
    def verifies(self) -> bool:
        """Whether nothing that is stored counts before it was measured again."""
        return self._verify

    # -- the digests of files ----------------------------------------------------------------------------------

    def digests(self, path: Path, state: State, names: Iterable[str]) -> dict[str, str] | None:
        """Give the digests of a file that was seen in this very state before, if all of `names` are known."""
        if self._verify:
            return None
        place = os.path.realpath(path)
        found = self._folder.read(self._record(place, state), _digest(place), form_of(_Remembered))
        if found is None or (found.value.path, found.value.state) != (place, state):
            return None
        digests = dict(found.value.digests)
        return digests if digests.keys() >= set(names) else None

    def resembles(self, state: State) -> bool:
        """Whether an earlier run heard a file of the same size, so that the digest may save hearing this one."""
        names = set() if self._verify else self._folder.names(FILES)
        return any(name.startswith(f"{state[0]}-") for name in names - self._new)

    def remember(self, path: Path, state: State, digests: Mapping[str, str], side: str) -> None:
        """Remember the digests of a file in a state; where everything is verified, say if others are stored."""
        place = os.path.realpath(path)
        held = _Remembered(place, state, tuple(sorted(digests.items())))
        record = self._record(place, state)
        self._new.add(record.name)
        stored = self._folder.read(record, _digest(place), form_of(_Remembered)) if self._verify else None
        if stored is not None and (stored.value.path, stored.value.state) == (place, state):
            before = dict(stored.value.digests)
            if any(before[name] != digests[name] for name in before.keys() & digests.keys()):
                self._differ(side, {f"the digest of {shown(path.name, LONG)}": stored})
        self._folder.write(record, _digest(place), form_of(_Remembered), held)

    def _record(self, place: str, state: State) -> Path:
        return self._folder.path / FILES / f"{state[0]}-{_digest(place)[:32]}{SUFFIX}"

    # -- results -----------------------------------------------------------------------------------------------

    def results(self, sound: Sound | None, analyses: Iterable[Analysis[Any]]) -> StoredResults:
        """Return what is stored of some analyses, nothing where the sound is not known yet; arrays are read-only.

        The sources are looked at now in any case: an edit while the audio is heard must not go with its results.
        """
        if sound is None or self._verify:
            look_at(analyses)
            return StoredResults({})
        found: dict[Need[Any], Dated] = {}
        for analysis in analyses:
            stored = self._stored(sound, analysis)
            if stored is not None:
                found[analysis] = stored
        days = [stored.day for stored in found.values()]
        return StoredResults({need: stored.value for need, stored in found.items()}, min(days, default=""))

    def keep(self, sound: Sound, results: Mapping[Analysis[Any], Any]) -> None:
        """Store results; those of a type that is not known are left out."""
        for analysis, result in results.items():
            with contextlib.suppress(UnknownFormError):
                form, key = form_of(result_of(type(analysis))), key_of(analysis, sound, self._versions)
                self._folder.write(self._place(sound, analysis, key), key, form, result)

    def recall(self, sound: Sound, analysis: Analysis[Any], on: Any, kind: type[T]) -> T | None:
        """Give what was worked out from an analysis' result before, `on` being all that it hangs on besides."""
        if self._verify:
            return None
        found = self._further(sound, analysis, on, kind)
        value: T | None = None if found is None else found.value
        return value

    def note(
        self, sound: Sound, analysis: Analysis[Any], on: Any, further: T, differs: Callable[[T, T], bool] | None = None
    ) -> None:
        """Store what `recall` gives the next time, in the place of what it gave before.

        `differs` says whether what is stored contradicts `further`; asked where everything is verified.
        """
        if self._verify and differs is not None:
            stored = self._further(sound, analysis, on, type(further))
            if stored is not None and differs(stored.value, further):
                self._differ(_side(sound), {analysis.id: stored})
        with contextlib.suppress(UnknownFormError):
            key = key_of_further(analysis, sound, self._versions, on)
            self._folder.write(self._named(sound, f"{analysis.id}.further", key), key, form_of(type(further)), further)

    def _stored(self, sound: Sound, analysis: Analysis[Any]) -> Dated | None:
        with contextlib.suppress(UnknownFormError):
            form, key = form_of(result_of(type(analysis))), key_of(analysis, sound, self._versions)
            return self._folder.read(self._place(sound, analysis, key), key, form)
        return None

    def _further(self, sound: Sound, analysis: Analysis[Any], on: Any, kind: type[Any]) -> Dated | None:
        with contextlib.suppress(UnknownFormError):
            key = key_of_further(analysis, sound, self._versions, on)
            return self._folder.read(self._named(sound, f"{analysis.id}.further", key), key, form_of(kind))
        return None

    def _place(self, sound: Sound, analysis: Analysis[Any], key: str) -> Path:
        return self._named(sound, analysis.id, key)

    def _named(self, sound: Sound, name: str, key: str) -> Path:
        name = re.sub(r"[^a-z0-9.-]", "_", name.lower())[:60]
        return self._folder.path / sound.digest / f"{name}-{key[:32]}{SUFFIX}"

    # -- verifying ---------------------------------------------------------------------------------------------

    def check(self, sound: Sound, analyses: Iterable[Analysis[Any]], results: Mapping[Need[Any], Any]) -> None:
        """Delete what is stored of analyses and is not among the results of now, and say so; where it verifies."""
        differing: dict[str, Dated] = {}
        for analysis in analyses if self._verify else ():
            stored = self._stored(sound, analysis)
            with contextlib.suppress(UnknownFormError, OSError):
                form = form_of(result_of(type(analysis)))
                if stored is None or (analysis in results and entry.same(form, stored.value, results[analysis])):
                    continue
                differing[analysis.id] = stored
                self._place(sound, analysis, key_of(analysis, sound, self._versions)).unlink()
        self._differ(_side(sound), differing)

    def _differ(self, side: str, differing: Mapping[str, Dated]) -> None:
        """Say of a side, once, what was stored of it and is not what was measured now."""
        if not differing or side in self._differing:
            return
        self._differing.add(side)
        days = ", ".join(sorted({stored.day for stored in differing.values()}))
        self._folder.report(
            f"side {shown(side, LONG)}: what was stored of it on {days} is not what was measured now "
            f"({', '.join(sorted(differing))}); only what was measured now counts, and it replaces what was stored"
        )

    def tidy(self) -> None:
        """Delete what is too much or was not used for long, once this run has read everything and stored something."""
        if self._folder.written:
            sweep(self._folder.path)


def seal(results: Mapping[Need[Any], Any]) -> None:
    """Close the arrays of results that can be stored against writing, as they are when they come from the store."""
    for need, result in results.items():
        arrays: list[Array] = []
        with contextlib.suppress(UnknownFormError):
            form_of(result_of(type(need))).put(result, arrays)
            for array in arrays:
                array.flags.writeable = False


def _side(sound: Sound) -> str:
    return sound.stream.source.removeprefix("side:")


def _digest(text: str) -> str:
    return hashlib.blake2b(os.fsencode(text), digest_size=32).hexdigest()
