"""All pictures of a report as files, for a mail, a job sheet or a screen without the page."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from qc.plugin_base import Evidence, FolderRenderer, Report
from qc.report.figures import png as pictures_png
from qc.report.registry import formats
from qc.report.views.stored_sides import measured_earlier_lines
from qc.text.sanitize import shown

INDEX = "pictures.json"
MOST_OF_TITLE = 44
"""Characters of a title above each picture; the side follows."""
ONLY_SVG = f"pictures: only SVG were written; for PNG too, {formats()['pictures'].install}"


class Pictures(FolderRenderer):
    """Writes each picture of each side as SVG, and as PNG where the extra is installed; with an index."""

    name = "pictures"
    draws = True

    def __init__(self) -> None:
        self.png = pictures_png.available()
        self.remark = "" if self.png else ONLY_SVG

    def fill(self, report: Report, evidence: Evidence, folder: Path) -> None:
        """Write the pictures one by one, then the index, which lists the findings of each."""
        from qc.report.figures.named import pictures  # imports numpy, which other formats do not need

        subject = shown(f"{report.delivery.catalogue} {report.delivery.title}".strip(), MOST_OF_TITLE)
        rows: list[dict[str, Any]] = []
        for picture in pictures(report, evidence):
            files = [f"{picture.name}.svg"]
            svg = picture.figure.framed(f"{subject}, side {shown(picture.side)}")
            (folder / files[0]).write_bytes(svg.encode("utf-8", "replace"))
            if self.png:
                files.append(f"{picture.name}.png")
                (folder / files[1]).write_bytes(pictures_png.png(svg, picture.scale))
            rows.append({"files": files, **picture.facts})
        facts: dict[str, Any] = {
            "delivery": report.delivery.title,
            "delivery_sha256": report.delivery.sha256,
            "ruleset": f"{report.ruleset.name}@{report.ruleset.version}",
            "pictures": rows,
        }
        if earlier := list(measured_earlier_lines(report.run)):
            facts["measured_earlier"] = earlier
        (folder / INDEX).write_bytes(json.dumps(facts, indent=2, allow_nan=False).encode("ascii") + b"\n")
