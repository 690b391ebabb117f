"""The table that `sidegate listen` prints."""

from __future__ import annotations

from qc.groove.playback.residual import BANDS
from qc.model.listen import ListenReport, PlayedPassage
from qc.model.quantity import clock
from qc.text.table import text_columns

HEAD = ("file", "level", "radius", "tip", *BANDS, "top loss")


def listen_table(report: ListenReport) -> str:
    """Return the table of what was written, with a sentence above it and what its numbers are below."""
    first = report.renderings[0]
    head = (*HEAD, "imperfections") if first.imperfections else HEAD
    lines = text_columns([head, *(_row(row) for row in report.renderings)])
    return (
        f"side {first.side}, {clock(first.start_s)} to {clock(first.end_s)}, as the disc will play it "
        f"({report.ruleset}); master and playbacks equally loud\n{lines}"
        "Bands: what playback adds, in dB over the programme there (-20 dB is a tenth of it). Top loss: 10 to 15 kHz.\n"
        f"{_imperfections(first)}"
    )


def _row(row: PlayedPassage) -> tuple[str, ...]:
    residuals = (_db(row.residual_db[name]) for name in BANDS)  # type: ignore[index]
    loss = _db(row.top_loss_db)
    cells = (row.file, _db(row.level_db, sign="+"), f"{row.radius_mm:.1f} mm", row.tip, *residuals, loss)
    return (*cells, ", ".join(map(str, row.imperfections))) if row.imperfections else cells


def _imperfections(row: PlayedPassage) -> str:
    """Return the sentence about the imperfections of all rows; empty without any."""
    if not row.imperfections:
        return ""
    sources = ", ".join(f"{imperfection.name} ({imperfection.source})" for imperfection in row.imperfections)
    return (
        f"Imperfections and their sources: {sources}. They are part of the bands, but for an off-centre hole: the "
        "master that is compared swings alike.\n"
    )


def _db(value: float | None, sign: str = "") -> str:
    if value is None:
        return "-"
    text = f"{value:{sign}.1f}"
    return ("0.0" if float(text) == 0.0 else text) + " dB"
