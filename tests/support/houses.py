"""House rulesets for tests: files in a folder of their own beside the shipped ones."""

from __future__ import annotations

from pathlib import Path

import qc_rulesets
from qc.ruleset.find import Available, available, find
from qc.ruleset.load import Ruleset, load_ruleset
from qc.ruleset.read import is_abstract, read_file
from qc.ruleset.sources import Sources

SHIPPED = Path(str(qc_rulesets.qc_rulesets()))
SHIPPED_12IN_33 = SHIPPED / "disc-12in-33" / "1.0.0.yaml"
PARENT = "disc-12in-33@1.1.0"


def judging() -> list[Available]:
    """List the shipped rulesets that judge: all but those that are only there to be extended."""
    return [there for there in available([SHIPPED]) if not is_abstract(read_file(there.path))]


class Houses:
    """A folder of rulesets that houses wrote."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.folders = (SHIPPED, folder)

    def put(self, full_name: str, body: str = "", extends: str | None = PARENT) -> Path:
        """Write NAME@VERSION into its place."""
        name, _, version = full_name.partition("@")
        return self.put_at(f"{name}/{version}.yaml", full_name, body, extends)

    def put_at(self, place: str, full_name: str, body: str = "", extends: str | None = PARENT) -> Path:
        """Write a ruleset anywhere in the folder."""
        name, _, version = full_name.partition("@")
        path = self.folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        line = "" if extends is None else f"extends: {extends}\n"
        path.write_text(f"schema: 1\nname: {name}\nversion: {version}\n{line}{body}", encoding="utf-8")
        return path

    def load(self, spec: str | Path) -> Ruleset:
        """Load by name, or the file at a path."""
        there = Available(spec) if isinstance(spec, Path) else find(spec, self.folders)
        return load_ruleset(there, Sources(self.folders))
