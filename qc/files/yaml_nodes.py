"""The nodes of one YAML document and the plain data in them: dict, list, str and None, with nothing expanded.

The parser composes its own tree of nodes, which is walked once. Scalars stay as they are written ("001" keeps its
zeros); anchors, aliases, tags, doubled keys and deep nesting are refused, each in one sentence with its line.

libyaml composes a ruleset in 1 ms, ruamel.yaml's own parser in 27 ms; both are reached through `YAML.compose`. What
libyaml does not take is composed again by the other, whose messages are put into sentences. libyaml composes by
recursion without a bound, and ends the process at some 30 000 levels: it is only given text that cannot hold so many.
"""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ruamel.yaml import YAML, __with_libyaml__
from ruamel.yaml.composer import ComposerError, MaxDepthExceededError
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode
from ruamel.yaml.resolver import BaseResolver

from qc.text.sanitize import in_plain_words, shown

if TYPE_CHECKING:
    from qc.model.errors import SidegateError

DEEPEST = 32
LONGEST = 10_000
"""Characters of one value or key; a page of notes has three thousand (practice)."""

_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
# Control characters, and characters that look like nothing but break lines or words in some programs.
UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ufeff\ud800-\udfff\ufffe\uffff]")
# ruamel.yaml's own parser breaks on a few malformed texts, such as "\U00110000".
_PARSER_ERRORS = (
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
# libyaml recurses without a bound, so only text that cannot be nested deeply goes to it: each bracket opens a list or a
# mapping with one pair in it, and lists and mappings without brackets begin further to the right than what they are in.
_INDENTATION = re.compile(r"^[ ?:-]+", re.MULTILINE)
_DEEPEST_BOUND = 4_000
_DIRECTIVE = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\n)*%")
# What a value that YAML would expand or build an object from begins with in the file.
_MACHINERY = {"&": "an anchor", "*": "an alias", "!": "a tag"}
_WORD = re.compile(r"[^\s,\[\]{}]+")


class _NoTypes(BaseResolver):
    """A resolver that tells no numbers or dates from text, which takes the longer half of composing."""

    def __init__(self, version: Any = None, loader: Any = None, loadumper: Any = None) -> None:  # noqa: ARG002
        super().__init__(loadumper)


@dataclass(frozen=True, slots=True)
class _Text:
    """The decoded text of one file, and how its faults are raised."""

    text: str
    name: str
    noun: str
    error: type[SidegateError]

    def fault(self, line: int, sentence: str) -> SidegateError:
        return self.error(f"{self.name}:{line}: {sentence}")


def read_nodes(text: str, name: str, noun: str, error: type[SidegateError]) -> tuple[dict[str, Any], Node]:
    """Read the one document of a text, a mapping: its data, and the node at its top.

    `name` and `noun` name the file and its kind in messages; raises `error` with one sentence, "NAME:LINE: ...".
    """
    written = _Text(text, name, noun, error)
    if directive := _DIRECTIVE.match(written.text):
        line = directive[0].count("\n") + 1
        raise written.fault(
            line, 'a line that begins with "%" is not accepted; delete it, the file is read as YAML 1.2'
        )
    if __with_libyaml__ and not _LOOSER.search(written.text) and _nesting_bound(written.text) <= _DEEPEST_BOUND:
        with contextlib.suppress(written.error, YAMLError, *_PARSER_ERRORS):
            yaml = YAML(typ="safe", pure=False)
            yaml.Resolver = _NoTypes
            return _top(written, yaml.compose(written.text))
    return _top(written, _composed(written))


def line_of(node: Node) -> int:
    """Return the line, counted from 1, that a node begins on."""
    return int(node.start_mark.line) + 1


def _nesting_bound(text: str) -> int:
    """Return a depth of nesting that a text cannot exceed, without parsing it."""
    return 2 * (text.count("[") + text.count("{")) + max(map(len, _INDENTATION.findall(text)), default=0)


def _composed(written: _Text) -> Node | None:
    """Compose the nodes by ruamel.yaml's own parser; raises one sentence for text that it does not accept."""
    yaml = YAML(typ="safe", pure=True)
    yaml.max_depth = DEEPEST + 1
    yaml.composer.warn_double_anchors = False  # any anchor is refused below, with its line
    try:
        return yaml.compose(written.text)
    except MaxDepthExceededError as why:
        line, sentence = why.problem_mark.line + 1, _too_deep()
    except MarkedYAMLError as why:
        line, sentence = _in_words(written, why)
    except _PARSER_ERRORS:
        line, sentence = _last_line(written.text), "this line is not valid YAML; check it, or put its value in quotes"
    raise written.fault(min(line, written.text.count("\n", 0, len(written.text.rstrip())) + 1), sentence)


def _in_words(written: _Text, why: MarkedYAMLError) -> tuple[int, str]:
    """Return the line, counted from 1, and a sentence for what the parser does not accept."""
    if isinstance(why, ComposerError) and why.problem_mark is not None:
        line = why.problem_mark.line + 1
        if "another document" in str(why.problem):
            return line, f"a second document begins here; put each {written.noun} in a file of its own"
        if machinery := _machinery(written.text, why.problem_mark):
            return line, machinery
    return in_plain_words(why, written.text.split("\n"))


def _last_line(text: str) -> int:
    """Return the line, counted from 1, up to which ruamel.yaml's own parser reads a text that it breaks on."""
    line = 0
    with contextlib.suppress(YAMLError, *_PARSER_ERRORS):
        for event in YAML(typ="safe", pure=True).parse(text):
            line = event.end_mark.line
    return line + 1


def _top(written: _Text, root: Node | None) -> tuple[dict[str, Any], Node]:
    """Return the data of a document's nodes; raises the error of the text for anything but a mapping."""
    data = None if root is None else _value(written, root, 1)
    line = 1 if root is None else line_of(root)
    if root is None or data is None:
        raise written.fault(line, f"the {written.noun} is empty; write it first")
    if not isinstance(data, dict):
        what = "a list" if isinstance(data, list) else "a single value"
        raise written.fault(
            line, f'the {written.noun} holds {what}; it must hold keys with values, such as "schema: 1"'
        )
    return data, root


def _value(written: _Text, node: Node, depth: int) -> Any:
    _refuse_machinery(written, node)
    if isinstance(node, ScalarNode):
        return _scalar(written, node)
    if depth > DEEPEST:
        raise written.fault(line_of(node), _too_deep())
    if isinstance(node, MappingNode):
        return _mapping(written, node, depth)
    return [_value(written, item, depth + 1) for item in node.value]


def _too_deep() -> str:
    return f"values are nested deeper than {DEEPEST} here; check the indentation and brackets"


def _machinery(text: str, mark: Any) -> str | None:
    """Return a sentence about an anchor, alias or tag that begins at a mark; None for anything else.

    An alias comes after its anchor, so the anchor is refused before anything is walked twice.
    """
    sign = text[mark.index : mark.index + 1]
    if sign not in _MACHINERY:
        return None
    word = _WORD.match(text, mark.index)
    what = f'"{shown(word[0] if word else sign)}" is {_MACHINERY[sign]}'
    return f'{what}, which is not accepted; write the value out, or in quotes if "{sign}" is part of it'


def _refuse_machinery(written: _Text, node: Node) -> None:
    if sentence := _machinery(written.text, node.start_mark):
        raise written.fault(line_of(node), sentence)


def _scalar(written: _Text, node: ScalarNode) -> str | None:
    text = str(node.value)
    if len(text) > LONGEST:
        sentence = f"the value is {len(text)} characters long; at most {LONGEST} are accepted, so shorten it"
        raise written.fault(line_of(node), sentence)
    if not node.style and text in _NULLS:
        return None
    if unseen := UNSEEN.search(text):
        raise written.fault(line_of(node), f"the value holds the unseen character U+{ord(unseen[0]):04X}; leave it out")
    return text


def _mapping(written: _Text, node: MappingNode, depth: int) -> dict[str, Any]:
    items: dict[str, Any] = {}
    for key_node, value_node in node.value:
        key = _key(written, key_node)
        if key in items:
            first = next(line_of(other) for other, _ in node.value if other.value == key)
            sentence = f'the key "{shown(key)}" is already on line {first}; keep one of the two'
            raise written.fault(line_of(key_node), sentence)
        items[key] = _value(written, value_node, depth + 1)
    return items


def _key(written: _Text, node: Node) -> str:
    _refuse_machinery(written, node)
    if not isinstance(node, ScalarNode):
        raise written.fault(
            line_of(node), 'a key must be plain text, not a list or a mapping; put a value with "{" or "[" in quotes'
        )
    key = _scalar(written, node)
    if not key:
        raise written.fault(line_of(node), 'a key is missing before ":"; write it, or put the value in quotes')
    if key == "<<" and not node.style:
        raise written.fault(line_of(node), 'the merge key "<<" is not accepted; write the keys out')
    return key
