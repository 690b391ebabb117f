"""The sources that rulesets cite: the sources.yaml of each ruleset folder, read when first asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, ValidationError

from qc.delivery.fields import InputModel, Line
from qc.files.yaml_source import YamlSource, load_yaml
from qc.model.errors import RulesetError
from qc.text.sanitize import first_fault, shown
from qc.text.suggest import meant

FILE = "sources.yaml"
HOUSE = "house:"
"""Beginning of a source in a house's own words."""


def _confidence(text: str) -> str:
    if text != "practice" and not set(text.split("/")) <= set("ABCM"):
        raise ValueError(f'"{shown(text)}" is not one of A, B, C, M, two of them with "/", or practice')
    return text


class SourceEntry(InputModel):
    """A source of values: its title, the figure in it, and how far to trust it."""

    title: Line
    figure: Line
    confidence: Annotated[Line, AfterValidator(_confidence)]


def keys_of(source: str) -> tuple[str, ...]:
    """Split what is written as a source, "C-3; practice", into its keys."""
    return tuple(part.strip() for part in source.split(";"))


class Sources(Mapping[str, SourceEntry]):
    """Every source by key."""

    def __init__(self, folders: Iterable[Path]) -> None:
        self.folders = tuple(folders)

    @cached_property
    def _by_key(self) -> Mapping[str, SourceEntry]:
        sources: dict[str, SourceEntry] = {}
        for path in (folder / FILE for folder in self.folders):
            if not path.is_file():
                continue
            yaml_source = load_yaml(path, "ruleset", RulesetError)
            for key in yaml_source.data:
                source = _source(yaml_source, key)
                if sources.setdefault(key, source) != source:
                    raise RulesetError(
                        f'{yaml_source.at((key,))}: the source "{shown(key)}" is explained differently in another '
                        "folder of rulesets; give it a key of its own"
                    )
        return sources

    def __getitem__(self, key: str) -> SourceEntry:
        return self._by_key[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_key)

    def __len__(self) -> int:
        return len(self._by_key)

    def fault(self, source: str) -> str | None:
        """Return a sentence about a source with a key that is not there; None when all are."""
        for key in keys_of(source):
            if key.startswith(HOUSE):
                if not key.removeprefix(HOUSE).strip():
                    return f'"{HOUSE}" says nothing; write in your own words where the value comes from'
            elif key not in self._by_key:
                hint = f'a source in your own words begins with "{HOUSE}"'
                return f'the source "{shown(key)}" is unknown; {meant(key, self._by_key)} ({hint})'
        return None


def _source(yaml_source: YamlSource, key: str) -> SourceEntry:
    """Read one entry; `validate` wants a model of the whole file, and here a key may be any."""
    try:
        return SourceEntry.model_validate(yaml_source.data[key], context={"written": True})
    except ValidationError as faults:
        fault, _ = first_fault(faults.errors(include_url=False), SourceEntry, lambda loc: yaml_source.line((key, *loc)))
    raise RulesetError(f"{yaml_source.name}:{fault.line}: {fault.sentence}")
