"""Changes of the chain for one run, in words."""

from __future__ import annotations

from collections.abc import Iterator

from qc.model.report import RulesetFacts
from qc.text.sanitize import shown


def change_lines(ruleset: RulesetFacts) -> Iterator[str]:
    """Yield a line when the command line changed the chain: "chain changed for this run: cut.land 10 um (...)"."""
    changes = [
        f"{section}.{name} {shown(row['value'])} (ruleset: {shown(row['was'])})"
        for section, part in ruleset.chain.items()
        for name, row in part.items()
        if "was" in row
    ]
    if changes:
        yield f"chain changed for this run: {', '.join(changes)}"
