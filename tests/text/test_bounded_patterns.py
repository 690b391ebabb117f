"""Every regular pattern of the package is listed here with what bounds the text it meets.

Python's patterns go back where they fail. Over a text of a sender that nobody bounded, one that is quadratic keeps the
command busy for minutes. So a pattern that is new has to be put on this list, with the reason why it is safe.
"""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
CALLS = {"compile", "match", "fullmatch", "search", "sub", "subn", "split", "findall", "finditer"}

OWN = "text of the package itself, its plugins or its compiler"
SCALAR = "a value of a YAML file: yaml_nodes.LONGEST characters"
ONE_PASS = "linear: one class of characters, or parts that cannot take each other's characters"
SAID = "a tag, audio.tags.collected.LONGEST_VALUE characters, or the name of a file"
BOUNDED = {
    "plugins/qc_standard/checks/delivery/number_or_isrc.py": SCALAR,
    "plugins/qc_standard/checks/delivery/papers_disagree.py": SCALAR,
    "plugins/qc_standard/checks/file/unused_bits.py": OWN,
    "plugins/qc_standard/file_words/codes.py": SAID,
    "plugins/qc_standard/file_words/contradictions.py": SAID,
    "plugins/qc_standard/file_words/side_names.py": SAID,
    "plugins/qc_standard/file_words/wording.py": SAID,
    "qc/cli/main.py": "the first two characters of a word of the command line",
    "qc/draft/cue.py": "cue.LONGEST_LINE, looked at before; the split into lines: " + ONE_PASS,
    "qc/delivery/approvals.py": "approvals.LARGEST, looked at before; " + ONE_PASS,
    "qc/delivery/model.py": "times.LONGEST_TEXT, looked at before",
    "qc/delivery/fields.py": SCALAR,
    "qc/delivery/checksum_files.py": "sums.LONGEST_LINE, looked at before; the split into lines: " + ONE_PASS,
    "qc/delivery/timecode.py": "times.LONGEST_TEXT, looked at before",
    "qc/demo/band.py": OWN,
    "qc/dsp/kernels/old_folders.py": "names of files in the cache folder",
    "qc/files/atomic_write.py": "a line of the kernel's own status file",
    "qc/files/yaml_nodes.py": "yaml_source.LARGEST; " + ONE_PASS,
    "qc/judge/curves.py": "a name that a plugin's code states",
    "qc/model/parameters.py": OWN,
    "qc/testing/case_folders.py": "names of files; the first bytes of a ruleset: " + ONE_PASS,
    "qc/where/request.py": "six characters",
    "qc/model/names.py": "names of files, values of YAML and words of the command line; " + ONE_PASS,
    "qc/model/quantity.py": "quantity.LONGEST, looked at before",
    "qc/report/html/svg.py": OWN,
    "qc/files/json_pieces.py": "earlier.LARGEST; possessive, so that it never goes back",
    "qc/text/markdown.py": ONE_PASS,
    "qc/text/table.py": "one character",
    "qc/report/note/template.py": "at the beginning of a sentence of the template engine",
    "qc/report/figures/named.py": ONE_PASS,
    "qc/report/sarif/results.py": ONE_PASS,
    "qc/rulebook/markdown.py": OWN,
    "qc/rulebook/project/members.py": OWN,
    "qc/rulebook/templates.py": OWN,
    "qc/cache/entry.py": "names of files in the store",
    "qc/cache/sweep.py": "names of files in the store",
    "qc/cache/store.py": "names of files, and of plugins' needs",
    "qc/text/sanitize.py": "at the beginning of a sentence of the YAML parser",
}  # fmt: skip


def patterns(path):
    """Count the patterns of a source file: calls of functions of `re`."""
    calls = (node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call))
    functions = (call.func for call in calls if isinstance(call.func, ast.Attribute))
    return sum(
        function.attr in CALLS and isinstance(function.value, ast.Name) and function.value.id == "re"
        for function in functions
    )


def test_every_pattern_says_what_bounds_it():
    found = {
        str(path.relative_to(ROOT))
        for folder in ("qc", "plugins", "rulesets")
        for path in (ROOT / folder).rglob("*.py")
        if patterns(path)
    }
    assert found == set(BOUNDED)


def test_patterns_are_always_called_by_the_module():
    """So that the list above misses none: nothing imports `re`, or a function of it, by another name."""
    for folder in ("qc", "plugins", "rulesets"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                assert not (isinstance(node, ast.ImportFrom) and node.module == "re"), path
                if isinstance(node, ast.Import):
                    assert all(one.name != "re" or one.asname is None for one in node.names), path
