"""Sentences for each analysis that was measured: why it was not taken from the store, and why it is never stored."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from qc.cache import entry
from qc.cache.codec import NotStorableError
from qc.cache.folder import StoreFolder
from qc.cache.keys import package_of, result_of
from qc.cache.place import LONG
from qc.cache.reasons import NEW, NEW_AUDIO, OTHER_AUDIO, VERIFIED, changes, why_not_stored
from qc.cache.sweep import FILES, SUFFIX
from qc.plugin_base import Analysis
from qc.text.sanitize import shown

Reasons = dict[Analysis[Any], str]


class Explainer:
    """Reasons why analyses are measured; the folder is asked before anything of the run is stored in it.

    Parameters
    ----------
    folder
        The folder of stored measurements.
    say
        Called with each sentence.
    owners
        Outermost package of a plugin -> the name of the plugin.
    """

    def __init__(self, folder: StoreFolder, say: Callable[[str], None], owners: Mapping[str, str]) -> None:
        self._folder, self._say, self._owners = folder, say, owners
        self._replaced: set[str] = set()
        """keys of files that were stored in another state"""

    def look_for_another_state(self, record: Path, key: str, new: Iterable[str]) -> None:
        """Note whether a file is stored in another state; `new` are names of records that this run has written."""
        others = {name for name in self._folder.names(FILES) if name.endswith(f"-{key[:32]}{SUFFIX}")} - {*new}
        if others - ({record.name} if record in self._folder.unusable else set()):
            self._replaced.add(key)

    def reason(self, path: Path, parts: Mapping[str, str], names: Iterable[str]) -> str:
        """Return why the entry at a path is not used; `names` are those in its subfolder."""
        if path in self._folder.unusable:
            return f"what is stored of it {self._folder.unusable[path]}"
        stem = path.name.rpartition("-")[0]
        others = [entry.parts(path.parent / name) for name in sorted(names) if name.rpartition("-")[0] == stem]
        found = [changes(before, parts) for before in others if before]
        _, fewest = min(((len(changed), changed) for changed in found if changed), default=(1, [NEW]))
        return ", ".join(fewest)

    def reason_of_all(self, names: Iterable[str], files: Iterable[str], *, verify: bool) -> str:
        """Return the reason that holds for every analysis of a side; empty where each has its own.

        `names` are those in the subfolder of its sound, `files` the keys of its files.
        """
        if verify:
            return VERIFIED
        if self._folder.fault:
            return f"the folder of stored measurements is not used: {self._folder.fault}"
        if not names:
            return OTHER_AUDIO if self._replaced.intersection(files) else NEW_AUDIO
        return ""

    def unstored(self, analysis: Analysis[Any], result: Any, error: NotStorableError) -> str:
        """Return why a result is never stored, with its plugin; `error` is what storing it raised."""
        kind = type(analysis)
        try:
            of = result_of(kind)
        except NotStorableError:
            why = f"{kind.__qualname__} does not name the type of its result; write Analysis[TYPE]"
        else:
            why = why_not_stored(of, result, f"the result of {shown(kind.__qualname__)}") or str(error)
        owner = self._owners.get(package_of(kind), "")
        plugin = f" (plugin {shown(owner)})" if owner else ""
        return f"its result cannot be stored, so it is measured in each run: {why}{plugin}"

    def say(self, side: str, reasons: Mapping[Analysis[Any], str], *, of_all: bool) -> None:
        """Report the reasons, one line an analysis; one line for the whole side where all have the same.

        `of_all` says whether no analysis of the side was taken from the store.
        """
        if of_all and len(reasons) > 1 and len(set(reasons.values())) == 1:
            self._say(f"side {shown(side, LONG)}: every analysis was measured: {next(iter(reasons.values()))}")
            return
        for analysis, why in reasons.items():
            self._say(f"side {shown(side, LONG)}: {shown(analysis.id)} was measured: {why}")
