"""Compare texts by their letters and digits, whatever capitals, accents, signs, spaces and leading zeros they have."""

from __future__ import annotations

import re
import unicodedata

LONGEST_QUOTE = 60
"""Characters of a file's own words in a message."""
_NEUTRAL = frozenset({
    "aif", "aiff", "album", "and", "audio", "bit", "bounce", "bounced", "bpm", "copy", "cut", "cutting", "disc",
    "disk", "edit", "ep", "export", "exported", "file", "final", "flac", "flat", "four", "hd", "hires", "hz", "khz",
    "left", "lp", "master", "mastered", "mastering", "masters", "mix", "mixdown", "mono", "new", "no", "of", "one",
    "part", "pcm", "pre", "premaster", "project", "pt", "record", "reel", "ref", "render", "right", "seite",
    "session", "side", "sides", "single", "stereo", "tape", "test", "the", "three", "track", "tracks", "transfer",
    "two", "und", "untitled", "version", "vinyl", "wav",
})  # fmt: skip
"""Words of the trade, which say nothing of what the music is."""
_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")
_A_NUMBER = re.compile(r"[a-z]{0,4}[0-9]+[a-z]{0,4}")


def words(text: str) -> list[str]:
    """Return the words of a text in small letters, without accents and leading zeros; other signs divide them."""
    plain = unicodedata.normalize("NFKD", text.replace("&", " and ")).casefold()
    kept = "".join(char for char in plain if not unicodedata.combining(char))
    apart = "".join(char if char.isalnum() else "" if char in "'\u2019" else " " for char in kept)
    return _LEADING_ZEROS.sub("", apart).split()


def joined(text: str) -> str:
    """Return the letters and digits of a text alone."""
    return "".join(words(text))


def agree(first: str, second: str) -> bool:
    """Whether two texts are the same but for their form, or one contains the other."""
    a, b = sorted((words(first), words(second)), key=lambda its: len("".join(its)))
    if not a:
        return True
    short, long = "".join(a), "".join(b)
    if short == long or (len(short) >= 4 and _holds(long, short)):
        return True
    return any(b[i : i + len(a)] == a for i in range(len(b) - len(a) + 1))


def _holds(long: str, short: str) -> bool:
    """Whether a text contains another without cutting a number in two, as "volume10" would for "volume1"."""
    at = long.find(short)
    behind = long[at + len(short) : at + len(short) + 1]
    cut = (short[-1] + behind, long[max(0, at - 1) : max(0, at)] + short[0])
    return at >= 0 and not any(len(pair) == 2 and pair.isdecimal() for pair in cut)


def unrelated(first: str, second: str) -> bool:
    """Whether two texts share no word that names something, or differ in numbers alone: "Volume 1", "Volume 2"."""
    if agree(first, second):
        return False
    a, b = words(first), words(second)
    named, other = ({word for word in its if not neutral(word)} for its in (a, b))
    if named & other:
        return [word for word in a if not word.isdecimal()] == [word for word in b if not word.isdecimal()]
    return True


def neutral(word: str) -> bool:
    """Whether a word, as `words` returns it, says nothing of what the music is."""
    return len(word) < 2 or word in _NEUTRAL or _A_NUMBER.fullmatch(word) is not None


def names_something(text: str) -> bool:
    """Whether a text has a word that may name music."""
    return any(not neutral(word) for word in words(text))


def quoted(text: str, start: int = 0, end: int = 0) -> str:
    """Return a text in quotation marks, shortened around the part from `start` to `end`."""
    if len(text) > LONGEST_QUOTE:
        begin = max(0, min(start - 20, len(text) - LONGEST_QUOTE, end))
        part = text[begin : begin + LONGEST_QUOTE - 6]
        text = f"{'...' * (begin > 0)}{part}{'...' * (begin + len(part) < len(text))}"
    return f'"{text}"'
