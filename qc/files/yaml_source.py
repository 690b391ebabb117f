"""YAML 1.2 that remembers its lines, for deliveries, rulesets and waivers: every fault is one sentence with FILE:LINE.

Only the events of the parser are used. Scalars stay as they are written ("001" keeps its noughts), nothing is
expanded, and no object is built but dict, list, str and None.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import stat
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NoReturn, TypeVar

from ruamel.yaml import YAML, __with_libyaml__
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    NodeEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from qc.text.sanitize import first_fault, in_plain_words, shown

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pydantic import BaseModel

    from qc.model.errors import SidegateError

Kind = Literal["delivery", "ruleset", "waivers", "case"]
Loc = tuple[str | int, ...]
M = TypeVar("M", bound="BaseModel")

LARGEST = 1 << 18
"""bytes; a delivery or ruleset is a page or two of text, so anything larger is some other file"""
DEEPEST = 32
LONGEST = 10_000
"""Characters of one value or key; a page of notes has three thousand (practice)."""

_NAMES: dict[str, str] = {
    "delivery": "delivery file",
    "ruleset": "ruleset",
    "waivers": "waivers file",
    "case": "case file",
}
_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
# Control characters, and characters that look like nothing but break lines or words in some programs.
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ud800-\udfff\ufffe\uffff]")
# The parser itself stumbles over a few malformed texts, such as "\U00110000".
_STUMBLES = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
# What libyaml takes and ruamel.yaml does not: tabs between words, two ends of a document in a row.
_LOOSER = re.compile(r"\t|^\.\.\.", re.MULTILINE)
_DIRECTIVE = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*%")


@dataclass(slots=True)
class _Place:
    """Where a value begins (for the value of a key: the line of the key), and the places inside it."""

    line: int
    inside: dict[str | int, _Place] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Lined:
    """A YAML file as read: plain data, the name for messages, the digest of its bytes, and its lines."""

    data: Any
    """dict, list, str or None, nested; the top is a dict"""
    name: str
    """the file as it is named in messages"""
    path: Path | None
    sha256: str
    _top: _Place

    def line(self, loc: Loc) -> int:
        """Give the line, counted from 1, of the deepest part of `loc` that is in the file."""
        place = self._top
        for part in loc:
            inner = place.inside.get(part)
            if inner is None:
                break
            place = inner
        return place.line

    def at(self, loc: Loc) -> str:
        """Give the "FILE:LINE" that a message about `loc` begins with."""
        return f"{self.name}:{self.line(loc)}"


def load_lined(path: Path, kind: Kind, error: type[SidegateError]) -> Lined:
    """Read a YAML file with its lines.

    Raises `error` with one sentence, "FILE:LINE: ..." (or "FILE: ..." where the file cannot be read at all).
    Folders, pipes and devices are refused before they are opened, so nothing here can block.
    """
    name, noun = shown(str(path), longest=500), _NAMES[kind]
    try:
        there = os.stat(path)  # noqa: PTH116 - follows links, as opening would
        if stat.S_ISDIR(there.st_mode):
            raise error(f"{name}: this is a folder, not a {noun}; name the YAML file itself")
        if not stat.S_ISREG(there.st_mode):
            raise error(f"{name}: this is not a plain file, so it cannot be a {noun}; name the YAML file itself")
        with path.open("rb") as file:
            text = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise error(f"{name}: there is no such file; check the name of the {noun}") from None
    except (OSError, ValueError) as why:
        reason = (why.strerror if isinstance(why, OSError) else None) or str(why)
        raise error(f"{name}: the {noun} cannot be read ({reason}); check its name and who may read it") from None
    if len(text) > LARGEST:
        raise error(f"{name}: the file is larger than 256 KiB, so it cannot be a {noun}; name the YAML file itself")
    return parse_lined(text, name, kind, error, path=path)


def parse_lined(text: bytes, name: str, kind: Kind, error: type[SidegateError], *, path: Path | None = None) -> Lined:
    """Read YAML from bytes, as `load_lined` does; `name` stands for the file in messages."""
    if len(text) > LARGEST:
        raise error(f"{name}: the text is larger than 256 KiB, so it cannot be a {_NAMES[kind]}")
    data, top = _document(_decoded(text, name, error), name, _NAMES[kind], error)
    return Lined(data, name, path, hashlib.sha256(text).hexdigest(), top)


def _document(text: str, name: str, noun: str, error: type[SidegateError]) -> tuple[dict[str, Any], _Place]:
    """Read the one document, by the parser that is fast; whatever that one does not take, the other one words."""
    if __with_libyaml__ and not _LOOSER.search(text):
        with contextlib.suppress(error, YAMLError, *_STUMBLES):
            return _Reading(text, name, noun, error, pure=False).document()
    return _Reading(text, name, noun, error, pure=True).document()


def validate(lined: Lined, model_class: type[M], error: type[SidegateError]) -> M:
    """Check the data against a pydantic model, by the names that are written (aliases, not attribute names).

    The context {"written": True} lets a model be stricter with files than with Python callers. Raises `error`
    with one sentence, "FILE:LINE: ...", about the fault that stands first in the file, and counts the others.
    """
    from pydantic import ValidationError

    try:
        return model_class.model_validate(lined.data, context={"written": True}, by_alias=True, by_name=False)
    except ValidationError as faults:
        fault, others = first_fault(faults.errors(include_url=False), model_class, lined.line)
    more = f" (and {others} more)" if others else ""
    raise error(f"{lined.name}:{fault.line}: {fault.sentence}{more}")


def _decoded(text: bytes, name: str, error: type[SidegateError]) -> str:
    """Decode UTF-8 with or without a byte order mark, any line ends, and no unseen characters."""
    try:
        whole = text.decode("utf-8")
    except UnicodeDecodeError as why:
        line = _line_ends(text[: why.start].decode("utf-8")).count("\n") + 1
        what = f"the byte {text[why.start]:#04x} at offset {why.start} is not UTF-8"
        raise error(f"{name}:{line}: {what}; save the file as UTF-8") from None
    whole = _line_ends(whole.removeprefix("\ufeff"))
    if unseen := _UNSEEN.search(whole):
        line = whole.count("\n", 0, unseen.start()) + 1
        raise error(f"{name}:{line}: the line holds the unseen character U+{ord(unseen[0]):04X}; delete it")
    return whole


def _line_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


class _Reading:
    """One pass over the events of one text, from ruamel.yaml's own parser (`pure`) or from libyaml."""

    def __init__(self, text: str, name: str, noun: str, error: type[SidegateError], *, pure: bool) -> None:
        self.text, self.name, self.noun, self.error, self.pure = text, name, noun, error, pure
        self.events = self._events()

    def fail(self, line: int, sentence: str) -> NoReturn:
        raise self.error(f"{self.name}:{line}: {sentence}")

    def _events(self) -> Iterator[Event]:
        """Give the parser's events; whatever it does not like becomes one sentence."""
        yaml = YAML(typ="safe", pure=self.pure)
        _, parser = yaml.get_constructor_parser(self.text)
        try:
            while parser.check_event():
                yield parser.get_event()
        except MarkedYAMLError as why:
            line, sentence = in_plain_words(why, self.text.split("\n"))
        except _STUMBLES:
            line = yaml.reader.line + 1
            sentence = "this line is not valid YAML; check it, or put its value in quotes"
        else:
            return
        last = self.text.count("\n", 0, len(self.text.rstrip())) + 1
        self.fail(min(line, last), sentence)

    def document(self) -> tuple[dict[str, Any], _Place]:
        """Read the one document, which must be a mapping."""
        if directive := _DIRECTIVE.match(self.text):
            line = directive[0].count("\n") + 1
            mend = "delete it, the file is read as YAML 1.2"
            self.fail(line, f'a line that begins with "%" is not accepted; {mend}')
        next(self.events)  # the start of the stream
        start = next(self.events)
        if isinstance(start, StreamEndEvent):
            self.fail(1, f"the {self.noun} is empty; write it first")
        if isinstance(start, DocumentStartEvent):
            start = next(self.events)
        data, top = self.value(start, 1)
        if data is None:
            self.fail(top.line, f"the {self.noun} is empty; write it first")
        if not isinstance(data, dict):
            what = "a list" if isinstance(data, list) else "a single value"
            mend = 'it must hold keys with values, such as "schema: 1"'
            self.fail(top.line, f"the {self.noun} holds {what}; {mend}")
        for event in self.events:
            if isinstance(event, DocumentStartEvent):
                line = event.start_mark.line + 1
                self.fail(line, f"a second document begins here; put each {self.noun} in a file of its own")
        return data, top

    def value(self, event: Event, depth: int) -> tuple[Any, _Place]:
        """Read the value that begins with `event`."""
        place = _Place(event.start_mark.line + 1)
        self.refuse_machinery(event, place.line)
        if isinstance(event, ScalarEvent):
            return self.scalar(event, place.line), place
        if depth > DEEPEST:
            sentence = f"values are nested deeper than {DEEPEST} here; check the indentation and brackets"
            self.fail(place.line, sentence)
        if isinstance(event, SequenceStartEvent):
            return self.sequence(place, depth), place
        return self.mapping(place, depth), place

    def refuse_machinery(self, event: Event, line: int) -> None:
        """Refuse what lets YAML grow or build objects, before anything is expanded."""
        if isinstance(event, AliasEvent):
            what, sign = f'"*{shown(str(event.anchor))}" is an alias', "*"
        elif isinstance(event, NodeEvent) and event.anchor is not None:
            what, sign = f'"&{shown(str(event.anchor))}" is an anchor', "&"
        elif getattr(event, "ctag", None) is not None:
            tag = str(event.tag)[:LONGEST].replace("tag:yaml.org,2002:", "!!")  # type: ignore[attr-defined]
            what, sign = f'"{shown(tag)}" is a tag', "!"
        else:
            return
        mend = f'write the value out, or in quotes if "{sign}" is part of it'
        self.fail(line, f"{what}, which is not accepted; {mend}")

    def scalar(self, event: ScalarEvent, line: int) -> str | None:
        text = str(event.value)
        if len(text) > LONGEST:
            self.fail(line, f"the value is {len(text)} characters long; at most {LONGEST} are accepted, so shorten it")
        if not event.style and text in _NULLS:
            return None
        if unseen := _UNSEEN.search(text):
            self.fail(line, f"the value holds the unseen character U+{ord(unseen[0]):04X}; leave it out")
        return text

    def sequence(self, place: _Place, depth: int) -> list[Any]:
        items: list[Any] = []
        for event in self.events:
            if isinstance(event, SequenceEndEvent):
                break
            item, place.inside[len(items)] = self.value(event, depth + 1)
            items.append(item)
        return items

    def mapping(self, place: _Place, depth: int) -> dict[str, Any]:
        items: dict[str, Any] = {}
        for event in self.events:
            if isinstance(event, MappingEndEvent):
                break
            key, line = self.key(event), event.start_mark.line + 1
            if key in items:
                first = place.inside[key].line
                self.fail(line, f'the key "{shown(key)}" is already on line {first}; keep one of the two')
            items[key], inside = self.value(next(self.events), depth + 1)
            inside.line = line
            place.inside[key] = inside
        return items

    def key(self, event: Event) -> str:
        line = event.start_mark.line + 1
        self.refuse_machinery(event, line)
        if not isinstance(event, ScalarEvent):
            mend = 'put a value with "{" or "[" in quotes'
            self.fail(line, f"a key must be plain text, not a list or a mapping; {mend}")
        key = self.scalar(event, line)
        if not key:
            self.fail(line, 'a key is missing before ":"; write it, or put the value in quotes')
        if key == "<<" and not event.style:
            self.fail(line, 'the merge key "<<" is not accepted; write the keys out')
        return key
