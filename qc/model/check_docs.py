"""What a check says of itself, as plain texts: for formats that explain, which never meet the check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ForClient:
    """A check's findings in the words of a letter to who sent the music: no term of the trade without its meaning."""

    name: str
    """what it is called, as a heading: "Very sharp S sounds or cymbals" """
    means: str
    """what it does to the record, and to who listens to it"""
    asks: str
    """what is asked for; it may leave the choice open"""
    warns: bool = True
    """whether a mere warning is worth a letter: there is something that the client can do about it"""


@dataclass(frozen=True, slots=True)
class CheckWords:
    """All texts of one check."""

    id: str
    title: str
    why: str
    how: str
    remedy: str
    blind_to: str = ""
    client: ForClient | None = None

    @classmethod
    def of(cls, check: Any) -> CheckWords:
        """Take the texts of a check, or of its class."""
        return cls(check.id, check.title, check.why, check.how, check.remedy, check.blind_to, check.client)
