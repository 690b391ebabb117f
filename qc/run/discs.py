"""Discs to compare a side on, with their chains and limits."""

from __future__ import annotations

from collections.abc import Sequence

from qc.judge.bind import Bound
from qc.judge.prepare import bound_ruleset
from qc.model.discs import disc_name
from qc.plan.discs import DiscToPlan
from qc.plan.formats import Format
from qc.plugin_host.host import Host
from qc.ruleset.choose import others
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset
from qc.ruleset.overrides import Change


def discs_to_plan(
    ruleset: Ruleset, bound: Bound, changes: Sequence[Change], host: Host, shelf: Shelf
) -> list[DiscToPlan]:  # fmt: skip
    """Return every disc with its chain and limits, the ruleset's own first."""
    own = DiscToPlan(disc_name(*ruleset.serves), ruleset.full_name, _format(ruleset, bound), planned=True)
    return [
        own,
        *(
            DiscToPlan(name, other.full_name, _format(other, bound_ruleset(other, host)))
            if isinstance(other, Ruleset)
            else DiscToPlan(name, reason=str(other))
            for name, other in others(ruleset, changes, host, shelf)
        ),
    ]


def _format(ruleset: Ruleset, bound: Bound) -> Format:
    return Format(ruleset.chain, bound.rows, bound.policy, bound.tips)
