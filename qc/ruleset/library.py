"""The rulesets of one run, for every disc: whatever several ask for, no file is read twice."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Self

from qc.files.yaml_source import YamlSource
from qc.model.errors import MissingRulesetError
from qc.model.report import PluginFailure
from qc.plugin_host.host import Host
from qc.ruleset.find import Available, doubled, find
from qc.ruleset.load import Ruleset, load_ruleset
from qc.ruleset.read import read_file
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources


class Shelf:
    """Ruleset files of some folders, each read when first asked for.

    The folders in `left_out` are those of plugins that did not load: a ruleset in them is found by its name only, and
    none in them ever serves a disc by itself.
    """

    def __init__(self, folders: Sequence[Path], left_out: Sequence[Path] = ()) -> None:
        self.folders, self.left_out = tuple(folders), tuple(left_out)
        self.sources = Sources(self.folders)
        self._read: dict[Path, YamlSource] = {}
        self._loaded: dict[Available, Ruleset] = {}

    @classmethod
    def of(cls, host: Host) -> Self:
        """Build the shelf of a run."""
        return cls(host.ruleset_folders, [folder for plugin in host.left_out for folder in plugin.folders or ()])

    @cached_property
    def _all_sources(self) -> Sources:
        return Sources((*self.folders, *self.left_out))

    def read(self, path: Path) -> YamlSource:
        """Read a file; raises RulesetError with one sentence."""
        if path not in self._read:
            self._read[path] = read_file(path)
        return self._read[path]

    def find(self, spec: str) -> Available:
        """Find "NAME[@VERSION]" or the file of a path; raises RulesetError with one sentence."""
        try:
            return find(spec, self.folders)
        except MissingRulesetError as error:
            try:
                return find(spec, (*self.folders, *self.left_out))
            except MissingRulesetError:
                raise error from None

    def serving(self, size: str, speed: str) -> Available:
        """Find the one ruleset that serves a disc; raises RulesetError when none or several do."""
        return serving(size, speed, self.folders, self.read)

    def sources_of(self, path: Path) -> Sources:
        """Return the sources that the ruleset in a file may cite, which are among those of the folders to extend from.

        A plugin that did not load lends its own to its own rulesets, and to those that a path led to.
        """
        return self.sources if not self.left_out or _lies_in(path, self.folders) else self._all_sources

    def load(self, there: Available) -> Ruleset:
        """Load a ruleset; raises RulesetError with one sentence."""
        if there not in self._loaded:
            self._loaded[there] = load_ruleset(there, self.sources_of(there.path), self.read)
        return self._loaded[there]


def doubled_rulesets(host: Host) -> list[PluginFailure]:
    """Return a failure of the plugin for each of its files whose name and version another has; it is left out."""
    owners = {folder: plugin.name for plugin in reversed(host.plugins) for folder in plugin.folders or ()}
    return [
        PluginFailure(
            plugin=owners.get(there.path.parent.parent, "sidegate"),
            stage="qc_rulesets",
            message=f"{there.name}@{there.version} is there already, in {first}; {there.path} is left out, so give it "
            "another name or version",
        )
        for there, first in doubled(host.ruleset_folders)
    ]


def _lies_in(path: Path, folders: Sequence[Path]) -> bool:
    return any(path.is_relative_to(folder) for folder in folders)
