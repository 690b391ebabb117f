"""The words of the code: one class to a name, docstrings that start with a verb or a noun, few words of our own making.

`python -m pytest tests/documents/test_words_of_the_code.py` lists what is above a ceiling by file. A ceiling may only
be lowered: when a count falls below one, lower it to the count.
"""

from __future__ import annotations

import ast
import io
import json
import re
import tokenize
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from qc import api, plugin_api
from qc.schemas import build
from qc.testing import case_file

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "qc").rglob("*.py"))

SHARED_CLASS_NAMES: frozenset[str] = frozenset()
"""Names that two modules still define; no other may join them."""

OPENINGS = {"Give", "Tell", "Say", "Let", "What", "Where", "Which", "How"}
"""First words of a docstring that names no object, with their forms in -s."""
MOST_OPENINGS = 0

MOST_WORDS = 3

WORDS = {
    "process, measure": r"hear|hears|heard|hearing",
    "compute, place (the spiral)": r"lay|lays|laid|laying|wind|winds|winding|windings|wound",
    "reduce": r"tame|tames|tamed|taming",
    "report, describe": r"told",
    "memo, valid names, what it is": r"known",
    "buffered, bound, compared": r"held",
    "next to, inputs": r"beside",
    "documents": r"paper|papers",
    "YAML source": r"lined",
    "release, close": r"let go|lets go|letting go",
    "zero": r"nought",
    "remain, is": r"stand|stands|stood|standing",
    "use, depend on": r"goes by|go by|went by|hangs on|hang on|hung on",
    "the caller, the owner, the worker": r"somebody|nobody|anybody|whoever",
    "timed out": r"given up|give up|gives up|gave up",
}
"""Plain word -> words of our own making for it, as whole words of a name, a comment or a docstring.

Not counted: text that users read (strings), names that users write (JSON schemas, case files, `qc.plugin_api`, options
of `qc.api`), `hold` and `keep` a limit, and `turn` for a turn of the groove; a `turn` that is a
call is counted in the rooms of `CALLS`.
"""
CALLS = ("qc/audio/", "qc/measure/", "qc/plugin_host/")
CALL = r"turn|turns"


class Word(NamedTuple):
    """A word of our own making where it is written."""

    where: str
    word: str
    text: str


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def where(path: Path, line: int) -> str:
    return f"{path.relative_to(ROOT)}:{line}"


def docstrings(module: ast.Module) -> Iterator[ast.Constant]:
    """The docstrings of a module, its classes and functions, and the strings that describe an attribute."""
    for node in ast.walk(module):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str):
            yield node.value


def opening(docstring: str) -> str:
    """The first word, without the -s of "Gives"."""
    word = (re.match(r"\W*(\w+)", docstring) or ["", ""])[1]
    return word.removesuffix("s") if word.removesuffix("s") in OPENINGS else word


def openings() -> Iterator[str]:
    for path in SOURCES:
        for docstring in docstrings(tree(path)):
            if opening(docstring.value) in OPENINGS:
                yield f"{where(path, docstring.lineno)}: {docstring.value.strip().splitlines()[0][:70]}"


@cache
def public_names() -> frozenset[str]:
    """Names that users write or import: of JSON schemas, case files, the plugin API, options."""

    def keys(part: object) -> Iterator[str]:
        if isinstance(part, dict):
            yield from part.get("properties", {})
            yield from part.get("$defs", {})
            for inner in part.values():
                yield from keys(inner)
        elif isinstance(part, list):
            for inner in part:
                yield from keys(inner)

    found = {name for schema in build.NAMES for name in keys(json.loads(build.generated(schema)))}
    for model in (case_file.CaseFile, case_file.CaseSide, case_file.TrackMade, case_file.Expected):
        found |= set(model.model_fields)
    found |= {field.name for field in fields(api.PlanOptions)}
    return frozenset(found | set(plugin_api.__all__))


def split(name: str) -> str:
    """The words of a name, in lower case: "HeldLimit" and "held_limit" are "held limit"."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])|_", " ", name).lower()


def written(path: Path) -> Iterator[tuple[int, str]]:
    """Line and text of every name, comment and docstring of a file."""
    source = path.read_text(encoding="utf-8")
    for docstring in docstrings(ast.parse(source)):
        for number, line in enumerate(docstring.value.splitlines()):
            yield docstring.lineno + number, line
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            yield token.start[0], token.string
        elif token.type == tokenize.NAME and token.string not in public_names():
            yield token.start[0], split(token.string)


def words_of(path: Path) -> Iterator[Word]:
    name = str(path.relative_to(ROOT))
    patterns = "|".join([*WORDS.values(), *([CALL] if name.startswith(CALLS) else [])])
    for line, text in written(path):
        for match in re.finditer(rf"(?<![\w-])(?:{patterns})(?![\w-])", text, re.IGNORECASE):
            yield Word(where(path, line), match[0].lower(), text.strip())


def by_file(found: Sequence[str]) -> str:
    """Lines "FILE:LINE: TEXT" under the number of each file, the fullest file first."""
    files = defaultdict(list)
    for line in found:
        files[line.partition(":")[0]].append(line)
    parts = sorted(files.items(), key=lambda item: (-len(item[1]), item[0]))
    return "\n".join("\n".join([f"{len(lines)} in {name}", *(f"  {line}" for line in lines)]) for name, lines in parts)


def test_each_class_name_is_defined_once():
    places = defaultdict(list)
    for path in SOURCES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(where(path, node.lineno))
    shared = {name: found for name, found in places.items() if len(found) > 1}
    assert shared.keys() <= SHARED_CLASS_NAMES, shared


def test_docstrings_begin_with_a_verb_of_work_or_a_noun():
    found = list(openings())
    assert len(found) <= MOST_OPENINGS, f"{len(found)} docstrings, at most {MOST_OPENINGS}:\n{by_file(found)}"


def test_words_of_our_own_making_are_few():
    found = [f"{where}: {word}: {text[:90]}" for path in SOURCES for where, word, text in words_of(path)]
    assert len(found) <= MOST_WORDS, f"{len(found)} words, at most {MOST_WORDS}:\n{by_file(found)}"


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("known = held_limit  # told beside", 4),
        ("class HeardOnce: pass", 1),
        ('def f():\n    """Give what somebody lets go."""', 2),
        ('x = 1\n"""where it stands"""', 1),
        ("unknown = threshold = standard = layout = turn", 0),
        ("text = 'what nobody knows, known'", 0),
    ],
)
def test_the_count_sees_names_comments_and_docstrings_only(text, count, tmp_path, monkeypatch):
    (tmp_path / "module.py").write_text(text + "\n", encoding="utf-8")
    monkeypatch.setattr(f"{__name__}.ROOT", tmp_path)
    assert len(list(words_of(tmp_path / "module.py"))) == count


@pytest.mark.parametrize(
    ("docstring", "seen"),
    [("Gives it.", True), ("What it is.", True), ("Give", True), ("Whatever.", False), ("Return it.", False)],
)
def test_an_opening_is_seen_in_each_of_its_forms(docstring, seen):
    assert (opening(docstring) in OPENINGS) is seen
