"""Exact times in the notation of delivery documents: seconds as a number, "m:ss.fff" or "h:mm:ss.fff"."""

from __future__ import annotations

import re
from fractions import Fraction

from qc.text.sanitize import shown

# The digits are bounded so that no time grows beyond reason, and times are ASCII.
_SECONDS = r"[0-9]{1,9}(\.[0-9]{1,18})?"
_ONE_COLON = r"[0-9]{1,6}:[0-5][0-9](\.[0-9]{1,18})?"
_TWO_COLONS = r"[0-9]{1,4}:[0-5][0-9]:[0-5][0-9]\.[0-9]{1,18}"
PATTERN = f"^({_SECONDS}|{_ONE_COLON}|{_TWO_COLONS})$"
"""Pattern of a written time, for the JSON Schema and for parsing."""
_TIME = re.compile(PATTERN.removesuffix("$") + r"\Z")
LONGEST = 1e9
"""s that no time reaches"""
LONGEST_TEXT = 64
"""Characters of a written time; the longest form has 36."""
_FORMS = 'write seconds (62.5), "m:ss.fff" or "h:mm:ss.fff"'


def read_time(written: str | float | Fraction) -> Fraction:
    """Read a time as exact seconds: `read_time("4:31.480")` is Fraction("271.48").

    A float counts as its shortest decimal representation. Raises ValueError with one sentence.
    """
    if isinstance(written, bool):
        raise ValueError(f"{written} is not a time; {_FORMS}")  # noqa: TRY004 - pydantic words only ValueError
    if isinstance(written, Fraction):
        if written < 0:
            raise ValueError(f'"{shown(str(written))}" is before the beginning; a time cannot be negative')
        return written
    if isinstance(written, float) and 0.0 <= written < LONGEST:
        return Fraction(repr(float(written)))  # of any number of places, as 1e-05 is
    text = _text(written)
    if _TIME.match(text) is None:
        raise ValueError(_why_not(text))
    seconds = Fraction(0)
    for part in text.split(":"):
        seconds = seconds * 60 + Fraction(part)
    return seconds


def _text(written: str | float) -> str:
    """Return a written time without surrounding blanks; raises ValueError where it is longer than any time."""
    if isinstance(written, int) and abs(written) >= LONGEST:
        raise ValueError(f"a time of more than {LONGEST:.0f} s is too long; {_FORMS}")
    text = str(written)
    if len(text) > LONGEST_TEXT:
        raise ValueError(f'"{shown(text)}" is not a time, and {len(text)} characters long; {_FORMS}')
    return text.strip()


def _why_not(text: str) -> str:
    """Return a sentence about why a text is not a time."""
    quoted = f'"{shown(text)}"'
    if re.match(r"-\s*[0-9.]", text):
        return f"{quoted} is before the beginning; a time cannot be negative"
    if re.match(r"[0-9]+:[0-9]{1,2}:[0-9]{1,2}\Z", text):
        return (
            f"{quoted} could be hours, minutes and seconds or, as in a CUE sheet, minutes, seconds and frames; "
            "write h:mm:ss.fff with the fraction, or m:ss"
        )
    if re.match(r"[0-9:]+,[0-9]+\Z", text):
        return f"{quoted} has a comma; write the fraction of a second with a point"
    parts = re.match(r"[0-9]+(?::[0-9]+){0,1}:([0-9]+)(?:\.[0-9]*)?\Z", text)
    if parts and (len(parts[1]) != 2 or int(parts[1]) > 59):
        return f"{quoted} is not a time; seconds after a colon have two digits and stay below 60"
    return f"{quoted} is not a time; {_FORMS}"


def write_time(seconds: Fraction) -> str:
    """Write exact seconds as m:ss.fff, with more places where the time has them, at most 18."""
    minutes, rest = divmod(seconds, 60)
    scaled = round(rest * 10**18)
    if scaled == 60 * 10**18:  # rounded up to a whole minute
        minutes, scaled = minutes + 1, 0
    whole, part = divmod(scaled, 10**18)
    return f"{minutes}:{whole:02d}.{f'{part:018d}'.rstrip('0'):0<3}"


def to_seconds_float(seconds: Fraction) -> float:
    """Return exact seconds as the nearest float."""
    return float(seconds)
