"""The pages that people read, and what of them a machine can try: fenced blocks, and commands in the prose."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from markdown_it import MarkdownIt

ROOT = Path(__file__).resolve().parent.parent.parent
NAMED = {".yaml", ".yml", ".json", ".toml", ".py", ".cue"}


def every_page():
    """Give the pages by their path in the sources."""
    found = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    found += [ROOT / "plugins" / name for name in ("hooks.md", "units.md", "cases.md")]
    found += sorted(ROOT.glob("[a-z]*/README.md")) + sorted(ROOT.glob("tests/*/README.md"))
    found += sorted((ROOT / "examples").rglob("README.md"))
    found += sorted((ROOT / "rulesets" / "rulebook").rglob("*.md"))
    return [str(path.relative_to(ROOT).as_posix()) for path in found]


@dataclass(frozen=True)
class Block:
    """A fenced block, with the file name that the paragraph before it ends with, if it does."""

    page: str
    line: int
    language: str
    text: str
    named: str = ""

    @property
    def where(self):
        return f"{self.page}:{self.line}"


@dataclass(frozen=True)
class Page:
    """A page taken apart."""

    name: str
    blocks: tuple[Block, ...]
    spans: tuple[tuple[int, str], ...]
    """(line, what stands between single backticks)"""
    fences: int
    """lines that open or close a block, counted without any parser"""


def read(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    blocks, spans, before = [], [], ""
    for token in MarkdownIt("commonmark").enable("table").parse(text):
        line = token.map[0] + 1 if token.map else 0
        if token.type == "code_block":
            raise AssertionError(f"{name}:{line}: an indented block says nothing of its language; fence it")
        if token.type == "fence":
            blocks.append(Block(name, line, token.info.strip(), token.content, _file_named(before)))
            before = ""
        if token.type == "inline":
            before = token.content
            spans += [(line, one.content) for one in token.children if one.type == "code_inline"]
    fences = sum(re.match(r"\s*(```|~~~)", line) is not None for line in text.splitlines())
    return Page(name, tuple(blocks), tuple(spans), fences)


def _file_named(paragraph):
    """Give the last file name in fixed type of a paragraph that ends with a colon: `waivers.yaml`:"""
    if not paragraph.rstrip().endswith(":"):
        return ""
    names = [one for one in re.findall(r"`([\w./-]+)`", paragraph) if Path(one).suffix in NAMED]
    return names[-1] if names else ""
