"""The texts of a check, apart from its code: formats print them without importing a check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class ForClient:
    """Texts of a check for the letter to the client; every term of the trade is explained."""

    name: str
    """heading of the finding: "Very sharp S sounds or cymbals" """
    means: str
    """effect on the record and on the listener"""
    asks: str
    """request to the client; it may leave the choice open"""
    warns: bool = True
    """whether warnings go into the letter too: true where the client can do something about them"""


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
        """Copy the texts of a check or of a check class."""
        return cls(check.id, check.title, check.why, check.how, check.remedy, check.blind_to, check.client)
