"""Write README.md beside this file from what was found in faults and in the clean set."""

from __future__ import annotations

from pathlib import Path

from qc.api import build_host
from qc.ruleset.choose import for_disc
from qc.ruleset.library import Shelf
from support.planted_faults import read_clean, read_found

PAGE = Path(__file__).with_name("README.md")
HEAD = """\
# From which strength faults are found

Made by `make_faults.py` and `make_clean.py`; no number here is typed in. Each fault is planted once in each of several
pieces, those of the clean set (`tests/support/clean_set.py`) and real music, at ten strengths, and judged by the newest
ruleset at a cut level of -20 dB. `faults.json` and `clean.json` have the numbers, and each check says its own under
"From which strength it is found" in its page of the rulebook. How to run the two is in their first lines; a fault is a
function in a module of `planted/`, listed there under `FAULTS`.

## Planted faults

*Half* and *all* are the strengths from which on half and all of the planted faults are found by this check, at their
place. *Others* are checks that had a finding more because of the fault, and in how many of the tries, those of the
groove aside.
"""
CLEAN_HEAD = """\
## The clean set

{hours:.2f} hours of lossless music, loops and speech, in which nothing is wrong. Findings an hour of every check, those
of the groove aside, since every side is cut at -20 dB:
"""
APART = """\
Sides that lie apart, since one check speaks truly about them:
"""


def checks_of_the_programme() -> list[str]:
    """Return the checks that the newest ruleset of a 12-inch disc names, those of the groove aside."""
    host = build_host()
    names = for_disc("12in-33", host, Shelf.of(host)).limits
    return sorted(name for name in names if not name.startswith("groove."))


def page() -> str:
    """Write the page as a text."""
    lines = [HEAD, "| check | fault | half | all | of pieces | others |", "|---|---|---|---|---|---|"]
    for fault in read_found().values():
        others = ", ".join(f"`{name}` {count}" for name, count in fault.others.items()) or "-"
        lines.append(f"| `{fault.check}` | {fault.name} | {fault.half} | {fault.every} | {fault.pieces} | {others} |")
    clean = read_clean()
    if clean:
        lines += ["", CLEAN_HEAD.format(hours=clean["hours"]), "| check | fail | warn |", "|---|---|---|"]
        for name in checks_of_the_programme():
            counts = clean["findings"].get(name, {"fail": 0, "warn": 0})
            lines.append(
                f"| `{name}` | {counts['fail'] / clean['hours']:.1f} | {counts['warn'] / clean['hours']:.1f} |"
            )
        lines += ["", APART, "| side | true | found |", "|---|---|---|"]
        for name, row in clean["apart"].items():
            found = ", ".join(f"`{check}`" for check in row["found"]) or "-"
            lines.append(f"| {name} | `{row['true']}` | {found} |")
    return "\n".join(lines) + "\n"


def write_page() -> None:
    """Write README.md."""
    PAGE.write_text(page(), encoding="utf-8")
