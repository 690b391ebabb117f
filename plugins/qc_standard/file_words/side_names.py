"""Find the side that a text or a file name names: "Side B", "QH-007_B.wav", "b-side/02.flac", "A1 Overture.wav"."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import PurePosixPath

from qc_standard.file_words.codes import own_shape
from qc_standard.file_words.declared import number_of_side
from qc_standard.file_words.wording import neutral, words

Found = tuple[int, int, int]
"""Number of a side, and the part of the text that names it: first character and the one behind its last."""
_NAME = r"([a-h]|[1-8]|one|two|three|four)(?![a-z0-9])"
_SIDE = re.compile(rf"(?<![a-z])(?:side|seite)[\s_\-:.#]{{0,3}}{_NAME}(?!\s*side)", re.IGNORECASE)
_SIDE_BEHIND = re.compile(r"(?<![a-z0-9])([a-h])[\s_\-]?side(?![a-z])", re.IGNORECASE)
_NUMBERED = re.compile(r"([a-h])([0-9]{1,2})(?![a-z0-9])", re.IGNORECASE)
_DISC = re.compile(r"(?<![a-z])(?:disc|disk|lp|record|vinyl|cd)[\s_\-]?([2-9])(?![0-9])", re.IGNORECASE)


def in_text(text: str, catalogue: str = "") -> Iterator[Found]:
    """Yield the sides that a free text names; a letter must be a capital, as in "Side B", or end the text."""
    for match in _SIDE.finditer(text):
        if not match[1].islower() or len(match[1]) > 1 or match.end() == len(text):
            yield from _found(match, text)
    yield from _behind_catalogue(text, catalogue, gap=r"[-_/]?")


def in_file_name(name: str, catalogue: str, known: Sequence[str], numbers: Collection[int]) -> Iterator[Found]:
    """Yield the sides that the path of a side's file names.

    A letter by itself counts where it names one of the sides `numbers`, and all other words say nothing of their own:
    words of the trade, and those of the texts `known`, such as the title and the catalogue number.
    """
    yield from _patterns(name)
    yield from _letter_behind_catalogue(name, catalogue, numbers)
    stem = PurePosixPath(name).stem
    rest = _without(words(stem), known)
    letters = [word for word in rest if len(word) == 1 and word.isalpha()]
    if len(letters) == 1 and all(neutral(word) for word in rest):
        number = number_of_side(letters[0])
        if number is not None and number in numbers:
            place = re.search(rf"(?<![a-z0-9]){letters[0]}(?![a-z0-9])", stem, re.IGNORECASE)
            begin = name.rfind(stem) + (place.start() if place else 0)
            yield number, begin, begin + 1


def _without(rest: list[str], texts: Iterable[str]) -> list[str]:
    """Remove the words of texts from a list, where they follow each other as in the text; long texts first."""
    for text in sorted(map(words, texts), key=len, reverse=True):
        for at in range(len(rest) - len(text), -1, -1):
            if text and rest[at : at + len(text)] == text:
                rest = rest[:at] + rest[at + len(text) :]
    return rest


def in_track_name(name: str, catalogue: str, numbers: Collection[int]) -> Iterator[Found]:
    """Yield the sides that the path of a track's file names: "side-b/02.wav", "B2 Overture.wav"."""
    yield from _patterns(name)
    yield from _letter_behind_catalogue(name, catalogue, numbers)
    stem = PurePosixPath(name).stem
    match = _NUMBERED.match(stem)
    number = number_of_side(match[1]) if match else None
    if number is not None and number in numbers:
        begin = name.rfind(stem)
        yield number, begin, begin + 2


def numbered(text: str) -> tuple[int | None, int] | None:
    """Return side and number of a track as records number them, "B2"; the side is None in a number alone."""
    match = re.fullmatch(r"\s*([a-h]?)[\s\-.]?([0-9]{1,3})(?:\s*/\s*[a-h]?[0-9]{1,3})?\s*", text, re.IGNORECASE)
    return None if match is None else (number_of_side(match[1]), int(match[2]))


def _patterns(name: str) -> Iterator[Found]:
    for pattern in (_SIDE, _SIDE_BEHIND):
        for match in pattern.finditer(name):
            yield from _found(match, name)


def _letter_behind_catalogue(name: str, catalogue: str, numbers: Collection[int]) -> Iterator[Found]:
    for found in _behind_catalogue(name, catalogue, gap=r"[\s\-_/.]{0,2}", ignore_case=True):
        if found[0] in numbers:
            yield found


def _found(match: re.Match[str], text: str) -> Iterator[Found]:
    """Yield the side of a match; in "disc 2, side A" the letter counts from the disc's first side."""
    number = number_of_side(match[1])
    if number is not None:
        disc = _DISC.search(text)
        first = 2 * (int(disc[1]) - 1) if disc and number <= 2 else 0
        yield first + number, match.start(), match.end()


def _behind_catalogue(text: str, catalogue: str, *, gap: str, ignore_case: bool = False) -> Iterator[Found]:
    """Yield the side of a letter behind the catalogue number: "QH-007-B", "QH007B1"."""
    shape = own_shape(catalogue)
    if not shape:
        return
    letter = "([A-Ha-h])" if ignore_case else "([A-H])"
    for match in re.finditer(rf"(?<![A-Za-z0-9])(?i:{shape}){gap}{letter}[0-9]?(?![A-Za-z0-9])", text):
        yield from _found(match, text)
