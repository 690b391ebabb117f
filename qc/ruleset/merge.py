"""A ruleset file merged with those that it extends: one document, with the file that each value comes from.

The chain and the level policy are taken leaf by leaf, a tip, a limit, a measure and a reason for being off whole; what
a file says of itself (schema, name, version, what it needs) is never handed on here. A file that names a check under
`limits` or `measures` judges it, also where what it extends had put it off; where a file does both, off wins.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from qc.files.yaml_source import Loc, YamlSource
from qc.model.errors import RulesetError
from qc.text.sanitize import first_fault

M = TypeVar("M", bound=BaseModel)

DEPTH = {"serves": 1, "chain": 3, "level": 2, "tips": 2, "limits": 3, "off": 2, "measures": 2}
"""Key that is handed on -> how many keys down a value is that is taken whole."""


class SourceLine(int):
    """A line of one of several files, "57 of FILE" in a sentence."""

    name: str

    def __str__(self) -> str:
        return f"{int(self)} of {self.name}"


@dataclass(frozen=True, slots=True)
class Document:
    """A ruleset merged with all that it extends."""

    data: Mapping[str, Any]
    files: tuple[YamlSource, ...]
    """nearest first"""

    @classmethod
    def of(cls, yaml_source: YamlSource) -> Document:
        """Take a file that extends nothing."""
        return cls(yaml_source.data, (yaml_source,))

    def extended_by(self, yaml_source: YamlSource) -> Document:
        """Merge a file into this document; its values take the place of those here."""
        return Document(merge_data(yaml_source.data, self.data), (yaml_source, *self.files))

    def holder(self, loc: Loc) -> YamlSource:
        """Return the file that holds a value; the nearest for one that is nowhere or that each file states itself."""
        if loc and loc[0] in DEPTH:
            unit = loc[: DEPTH[str(loc[0])]]
            for yaml_source in self.files:
                if _has(yaml_source.data, unit):
                    return yaml_source
        return self.files[0]

    def at(self, loc: Loc) -> str:
        """Return the "FILE:LINE" that a message about `loc` begins with."""
        return self.holder(loc).at(loc)

    def origin(self, loc: Loc) -> str:
        """Name file and line of a value, the same wherever the file lies: "disc-12in-33/1.0.0.yaml:57"."""
        holder = self.holder(loc)
        return f"{short_name(holder)}:{holder.line(loc)}"

    def validated(self, model: type[M]) -> M:
        """Check it all against a model; raises RulesetError, "FILE:LINE: ...", about the first fault."""
        try:
            return model.model_validate(self.data, context={"written": True}, by_alias=True, by_name=False)
        except ValidationError as faults:
            line = self._line if len(self.files) > 1 else self.files[0].line
            fault, others = first_fault(faults.errors(include_url=False), model, line)
        more = f" (and {others} more)" if others else ""
        name = fault.line.name if isinstance(fault.line, SourceLine) else self.files[0].name
        raise RulesetError(f"{name}:{int(fault.line)}: {fault.sentence}{more}")

    def _line(self, loc: Loc) -> SourceLine:
        holder = self.holder(loc)
        line = SourceLine(holder.line(loc))
        line.name = holder.name
        return line


def merge_data(child: Mapping[str, Any], parent: Mapping[str, Any]) -> dict[str, Any]:
    """Merge the data of a file into that of its parent; what is of the wrong kind stays, for the models to refuse."""
    data = dict(child)
    for key, depth in DEPTH.items():
        if key in parent:
            below = parent[key]
            if key == "off" and isinstance(below, Mapping):
                below = {check: why for check, why in below.items() if check not in _judged(child)}
            data[key] = _merged(child[key], below, depth - 1) if key in child else below
    return data


def _merged(child: Any, parent: Any, depth: int) -> Any:
    if not depth or not isinstance(child, Mapping) or not isinstance(parent, Mapping):
        return child
    both = {key: _merged(child[key], parent[key], depth - 1) for key in parent if key in child}
    return {**parent, **child, **both}


def _judged(child: Mapping[str, Any]) -> set[str]:
    """Name the checks that a file judges by its own words."""
    parts = (child.get("limits"), child.get("measures"))
    return {check for part in parts if isinstance(part, Mapping) for check in part}


def joined(child: Mapping[str, str], parent: Mapping[str, str]) -> dict[str, str]:
    """Join what two files require, distribution -> versions: where both name one, both must be kept to."""
    return {name: both(child.get(name), parent.get(name)) or "" for name in {**parent, **child}}


def both(child: str | None, parent: str | None) -> str | None:
    """Join what two files say of the versions of one thing; None where neither says anything."""
    said = [text for text in (parent, child) if text is not None]
    parts = [part.strip() for text in said for part in text.split(",")]
    return ",".join(dict.fromkeys(parts)) if len(said) > 1 else next(iter(said), None)


def short_name(yaml_source: YamlSource) -> str:
    """Name a file as it lies among rulesets, "disc-12in-33/1.0.0.yaml"; one that lies elsewhere by its own name."""
    path = yaml_source.path or Path(yaml_source.name)
    name, version = yaml_source.data.get("name"), yaml_source.data.get("version")
    return f"{name}/{path.name}" if (path.parent.name, path.stem) == (name, version) else path.name


def _has(data: Any, loc: Loc) -> bool:
    for part in loc:
        if not isinstance(data, Mapping) or part not in data:
            return False
        data = data[part]
    return True
