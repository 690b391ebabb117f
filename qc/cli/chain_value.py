"""`sidegate explain` of a value of the chain: what it is, what the ruleset has, and what it may be changed to."""

from __future__ import annotations

from qc.report.page import Page
from qc.rulebook.words import HEARD, may_be
from qc.ruleset.load import Ruleset
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.sources import keys_of

LABEL = 12


def tell(page: Page, key: str, ruleset: Ruleset) -> tuple[str, ...]:
    """Write about one value of the chain; gives the keys of its sources, for whoever tells those."""
    section, _, name = key.partition(".")
    row = ruleset.chain_rows[section][name]
    page.say(f"{key}, a value of the chain", body="bold")
    page.blank()
    own = f"{row['value']} in {ruleset.name}@{ruleset.version}, source {row['source']}"
    rows = [("is", MEANINGS[key]), ("value", own), ("may be", may_be(key))]
    rows += [("acts on", HEARD)] if section == "signal" else []
    rows += [("for one run", f"--chain {key}={row['value'].replace(' ', '')} with check or plan; the report says so")]
    for label, words in rows:
        page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)
    return keys_of(row["source"])
