"""The policy for the recommended level: at the edge of the limits that set it, or a margin below."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import model_validator

from qc.delivery.fields import InputModel
from qc.groove.level.rows import EDGE, LevelPolicy
from qc.model.quantity import read
from qc.ruleset.value_types import Between, OneOf, Sourced
from qc.text.sanitize import misplaced

UNSTATED = "not stated"
"""The source of a value that a ruleset leaves out."""


class LevelEntry(InputModel):
    """The policy for the recommended level; without it that level lies at the edge."""

    policy: Annotated[Sourced, OneOf(("edge", "margin"))] | None = None
    margin: (
        Annotated[Sourced, Between(0.0, 20.0, "dB", "dB", "below the edge, and not so far that nothing is heard")]
        | None
    ) = None

    @model_validator(mode="after")
    def _has_a_margin(self) -> Self:
        if self.policy is not None and self.policy.value == "margin" and self.margin is None:
            raise misplaced('the policy is margin, and no margin is given; add "margin", such as 1 dB', ("policy",))
        return self


def policy_of(entry: LevelEntry | None) -> LevelPolicy:
    """Return the policy as the level search takes it."""
    if entry is None or entry.policy is None or entry.policy.value == "edge":
        return EDGE
    assert entry.margin is not None  # the model asks for it
    return LevelPolicy("margin", read(entry.margin.value, "dB"))


def rows_of(entry: LevelEntry | None) -> dict[str, dict[str, str]]:
    """Return the entries of a policy, name -> {"value": as written, "source": ...}."""
    values = {} if entry is None else {"policy": entry.policy, "margin": entry.margin}
    return {name: value.model_dump() for name, value in values.items() if value is not None}


def policy_in(rows: Mapping[str, Mapping[str, str]]) -> LevelPolicy:
    """Return the policy that a report's rows state."""
    return policy_of(LevelEntry.model_validate(rows))


def stated(rows: Mapping[str, Mapping[str, str]]) -> dict[str, Mapping[str, str]]:
    """Return both entries, with the defaults of those that a ruleset leaves out."""
    absent = {"policy": {"value": "edge", "source": UNSTATED}, "margin": {"value": "none", "source": UNSTATED}}
    return absent | dict(rows)
