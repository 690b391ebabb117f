"""The hooks of a plugin as its source shows them, without running it: of one that does not load or is switched off."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from importlib.machinery import ModuleSpec, PathFinder
from importlib.metadata import EntryPoint
from importlib.util import find_spec
from pathlib import Path

from qc.files.bounded_read import UnreadableFileError, read_text
from qc.plugin_host.spec import HOOKS

LARGEST = 1 << 20
"""Bytes of a module; one with hooks has a few thousand (practice)."""
DYNAMIC = {"globals", "locals", "vars", "setattr", "exec", "eval", "__getattr__", "__import__", "import_module"}
"""Names by which a module may define hooks that its source does not show."""


def outlined_hooks(entry: EntryPoint) -> tuple[str, ...] | None:
    """Return the names of the hooks that a plugin's module may define; None where its source does not show them."""
    if entry.attr:  # an object, which may have any hook
        return None
    try:
        source = _source(entry.module)
        tree = None if source is None else ast.parse(read_text(source, LARGEST))
    except (ImportError, UnreadableFileError, SyntaxError, ValueError, RecursionError):
        return None
    if tree is None:
        return None
    names = {name for node in ast.walk(tree) for name in _names(node)}
    misspelt = any(name.startswith("qc_") and name not in HOOKS for name in _functions(tree))
    return None if misspelt or "*" in names or names & DYNAMIC else tuple(hook for hook in HOOKS if hook in names)


def _source(module: str) -> Path | None:
    """Find the file of a module; a package that it lies in is not imported."""
    top, *parts = module.split(".")
    spec: ModuleSpec | None = find_spec(top)
    for index, _ in enumerate(parts, 1):
        if spec is None or spec.submodule_search_locations is None:
            return None
        spec = PathFinder.find_spec(".".join([top, *parts[:index]]), list(spec.submodule_search_locations))
    if spec is None or spec.origin is None or not spec.origin.endswith(".py"):
        return None
    return Path(spec.origin)


def _names(node: ast.AST) -> Iterator[str]:
    """Yield the names that a node defines, imports, reads or writes as a text."""
    if isinstance(node, ast.Name):
        yield node.id
    elif isinstance(node, ast.Attribute):
        yield node.attr
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value  # specname="qc_report_done"
    elif isinstance(node, ast.alias):
        yield node.asname or node.name
    elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        yield node.name


def _functions(tree: ast.Module) -> Iterator[str]:
    return (node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
