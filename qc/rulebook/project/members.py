"""The classes of the contract as they are in its source: signatures, and the first sentence of each docstring."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from types import ModuleType

DUNDERS = {"__getitem__", "__call__"}
"""Members with underscores that a plugin author does meet."""


@dataclass(frozen=True)
class Member:
    """A field, property or method of a class: how it is written, and what is said of it."""

    signature: str
    doc: str


@dataclass(frozen=True)
class MemberDocs:
    """A class, or another name for a type, with its public members in the order of the source."""

    name: str
    signature: str
    doc: str
    members: tuple[Member, ...] = ()


def described(module: ModuleType, name: str) -> MemberDocs:
    """Describe a name that a module defines or imports; raises LookupError for one that is written nowhere."""
    source, tree = _parsed(module)
    body = [inner for node in tree.body for inner in (node.body if isinstance(node, ast.If) else [node])]
    for index, node in enumerate(body):
        if isinstance(node, ast.FunctionDef) and node.name == name:
            return MemberDocs(name, _written(source, node), first_paragraph(ast.get_docstring(node)))
        if isinstance(node, ast.ClassDef) and node.name == name:
            doc = first_paragraph(ast.get_docstring(node))
            return MemberDocs(name, _written(source, node), doc, tuple(_members(source, node)))
        if isinstance(node, ast.Assign) and [ast.unparse(target) for target in node.targets] == [name]:
            return MemberDocs(name, _as_in(source, node), _said_below(body, index))
        if isinstance(node, ast.ImportFrom) and node.module and name in {alias.name for alias in node.names}:
            return described(importlib.import_module(node.module), name)
    raise LookupError(f"{module.__name__} has no {name}")


def function(module: ModuleType, name: str) -> Member:
    """Describe a function of a module; raises LookupError when there is none."""
    source, tree = _parsed(module)
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name == name:
            return Member(_written(source, node), first_paragraph(ast.get_docstring(node)))
    raise LookupError(f"{module.__name__} has no function {name}")


def first_paragraph(doc: str | None) -> str:
    """Return the first paragraph of a docstring, on one line."""
    return " ".join((doc or "").partition("\n\n")[0].split())


@cache
def _parsed(module: ModuleType) -> tuple[str, ast.Module]:
    source = inspect.getsource(module)
    return source, ast.parse(source)


def _members(source: str, owner: ast.ClassDef) -> Iterator[Member]:
    for index, node in enumerate(owner.body):
        if isinstance(node, ast.FunctionDef) and (not node.name.startswith("_") or node.name in DUNDERS):
            written = _written(source, node)
            if any(ast.unparse(decorator) == "property" for decorator in node.decorator_list):
                written = written.replace("() ->", ":")
            yield Member(written, first_paragraph(ast.get_docstring(node)))
        if isinstance(node, ast.AnnAssign) and not ast.unparse(node.target).startswith("_"):
            yield Member(_field(source, node), _said_below(owner.body, index))


def _field(source: str, node: ast.AnnAssign) -> str:
    """Write a field with its type; its default too where that is a plain value."""
    kind = re.sub(r"^ClassVar\[(.*)\]$", r"\1", _as_in(source, node.annotation))
    plain = isinstance(node.value, ast.Constant | ast.Tuple | ast.Dict)
    default = f" = {_as_in(source, node.value)}" if plain and node.value is not None else ""
    return f"{ast.unparse(node.target)}: {kind}{default}"


def _as_in(source: str, node: ast.AST) -> str:
    """Return a piece of source on one line."""
    return " ".join((ast.get_source_segment(source, node) or "").split())


def _said_below(body: list[ast.stmt], index: int) -> str:
    """Return the string below a field, which describes the field."""
    below = body[index + 1] if index + 1 < len(body) else None
    if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant) and isinstance(below.value.value, str):
        return first_paragraph(textwrap.dedent(below.value.value))
    return ""


def _written(source: str, node: ast.ClassDef | ast.FunctionDef) -> str:
    """Return the line or lines before a body as one line, without `self` and without remarks for tools."""
    lines = source.splitlines()[node.lineno - 1 : node.body[0].lineno]
    head: list[str] = []
    for line in lines:
        head.append(re.sub(r"\s+#.*$", "", line).strip())
        if head[-1].endswith((":", ": ...")):
            break
    written = re.sub(r":( \.\.\.)?$", "", " ".join(head)).removeprefix("def ")
    written = re.sub(r"\(\s+", "(", re.sub(r",?\s+\)", ")", written))
    return re.sub(r"\((?:self|cls)(?:, )?", "(", written)
