"""What a parser of Markdown that is not ours finds on a page."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote

from markdown_it import MarkdownIt

ROOT = Path(__file__).resolve().parent.parent.parent
PARSER = MarkdownIt("commonmark").enable(["table", "strikethrough"])


class Read:
    """A page as a reader's programme sees it."""

    def __init__(self, marked):
        tokens = PARSER.parse(marked)
        self.headings = [
            (int(one.tag[1]), seen(inline)) for one, inline in pairwise(tokens) if one.type == "heading_open"
        ]
        inline = [child for token in tokens if token.type == "inline" for child in token.children]
        self.links = [unquote(child.attrs["href"]) for child in inline if child.type == "link_open"]
        self.words = " ".join(" ".join(seen(token) for token in tokens if token.type == "inline").split())
        self.tables = list(tables(tokens))

    @property
    def anchors(self):
        """The anchors of its headings by the rules of code-hosting pages, worked out another way than the pages'."""
        found = []
        for _, words in self.headings:
            plain = "-".join("".join(c for c in words.lower() if c.isalnum() or c in "_- ").split(" "))
            found.append(next(one for one in (plain, *(f"{plain}-{n}" for n in range(1, 99))) if one not in found))
        return found


def seen(inline):
    return "".join(" " if c.type == "softbreak" else c.content for c in inline.children)


def tables(tokens):
    """Give each table as rows of cells, the head first."""
    rows, cell = [], False
    for token in tokens:
        if token.type == "table_open":
            rows = []
        elif token.type == "tr_open":
            rows.append([])
        elif token.type in {"td_open", "th_open"}:
            cell = True
        elif token.type == "inline" and cell:
            rows[-1].append(seen(token))
            cell = False
        elif token.type == "table_close":
            yield rows
