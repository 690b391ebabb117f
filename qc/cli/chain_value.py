"""`sidegate explain` of a value of the chain: what it is, what the ruleset has, and what it may be changed to."""

from __future__ import annotations

from qc.report.page import Page
from qc.ruleset.load import Ruleset
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.model import ChainEntry
from qc.ruleset.written import Between, OneOf

LABEL = 12
HEARD = "The audio is heard through it, so that a change takes another pass."


def tell(page: Page, key: str, ruleset: Ruleset) -> tuple[str, ...]:
    """Write about one value of the chain; gives the keys of its sources, for whoever tells those."""
    section, _, name = key.partition(".")
    row = ruleset.chain_rows[section][name]
    page.say(f"{key}, a value of the chain", body="bold")
    page.blank()
    own = f"{row['value']} in {ruleset.name}@{ruleset.version}, source {row['source']}"
    rows = [("is", MEANINGS[key]), ("value", own), ("may be", _range(section, name))]
    rows += [("acts on", HEARD)] if section == "signal" else []
    rows += [("for one run", f"--chain {key}={row['value'].replace(' ', '')} with check or plan; the report says so")]
    for label, words in rows:
        page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)
    return tuple(part.strip() for part in row["source"].split(";"))


def _range(section: str, name: str) -> str:
    part = ChainEntry.model_fields[section].annotation
    metadata = getattr(part, "model_fields", {})[name].metadata
    for one in metadata:
        if isinstance(one, Between):
            return f"{one.low:g} {'below' if one.below else 'to'} {one.high:g} {one.unit}: {one.why}"
        if isinstance(one, OneOf):
            return ", ".join(one.words)
    raise KeyError(f"{section}.{name}")
