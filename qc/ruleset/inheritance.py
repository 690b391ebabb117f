"""A ruleset with all that it extends, generation by generation, each validated in the file that is at fault."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from qc.ruleset.ancestry import Read, ancestry
from qc.ruleset.find import Available
from qc.ruleset.merge import Document
from qc.ruleset.model import AbstractFile, RulesetFile
from qc.ruleset.read import read_file
from qc.ruleset.released import is_as_released


class Generation(NamedTuple):
    """A ruleset with all that it extends: where its own file lies, what it says with them, and that as a model."""

    there: Available
    document: Document
    file: RulesetFile | AbstractFile


def generations(found: Available, folders: Sequence[Path], read: Read = read_file) -> Iterator[Generation]:
    """Yield the generations of a ruleset, validated: first the one that extends nothing, last the ruleset itself.

    Raises RulesetError with one sentence, "FILE:LINE: ...", in the file that is at fault.
    """
    document: Document | None = None
    for there, yaml_source in reversed(ancestry(found, folders, read)):
        document = Document.of(yaml_source) if document is None else document.extended_by(yaml_source)
        is_as_released(there.path, yaml_source.sha256)
        abstract = yaml_source.data.get("abstract") is not None  # whose model refuses any other word than true
        file = document.validated(AbstractFile) if abstract else document.validated(RulesetFile)
        yield Generation(there, document, file)
