"""YAML 1.2 with the line of every value, for deliveries, rulesets, waivers and cases; a fault is "FILE:LINE: ..."."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from ruamel.yaml.nodes import MappingNode, Node, ScalarNode

from qc.files.bounded_read import UnreadableFileError, decoded, read_bytes
from qc.files.yaml_nodes import UNSEEN, line_of, read_nodes
from qc.text.sanitize import first_fault, shown

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic import BaseModel

    from qc.model.errors import SidegateError

Kind = Literal["delivery", "ruleset", "waivers", "approvals", "case"]
Loc = tuple[str | int, ...]
M = TypeVar("M", bound="BaseModel")

LARGEST = 1 << 18
"""bytes; a delivery or ruleset is a page or two of text, so anything larger is some other file"""

_NAMES: dict[str, str] = {
    "delivery": "delivery file",
    "ruleset": "ruleset",
    "waivers": "waivers file",
    "approvals": "file of approvals",
    "case": "case file",
}


@dataclass(frozen=True, slots=True)
class YamlSource:
    """A YAML file as read: plain data, the name for messages, the digest of its bytes, and its lines."""

    data: Any
    """dict, list, str or None, nested; the top is a dict"""
    name: str
    """the file as it is named in messages"""
    path: Path | None
    sha256: str
    _root: Node = field(repr=False, compare=False)
    _keys: dict[int, dict[str, tuple[Node, Node]]] = field(default_factory=dict, repr=False, compare=False)
    """id of a mapping's node -> its keys, once a line in it was looked up: a file may have thousands of faults"""

    def line(self, loc: Loc) -> int:
        """Return the line, counted from 1, of the deepest part of `loc` that is in the file; of a value, its key's."""
        node, line = self._root, line_of(self._root)
        for part in loc:
            found = self._inside(node, part)
            if found is None:
                break
            begin, node = found
            line = line_of(begin)
        return line

    def _inside(self, node: Node, part: str | int) -> tuple[Node, Node] | None:
        """Return the node that a key or index begins with and the node of its value; None where there is none."""
        if isinstance(node, MappingNode):
            if id(node) not in self._keys:
                self._keys[id(node)] = {str(key.value): (key, value) for key, value in node.value}
            return self._keys[id(node)].get(str(part))
        if isinstance(node, ScalarNode) or not isinstance(part, int) or not 0 <= part < len(node.value):
            return None
        return node.value[part], node.value[part]

    def at(self, loc: Loc) -> str:
        """Return the "FILE:LINE" that a message about `loc` begins with."""
        return f"{self.name}:{self.line(loc)}"


def load_yaml(path: Path, kind: Kind, error: type[SidegateError]) -> YamlSource:
    """Read a YAML file with its lines.

    Raises `error` with one sentence, "FILE:LINE: ..." (or "FILE: ..." where the file cannot be read at all).
    Folders, pipes and devices are refused before they are opened, so nothing here can block.
    """
    return parse_yaml(yaml_bytes(path, kind, error), name_of(path), kind, error, path=path)


def name_of(path: Path) -> str:
    """Return the name of a file for messages."""
    return shown(str(path), longest=500)


def yaml_bytes(path: Path, kind: Kind, error: type[SidegateError]) -> bytes:
    """Read the bytes of a YAML file, as `load_yaml` does."""
    try:
        return read_bytes(path, LARGEST)
    except UnreadableFileError as fault:
        raise error(f"{name_of(path)}: {fault.sentence(_NAMES[kind], 'YAML file')}") from None


def parse_yaml(
    text: bytes, name: str, kind: Kind, error: type[SidegateError], *, path: Path | None = None
) -> YamlSource:
    """Read YAML from bytes, as `load_yaml` does; `name` names the file in messages."""
    if len(text) > LARGEST:
        raise error(f"{name}: the text is larger than 256 KiB, so it cannot be a {_NAMES[kind]}")
    data, root = read_nodes(_decoded(text, name, error), name, _NAMES[kind], error)
    return YamlSource(data, name, path, hashlib.sha256(text).hexdigest(), root)


def validate(source: YamlSource, model_class: type[M], error: type[SidegateError]) -> M:
    """Check the data against a pydantic model, by the names that are written (aliases, not attribute names).

    The context {"written": True} lets a model be stricter with files than with Python callers. Raises `error`
    with one sentence, "FILE:LINE: ...", about the first fault in the file, and counts the others.
    """
    from pydantic import ValidationError

    try:
        return model_class.model_validate(source.data, context={"written": True}, by_alias=True, by_name=False)
    except ValidationError as faults:
        fault, others = first_fault(faults.errors(include_url=False), model_class, source.line)
    more = f" (and {others} more)" if others else ""
    raise error(f"{source.name}:{fault.line}: {fault.sentence}{more}")


def _decoded(text: bytes, name: str, error: type[SidegateError]) -> str:
    """Decode UTF-8 with or without a byte order mark, any line ends, and no unseen characters."""
    try:
        whole = _line_ends(decoded(text))
    except UnreadableFileError as fault:
        raise error(f"{name}:{fault.line}: {fault.sentence('YAML file')}") from None
    if unseen := UNSEEN.search(whole):
        line = whole.count("\n", 0, unseen.start()) + 1
        raise error(f"{name}:{line}: the line holds the unseen character U+{ord(unseen[0]):04X}; delete it")
    return whole


def _line_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")
