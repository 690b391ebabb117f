"""The view of a place of `sidegate where` as a picture in a file: the turn there and its neighbours, from above."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.model.errors import UsageError
from qc.report.figures import png
from qc.report.figures.named import SCALE
from qc.report.html.microscope import above
from qc.report.registry import formats
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from qc.model.where import WhereFound


def where_svg(found: WhereFound, **_layout: object) -> bytes:
    """Return the view as SVG; raises UsageError where there is none."""
    return _svg(found).encode("utf-8", "replace")


def where_png(found: WhereFound, **_layout: object) -> bytes:
    """Return the view as PNG; raises UsageError where there is none, or where what draws it is not installed."""
    if not png.available():
        raise UsageError(f"--out png: no PNG can be drawn; {formats('where')['png'].install}, or write an svg")
    return png.png(_svg(found), SCALE)


def _svg(found: WhereFound) -> str:
    report = found.report
    if found.view is None:
        raise UsageError(f"where: the groove there cannot be drawn: {report.no_view}")
    return above("place", found.view).framed(f"{shown(report.title, 44)}, side {shown(report.side)}")
