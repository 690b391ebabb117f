"""Foreign text made printable, and faults of files in plain words: messages of the YAML parser and of pydantic."""

from __future__ import annotations

import re
import types
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, Union, get_args, get_origin

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from pydantic import BaseModel
    from pydantic_core import ErrorDetails, PydanticCustomError
    from ruamel.yaml.error import MarkedYAMLError

Loc = tuple[str | int, ...]


def shown(text: str, longest: int = 60) -> str:
    """Make foreign text fit for a sentence: on one line, printable, at most `longest` characters."""
    line = "".join(c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode() for c in text)
    return line if len(line) <= longest else f"{line[: longest - 3]}..."


# -- YAML ----------------------------------------------------------------------------------------------------

_INDENT = "this line is not indented as those above it; check its indentation"
_AFTER_QUOTE = "there is text after a closing quotation mark, or the line is not indented as those above; check it"
# part of the parser's message -> (our words, whether the fault lies where the construct began)
_YAML: tuple[tuple[str, str, bool], ...] = (
    (
        "mapping values are not allowed",
        'a key is not allowed here; check the indentation, or quote a value with ": "',
        False,
    ),
    ("could not find expected ':'", 'this line has no ":" after its key', True),
    ("found unexpected end of stream", "the quotation mark that is opened here is never closed", True),
    ("found unexpected document separator", "the quotation mark that is opened here is never closed", True),
    (
        "expected ',' or ']'",
        'the list that is opened with "[" here is not closed, or a "," is missing in it',
        True,
    ),
    ("expected ',' or '}'", 'what is opened with "{" here is not closed, or a "," is missing in it', True),
    (
        "expected <block end>, but found ']'",
        'a "]" closes nothing here; delete it, or put the value in quotes',
        False,
    ),
    (
        "expected <block end>, but found '}'",
        'a "}" closes nothing here; delete it, or put the value in quotes',
        False,
    ),
    (
        "expected <block end>, but found ','",
        "this comma is outside a list; delete it, or put the value in quotes",
        False,
    ),
    ("expected <block end>, but found '<scalar>'", _AFTER_QUOTE, False),
    ("expected <block end>", _INDENT, False),
    (
        "while scanning a block scalar",
        'a text that begins with "|" or ">" starts on the next line; or use quotes',
        False,
    ),
    (
        "sequence entries are not allowed",
        'a list item ("- ") is not allowed here; begin it on a line of its own',
        False,
    ),
    ("mapping keys are not allowed", 'a "? " is not allowed here; put the value in quotes', False),
    (
        "unknown escape",
        'a backslash inside "..." means something else; write the value in single quotes',
        False,
    ),
    ("hexdecimal", 'a backslash inside "..." means something else; write the value in single quotes', False),
    ("expected the node content", "a value is missing here; write it, or put it in quotes", False),
)
_CANNOT_BEGIN = re.compile(r"found character '(.+)' that cannot start")


def in_plain_words(why: MarkedYAMLError, lines: Sequence[str]) -> tuple[int, str]:
    """Return the line, counted from 1, and a sentence for an error of the YAML parser."""
    problem, about = str(why.problem or ""), str(why.context or "")
    here = why.problem_mark.line if why.problem_mark else 0
    began = why.context_mark.line if why.context_mark else here
    text = lines[here] if here < len(lines) else ""
    beginning = _CANNOT_BEGIN.match(problem)
    if "\t" in text[: len(text) - len(text.lstrip(" \t-"))]:
        return here + 1, "there is a tab in the indentation; use spaces"
    if beginning and beginning[1] == r"\t":
        return here + 1, "there is a tab between or after the words of this line; use a space, or quotes"
    if beginning:
        return here + 1, f'a value cannot begin with "{beginning[1]}"; put it in quotes'
    for part, sentence, at_beginning in _YAML:
        if part in problem or part == about:
            return (began if at_beginning else here) + 1, sentence
    for what, sign in (("anchor", "&"), ("alias", "*"), ("tag", "!")):
        if what in about or what in problem:
            return (
                here + 1,
                f'a value that begins with "{sign}" is not accepted; write it out or put it in quotes',
            )
    return here + 1, f"this line is not valid YAML ({shown(problem)}); check it, or put its value in quotes"


# -- models --------------------------------------------------------------------------------------------------


class Fault(NamedTuple):
    """A fault of a file: its line, counted from 1, and a sentence."""

    line: int
    sentence: str


def misplaced(sentence: str, at: Loc = (), other: Loc | None = None) -> PydanticCustomError:
    """Build the error that a validator of a model raises about a part of it.

    `at` is the path of that part in the model; `other` is a second part, whose line the sentence names too.
    """
    from pydantic_core import PydanticCustomError

    # The sentence is passed as a value, so that braces in it are not taken for a template.
    return PydanticCustomError("misplaced", "{sentence}", {"sentence": sentence, "at": at, "other": other})


def first_fault(
    errors: Iterable[ErrorDetails], model: type[BaseModel], line: Callable[[Loc], int]
) -> tuple[Fault, int]:
    """Return the first fault of a file by line, and the number of other faults."""
    errors = list(errors)
    # A misspelt key is one fault, not an unknown key and a missing one.
    misspelt = {(*e["loc"][:-1], _nearest(e["loc"], model)) for e in errors if e["type"] == "extra_forbidden"}
    faults = [
        _fault(error, model, line)
        for error in errors
        if not (error["type"] == "missing" and error["loc"] in misspelt) and not _follows(error)
    ]
    return min(faults, key=lambda fault: fault.line), len(faults) - 1


def _follows(error: ErrorDetails) -> bool:
    """Whether a list is too short only because of faulty items, which have faults of their own."""
    return error["type"] == "too_short" and len(error["input"]) >= error["ctx"]["min_length"]


def plain_fault(error: ErrorDetails, model: type[BaseModel]) -> str:
    """Describe one fault that a model found in values, in a sentence without the words of the library."""
    if error["loc"]:
        return _sentence(error, model)
    context = error.get("ctx", {})
    return str(context.get("sentence") or context.get("error") or "its values do not go together")


def _fault(error: ErrorDetails, model: type[BaseModel], line: Callable[[Loc], int]) -> Fault:
    loc, context = error["loc"], error.get("ctx", {})
    if error["type"] != "misplaced":
        return Fault(line(loc), _sentence(error, model))
    base = loc
    other = context["other"]
    see = "" if other is None else f" (see line {line((*base, *other))})"
    return Fault(line((*base, *context["at"])), f"{context['sentence']}{see}")


def _sentence(error: ErrorDetails, model: type[BaseModel]) -> str:
    """Describe the fault of a key in a sentence."""
    kind, loc, context = error["type"], error["loc"], error.get("ctx", {})
    name, value = _name(loc), error["input"]
    if kind == "extra_forbidden":
        near = _nearest(loc, model)
        keys = ", ".join(_keys(loc[:-1], model))
        return f"unknown key {name}; " + (f'did you mean "{near}"?' if near else f"the keys here are {keys}")
    if kind == "missing":
        return f"{name} is missing; {_example(loc, model)}"
    if kind in {"value_error", "assertion_error"}:
        return f"{name}: {context['error']}"
    if value is None or (kind == "too_short" and not value):
        return f"{name} is empty; fill it in"
    must = _must(kind, context, _keys(loc, model)) or "it is not a value that this may have"
    if isinstance(value, Mapping | list | tuple):
        form = "holds keys of its own" if isinstance(value, Mapping) else "is a list"
        return f"{name} {form}; {must}"
    must = "it must be a text" if kind == "string_type" else must
    return f'{name} is "{shown(str(value))}"; {must}'


# beginning of pydantic's kind of fault -> what the value must be
_MUST = {
    "int": "it must be a whole number",
    "float": "it must be a number",
    "finite": "it must be a number",
    "decimal": "it must be a number",
    "bool": "it must be true or false",
    "string_type": "it must be one value",
    "string_unicode": "it must be text that can be written",
    "string_too_long": "it must have at most {max_length} characters",
    "string_too_short": "it must have at least {min_length} characters",
    "too_long": "it must hold at most {max_length}",
    "is_instance": "it must be a {class}",
    "none_required": "it must be left out",
    "frozen": "it cannot be changed; make a copy with another value",
    "tuple_type": 'it must be a list, [...] or lines that begin with "- "',
    "list_type": 'it must be a list, [...] or lines that begin with "- "',
    "too_short": "it must hold at least {min_length}",
    "string_pattern_mismatch": "it must match {pattern}",
    "multiple_of": "it must be a multiple of {multiple_of}",
    "greater_than_equal": "it must be at least {ge}",
    "greater_than": "it must be greater than {gt}",
    "less_than_equal": "it must be at most {le}",
    "less_than": "it must be less than {lt}",
}


def _must(kind: str, context: Mapping[str, Any], keys: Sequence[str]) -> str:
    """Describe the required value for the kinds of fault that files have; empty for others."""
    if kind in {"dict_type", "mapping_type", "model_type", "model_attributes_type"}:
        return "it must hold keys with values" + (f": {', '.join(keys)}" if keys else "")
    if "expected" in context:
        return f"it must be {context['expected']}".replace("'", "")
    return next((must.format_map(context) for part, must in _MUST.items() if kind.startswith(part)), "")


def _name(loc: Loc) -> str:
    """Name the part at a path: its key, and the number of the item in a list."""
    key = next((part for part in reversed(loc) if isinstance(part, str)), "the file")
    last = loc[-1] if loc else ""
    return f'item {last + 1} of "{shown(key)}"' if isinstance(last, int) else f'"{shown(key)}"'


def _example(loc: Loc, model: type[BaseModel]) -> str:
    """Show how a missing key is written."""
    key = str(loc[-1])
    for owner in _models(loc[:-1], model):
        for name, info in owner.model_fields.items():
            if (info.alias or name) == key and info.examples:
                return f"write it as {key}: {info.examples[0]}"
    inner = _keys(loc, model)
    return f"add it with its keys {', '.join(inner)}" if inner else "add it"


def _nearest(loc: Loc, model: type[BaseModel]) -> str | None:
    key = str(loc[-1])
    keys = _keys(loc[:-1], model)
    from qc.text.suggest import nearest  # needed for misspelt names only: it imports difflib

    return nearest(key.replace(" ", "_"), keys)


def _keys(loc: Loc, model: type[BaseModel]) -> list[str]:
    """List the keys that may be written at a place, in the order of the model."""
    keys = [info.alias or name for owner in _models(loc, model) for name, info in owner.model_fields.items()]
    return list(dict.fromkeys(keys))


def _models(loc: Loc, model: type[BaseModel]) -> list[type[BaseModel]]:
    """Return the models at a path; several if the annotation is a union."""
    kinds: list[Any] = [model]
    for part in loc:
        kinds = [inner for kind in kinds for inner in _step(kind, part)]
    return [owner for kind in kinds for owner in _unwrapped(kind) if _is_model(owner)]


def _step(kind: Any, part: str | int) -> Iterable[Any]:
    """Yield the annotations one part of a path further down."""
    for plain in _unwrapped(kind):
        if _is_model(plain):
            yield from (i.annotation for name, i in plain.model_fields.items() if (i.alias or name) == part)
        elif get_args(plain):
            mapping = isinstance(origin := get_origin(plain), type) and issubclass(origin, Mapping)
            yield get_args(plain)[1 if mapping else 0]


def _unwrapped(kind: Any) -> list[Any]:
    """Return the members of a union and the types inside Annotated."""
    if get_origin(kind) in {Union, types.UnionType}:
        return [plain for choice in get_args(kind) for plain in _unwrapped(choice)]
    if get_origin(kind) is Annotated:
        return _unwrapped(get_args(kind)[0])
    return [kind]


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and hasattr(kind, "model_fields")
