"""Judge the clean set and count what the checks say about it, beside this file.

    PYTHONPATH=tests python -m published.make_clean FOLDER [--check ID]

FOLDER is what `support/clean_set.py` built. Each side is judged by the newest ruleset at its cut level of -20 dB.
`clean.json` has the findings by check; `README.md` is written from it. With --check nothing is written, and every
finding of that check is printed. Takes about a minute.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from pathlib import Path
from typing import Any

from published.faults_page import write_page
from qc import api
from qc.model.quantity import clock
from support.clean_set import sides
from support.planted_faults import CLEAN


def judged(folder: Path, check: str = "") -> dict[str, Any]:
    """Judge every side of the set; print the findings of one check, or of all where it is empty."""
    host = api.build_host()
    found: dict[str, dict[str, int]] = defaultdict(lambda: {"fail": 0, "warn": 0})
    hours, apart, errors = 0.0, {}, []
    for side in sides():
        place = folder / ("apart" if side.finds else "clean") / side.name
        report = api.check(place, api.Options(), host)
        errors += [f"{side.name}: {result.check}" for result in report.results if result.outcome == "error"]
        spoken = [finding for result in report.results for finding in result.findings]
        for finding in spoken:
            if check in ("", finding.check) and not finding.check.startswith("groove."):
                second = finding.location.start_s
                print(f"{side.name} {'' if second is None else clock(second)} {finding.severity} {finding.message}")
        if side.finds:
            names = [name for name in sorted({finding.check for finding in spoken}) if not name.startswith("groove.")]
            apart[side.name] = {"true": side.finds, "found": names}
            continue
        hours += report.sides[0].measurements["audio.duration"].value / 3600.0
        for finding in spoken:
            found[finding.check][str(finding.severity)] += 1
    return {"hours": round(hours, 3), "findings": dict(sorted(found.items())), "apart": apart, "errors": errors}


def main() -> None:
    """Judge the set, and write the numbers and the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("folder", type=Path)
    words.add_argument("--check", default="", metavar="ID", help="print the findings of this check, and write nothing")
    given = words.parse_args()
    numbers = judged(given.folder, given.check)
    if not given.check:
        CLEAN.write_text(json.dumps(numbers, indent=1) + "\n", encoding="utf-8")
        write_page()


if __name__ == "__main__":
    main()
