"""Width and colours of stdout. A report in a file is as wide as one in a pipe, and without colours."""

from __future__ import annotations

import argparse
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from qc.cli.streams import requested

if TYPE_CHECKING:
    from qc.report.text.report import Counted, Detail, Text


def width() -> int:
    """Columns of the terminal, or of a page if stdout is not a terminal."""
    from qc.report.text.report import PIPED  # needed for text only

    return shutil.get_terminal_size((PIPED, 0)).columns if requested().isatty() else PIPED


def colour() -> bool:
    """Whether stdout is a terminal that shows colours and NO_COLOR is not set."""
    return requested().isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") not in {None, "dumb"}


def text(words: argparse.Namespace, path: Path | None) -> Text:
    """Build the text renderer with the options of the command line; `path` is None for stdout."""
    from qc.report.text.report import Text  # needed for text only

    detail: Detail = "quiet" if words.quiet else "verbose" if words.verbose else "usual"
    counted: Counted | None = None
    if words.only_new:
        counted = "fail or warn" if words.strict else "fail"
    if path is not None:
        return Text(detail=detail, ascii_only=words.ascii, only_new=counted)
    return Text(width=width(), colour=colour(), detail=detail, ascii_only=words.ascii, only_new=counted)
