"""The rules that the tests keep about themselves: helpers stand apart from tests, and every test in a room."""

import ast
from pathlib import Path

TESTS = Path(__file__).parents[1]
SOURCES = sorted(TESTS.rglob("*.py"))


def imported(path):
    """Return the names of all modules that a file imports, each with everything that is imported from it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def test_the_modules_that_a_file_imports_are_seen(tmp_path):
    path = tmp_path / "example.py"
    path.write_text("import os.path\ndef f():\n    from groove import test_budget as b, tools\n")
    assert imported(path) == {"os.path", "groove", "groove.test_budget", "groove.tools"}


def test_no_file_imports_a_test_or_a_conftest():
    never = {"conftest", *(path.stem for path in SOURCES if path.name.startswith("test_"))}
    found = [(path.relative_to(TESTS), name) for path in SOURCES for name in imported(path)]
    assert [(path, name) for path, name in found if never & {*name.split(".")}] == []


def test_every_test_lies_in_a_room():
    assert list(TESTS.glob("test_*.py")) == []
    assert {path.name for path in TESTS.glob("*.py")} == {"conftest.py", "compare_numbers.py", "picture.py"}
