"""The folder of stored measurements: results by the sound they were measured of, and the digests of files.

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

from qc.cache.codec import NotStorableError, alike, as_stored
from qc.cache.entry import Dated
from qc.cache.explainer import Explainer, Reasons
from qc.cache.folder import StoreFolder
from qc.cache.keys import Sound, key_of, look_at, parts_of, result_of
from qc.cache.place import LONG
from qc.cache.sweep import FILES, SUFFIX, sweep
from qc.plugin_base import Analysis, Need
from qc.text.sanitize import shown

T = TypeVar("T")
State = tuple[int, ...]
"""Size, time of change, inode, device ... of a file: another state is another content."""


@dataclass(frozen=True, slots=True)
class _FileDigests:
    """The digests of a file in one state, by name."""

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
        The folder they are in.
    verify
        Whether nothing that is stored counts: every file is hashed and measured again, and what is stored and differs
        is replaced.
    told
        Called with each sentence about what cannot be read or written, or differs.
    versions
        Outermost package of a plugin -> its distribution with the version.
    explained
        Called with a sentence for each analysis that is measured: why it is not taken from the store.
    owners
        Outermost package of a plugin -> its name, for these sentences.
    """

    def __init__(
        self, folder: Path, *, verify: bool = False, told: Callable[[str], None] | None = None,
        versions: Mapping[str, str] | None = None, explained: Callable[[str], None] | None = None,
        owners: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self._folder = StoreFolder(folder, told or (lambda _: None))
        self._verify, self._versions = verify, versions or {}
        self._differing: set[str] = set()
        self._new: set[str] = set()
        self._explainer = None if explained is None else Explainer(self._folder, explained, owners or {})

    @property
    def verifies(self) -> bool:
        """Whether nothing that is stored counts before it was measured again."""
        return self._verify

    # -- the digests of files ----------------------------------------------------------------------------------

    def digests(self, path: Path, state: State, names: Iterable[str]) -> dict[str, str] | None:
        """Return the digests of a file that was seen in this very state before; None unless all `names` are there."""
        stored = None if self._verify else self._digests(path, state)
        digests = {} if stored is None else dict(stored.value.digests)
        if self._explainer is not None and stored is None:
            self._explainer.look_for_another_state(*self._record(path, state)[:2], self._new)
        return digests if stored is not None and digests.keys() >= set(names) else None

    def resembles(self, state: State) -> bool:
        """Whether an earlier run measured a file of the same size, so that the digest may save measuring this one."""
        names = set() if self._verify else self._folder.names(FILES)
        return any(name.startswith(f"{state[0]}-") for name in names - self._new)

    def remember(self, path: Path, state: State, digests: Mapping[str, str], side: str) -> None:
        """Store the digests of a file in a state; where everything is verified, report others that are stored."""
        record = self._record(path, state)
        self._new.add(record[0].name)
        stored = self._digests(path, state) if self._verify else None
        before = {} if stored is None else dict(stored.value.digests)
        if stored is not None and any(before[name] != digests[name] for name in before.keys() & digests.keys()):
            self._differ(side, {f"the digest of {shown(path.name, LONG)}": stored})
        self._folder.write(*record, _FileDigests(state, tuple(sorted(digests.items()))))

    def _digests(self, path: Path, state: State) -> Dated | None:
        found = self._folder.read(*self._record(path, state))
        return found if found is not None and found.value.state == state else None

    def _record(self, path: Path, state: State) -> tuple[Path, str, Any]:
        key = _file_key(path)
        return self._folder.path / FILES / f"{state[0]}-{key[:32]}{SUFFIX}", key, _FileDigests

    # -- results -----------------------------------------------------------------------------------------------

    def results(self, sound: Sound | None, analyses: Iterable[Analysis[Any]]) -> StoredResults:
        """Return the stored results of some analyses, none before the sound has a digest; arrays are read-only.

        The sources are read now in any case: an edit while the audio is measured must not go with its results.
        """
        if sound is None or self._verify:
            look_at(analyses)
            return StoredResults({})
        found = {analysis: stored for analysis in analyses if (stored := self._read(sound, analysis)) is not None}
        day = min((stored.day for stored in found.values()), default="")
        return StoredResults({analysis: stored.value for analysis, stored in found.items()}, day)

    def keep(
        self, sound: Sound, results: Mapping[Analysis[Any], Any], reasons: Reasons | None = None, *, of_all: bool = True
    ) -> None:  # fmt: skip
        """Store results; those of a type that is not stored are left out, and reported where it is to be explained.

        `of_all` says whether nothing was taken from the store.
        """
        reasons = reasons or {}
        for analysis, result in results.items():
            try:
                self._folder.write(*self._entry(sound, analysis), result, self._parts(sound, analysis))
            except NotStorableError as error:
                if self._explainer is not None and analysis in reasons:
                    reasons[analysis] = self._explainer.unstored(analysis, result, error)
        if self._explainer is not None:
            self._explainer.say(_side(sound), reasons, of_all=of_all)

    def reasons(self, sound: Sound | None, analyses: Iterable[Analysis[Any]], files: Iterable[Path]) -> Reasons:
        """Return why each analysis is not taken from the store; empty where nothing is to be explained.

        To be called before anything of this run is stored. `files` are those of the side.
        """
        if self._explainer is None:
            return {}
        names = set() if sound is None else self._folder.names(sound.digest)
        same = self._explainer.reason_of_all(names, map(_file_key, files), verify=self._verify)
        found = {}
        for analysis in analyses:
            found[analysis] = same
            with contextlib.suppress(NotStorableError):  # `keep` says so
                if not same and sound is not None:
                    path, *_ = self._entry(sound, analysis)
                    found[analysis] = self._explainer.reason(path, self._parts(sound, analysis), names)
        return found

    def recall(self, sound: Sound, analysis: Analysis[Any], on: Any, kind: type[T]) -> T | None:
        """Return what was computed from an analysis' result before; `on` is everything else that it depends on."""
        found = None if self._verify else self._read(sound, analysis, kind, on)
        value: T | None = None if found is None else found.value
        return value

    def note(
        self, sound: Sound, analysis: Analysis[Any], on: Any, further: T, differs: Callable[[T, T], bool] | None = None
    ) -> None:
        """Store what `recall` returns the next time.

        `differs` says whether what is stored contradicts `further`; called where everything is verified.
        """
        if self._verify and differs is not None:
            stored = self._read(sound, analysis, type(further), on)
            if stored is not None and differs(stored.value, further):
                self._differ(_side(sound), {analysis.id: stored})
        self._write(further, sound, analysis, type(further), on)

    def _read(self, sound: Sound, analysis: Analysis[Any], *further: Any) -> Dated | None:
        with contextlib.suppress(NotStorableError):
            return self._folder.read(*self._entry(sound, analysis, *further))
        return None

    def _write(self, value: Any, sound: Sound, analysis: Analysis[Any], *further: Any) -> None:
        with contextlib.suppress(NotStorableError):
            self._folder.write(*self._entry(sound, analysis, *further), value)

    def _parts(self, sound: Sound, analysis: Analysis[Any]) -> dict[str, str]:
        """Return digests of what the key of a result is made of; raises NotStorableError."""
        return parts_of(analysis, sound, self._versions)

    def _entry(self, sound: Sound, analysis: Analysis[Any], kind: Any = None, *on: Any) -> tuple[Path, str, Any]:
        """Return path, key and type of a result, or of a `kind` that is computed from it; raises NotStorableError."""
        key = key_of(analysis, sound, self._versions, *on)
        name = re.sub(r"[^a-z0-9.-]", "_", f"{analysis.id}{'.further' if on else ''}".lower())[:60]
        path = self._folder.path / sound.digest / f"{name}-{key[:32]}{SUFFIX}"
        return path, key, kind or result_of(type(analysis))

    # -- verifying ---------------------------------------------------------------------------------------------

    def check(self, sound: Sound, analyses: Iterable[Analysis[Any]], results: Mapping[Need[Any], Any]) -> None:
        """Delete what is stored of analyses and is not among the results of now, and report it; where it verifies."""
        differing: dict[str, Dated] = {}
        for analysis in analyses if self._verify else ():
            stored = self._read(sound, analysis)
            if stored is None or (analysis in results and alike(stored.value, results[analysis])):
                continue
            differing[analysis.id] = stored
            with contextlib.suppress(OSError):
                self._entry(sound, analysis)[0].unlink()
        self._differ(_side(sound), differing)

    def _differ(self, side: str, differing: Mapping[str, Dated]) -> None:
        """Report once of a side what was stored of it and is not what was measured now."""
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


def seal(results: Mapping[Need[Any], Any]) -> dict[Need[Any], Any]:
    """Return results as they would come from the store: plain numbers, arrays closed against writing."""
    sealed = dict(results)
    for need, result in results.items():
        with contextlib.suppress(NotStorableError):
            sealed[need] = as_stored(result_of(type(need)), result)
    return sealed


def _file_key(path: Path) -> str:
    return hashlib.blake2b(os.fsencode(os.path.realpath(path)), digest_size=32).hexdigest()


def _side(sound: Sound) -> str:
    return sound.stream.source.removeprefix("side:")
