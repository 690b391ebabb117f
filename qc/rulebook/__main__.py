"""`python -m qc.rulebook [FOLDER]`: write the tool's own pages in its sources, or those of a house into a folder."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import qc
from qc import api
from qc.model.errors import SidegateError, UsageError
from qc.plugin_host.host import Host
from qc.rulebook.book import Book
from qc.rulebook.pages import pages, put
from qc.text.sanitize import shown

ROOT = Path(qc.__file__).resolve().parent.parent


def parser() -> argparse.ArgumentParser:
    """Build the parser of the command."""
    words = argparse.ArgumentParser(
        prog="python -m qc.rulebook",
        description="Write a rulebook in Markdown: a page a check, all limits, the chain, measurements and sources.",
    )
    words.add_argument(
        "folder", metavar="FOLDER", nargs="?", type=Path,
        help="where to write, of all that is installed; default: the tool's own pages, in its sources",
    )  # fmt: skip
    words.add_argument(
        "--ruleset", metavar="NAME[@VERSION]", action="append", default=[],
        help="show the limits of this ruleset (or a ruleset file); repeatable; default: the newest of each",
    )  # fmt: skip
    return words


def main(argv: Sequence[str] | None = None, host: Host | None = None) -> int:
    """Run the command and return its exit code; every error is one sentence on stderr."""
    asked = parser().parse_args(argv)
    try:
        made, root = _asked(asked, host)
        put(made, root)
    except SidegateError as error:
        sys.stderr.write(f"rulebook: {shown(str(error), 2000)}\n")
        return error.exit_code
    sys.stderr.write(f"rulebook: wrote {len(made)} pages in {root}\n")
    return 0


def _asked(asked: argparse.Namespace, host: Host | None) -> tuple[Mapping[str, str], Path]:
    if asked.folder is not None:
        return pages(Book.of(host or api.build_host(), asked.ruleset)), asked.folder
    if asked.ruleset:
        raise UsageError("--ruleset needs a FOLDER: the tool's own pages have the newest rulesets")
    if not (ROOT / "pyproject.toml").is_file():
        raise UsageError("the tool's own pages lie in its sources, and it runs from elsewhere; name a FOLDER")
    from qc.rulebook.project.pages import shipped_host, shipped_pages  # the wheel leaves it out

    return shipped_pages(Book.of(shipped_host())), ROOT


if __name__ == "__main__":
    sys.exit(main())
