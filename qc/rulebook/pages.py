"""All pages together, and how they are put in their places without losing any that were not made here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from qc.files.atomic_write import write_file
from qc.model.errors import OutputError
from qc.rulebook.book import CHAIN, CHECKS, INDEX, LIMITS, MEASUREMENTS, SOURCES, Book
from qc.rulebook.checks import check_page
from qc.rulebook.overview import chain_page, index_page, limits_page
from qc.rulebook.reference import measurements_page, sources_page

MARK = "<!-- Made by python -m qc.rulebook from the code and the rulesets; what is changed here is lost. -->\n"


def pages(book: Book, further: Iterable[str] = ()) -> Mapping[str, str]:
    """Return the pages of a rulebook by their path in its folder; `further` are more lines of the index."""
    made = {
        INDEX: index_page(book, further),
        LIMITS: limits_page(book),
        CHAIN: chain_page(book),
        MEASUREMENTS: measurements_page(book),
        SOURCES: sources_page(book),
    }
    made |= {f"{CHECKS}{check}.md": check_page(book, kind) for check, kind in book.host.checks.items()}
    return {path: f"{MARK}\n{made[path]}" for path in sorted(made)}


def put(made: Mapping[str, str], root: Path) -> None:
    """Write pages below a folder, and take away pages made earlier of checks that there are no more.

    Raises OutputError where a file that was not made here is in the way, before anything is written, or where
    something cannot be written.
    """
    for path in made:
        _is_ours(root / path)
    try:
        for path, page in made.items():
            _write(root / path, page)
        for folder in {(root / path).parent for path in made if CHECKS in path}:
            for old in sorted(folder.glob("*.md")):
                if str(old.relative_to(root).as_posix()) not in made and _made_here(old):
                    old.unlink()
    except OSError as error:
        place = error.filename or root
        raise OutputError(f"{place} cannot be written: {error.strerror}; name another folder") from None


def _is_ours(place: Path) -> None:
    if place.exists() and not _made_here(place):
        raise OutputError(f"{place} is there and was not made here; name another folder, or move it away")


def _made_here(place: Path) -> bool:
    try:
        with place.open(encoding="utf-8", errors="replace") as page:
            return page.readline() == MARK
    except OSError:
        return False


def _write(place: Path, page: str) -> None:
    """Write a page, whole or not at all; raises OSError."""
    place.parent.mkdir(parents=True, exist_ok=True)
    write_file(place, page.encode())
