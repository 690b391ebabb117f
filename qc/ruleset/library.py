"""The rulesets at hand in one run, for every disc: whatever several ask for, no file is read twice."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from qc.files.yaml_source import YamlSource
from qc.ruleset.find import Available
from qc.ruleset.load import Ruleset, load_ruleset
from qc.ruleset.read import read_file
from qc.ruleset.serving import serving
from qc.ruleset.sources import Sources


class Shelf:
    """Ruleset files of some folders, each read when first asked for."""

    def __init__(self, folders: Sequence[Path]) -> None:
        self.folders = tuple(folders)
        self.sources = Sources(self.folders)
        self._read: dict[Path, YamlSource] = {}
        self._loaded: dict[Available, Ruleset] = {}

    def read(self, path: Path) -> YamlSource:
        """Read a file; raises RulesetError with one sentence."""
        if path not in self._read:
            self._read[path] = read_file(path)
        return self._read[path]

    def serving(self, size: str, speed: str) -> Available:
        """Find the one ruleset that serves a disc; raises RulesetError when none or several do."""
        return serving(size, speed, self.folders, self.read)

    def load(self, there: Available) -> Ruleset:
        """Load a ruleset; raises RulesetError with one sentence."""
        if there not in self._loaded:
            self._loaded[there] = load_ruleset(there, self.sources, self.read)
        return self._loaded[there]
