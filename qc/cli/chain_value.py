"""`sidegate explain` for a value of the chain: its meaning, its value in the ruleset, and its allowed values."""

from __future__ import annotations

from qc.model.cutting_chain import TIP_RADIUS
from qc.rulebook.words import FILTERED, may_be
from qc.ruleset.level import UNSTATED, stated
from qc.ruleset.load import Ruleset
from qc.ruleset.meanings import MEANINGS, OF_LEVEL
from qc.ruleset.sources import keys_of
from qc.text.page import Page

LABEL = 12


def write_value(page: Page, key: str, ruleset: Ruleset) -> tuple[str, ...]:
    """Describe a value of the chain; return the keys of its sources."""
    section, _, name = key.partition(".")
    row = ruleset.chain_rows[section][name]
    page.say(f"{key}, a value of the chain", body="bold")
    page.blank()
    own = f"{row['value']} in {ruleset.name}@{ruleset.version}, source {row['source']}"
    rows = [("is", MEANINGS[key]), ("value", own), ("may be", may_be(key))]
    rows += [("acts on", FILTERED)] if section == "signal" else []
    rows += [("for one run", f"--chain {key}={row['value'].replace(' ', '')} with check or plan; the report says so")]
    tips = ruleset.tip_rows if key == TIP_RADIUS else {}
    rows += [("or by name", ", ".join(f"{tip} ({entry['value']})" for tip, entry in tips.items()))] if tips else []
    for label, words in rows:
        page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)
    return tuple(dict.fromkeys(source for entry in (row, *tips.values()) for source in keys_of(entry["source"])))


def write_policy(page: Page, key: str, ruleset: Ruleset) -> tuple[str, ...]:
    """Describe a value of the policy for the recommended level; return the keys of its sources."""
    row = stated(ruleset.level_rows)[key.partition(".")[2]]
    page.say(f"{key}, of the policy for the recommended level", body="bold")
    page.blank()
    own = f"{row['value']} in {ruleset.name}@{ruleset.version}, source {row['source']}"
    may = "edge or margin" if key == "level.policy" else "0 to 20 dB"
    rows = (("is", OF_LEVEL[key]), ("value", own), ("may be", may), ("decides", "groove.recommended_level"))
    for label, words in rows:
        page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)
    return () if row["source"] == UNSTATED else keys_of(row["source"])
