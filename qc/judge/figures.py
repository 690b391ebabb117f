"""Collect the data of a side's pictures after judging, only for formats that draw."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from qc.audio.excerpts import Excerpts
from qc.audio.spectrum import spectrum
from qc.groove.figures.curves import along
from qc.groove.figures.views import views
from qc.groove.level.outside import Outside
from qc.groove.level.side_at_level import AsCut, WorkedSide
from qc.groove.signal.programme import LOUDNESS
from qc.groove.signal.sector_envelopes import Sectors
from qc.judge.context import SideEvidence
from qc.judge.curves import curves_of
from qc.judge.findings import MeasuredFinding
from qc.model.plan import FormatRow
from qc.plan.discs import DiscToPlan, fitted, format_rows
from qc.plugin_base import At, CheckResult, Evidence, Need, View
from qc.plugin_host.runner import Runner

MOST_VIEWS = 12
"""Most groove views of a side, at its most severe findings."""


def draw(
    judged: SideEvidence, look: Excerpts | None, results: Sequence[CheckResult], discs: Sequence[DiscToPlan],
    before: Evidence, runner: Runner, outside: Outside,
) -> tuple[Evidence, dict[type[Need[Any]], str]]:  # fmt: skip
    """Return the evidence with the pictures of one side and its result on each of some discs.

    The seconds that the remedies left of the second look are used for the views, then for the spectrum. The second
    value maps each need whose curves failed to the reason.
    """
    side, worked = judged.side, judged.results.get(AsCut)
    seen: tuple[View, ...] = ()
    if worked is not None and look is not None:
        seen = views(look, look.stream, worked, _places(results), MOST_VIEWS)
    measured = None if look is None else spectrum(look)
    traces = {} if worked is None else along(worked)
    curves, broken = curves_of(judged, traces, runner)
    evidence = Evidence(
        traces={**before.traces, side: traces},
        curves={**before.curves, side: curves},
        views={**before.views, side: seen},
        formats={**before.formats, side: () if worked is None else _on_discs(judged, worked, discs, outside)},
        spectra=before.spectra if measured is None else {**before.spectra, side: measured},
    )
    return evidence, broken


def _on_discs(
    judged: SideEvidence, worked: WorkedSide, discs: Sequence[DiscToPlan], outside: Outside
) -> tuple[FormatRow, ...]:
    """Compare the discs; envelopes exist wherever the groove was computed."""
    loudness = judged.quantities.get(LOUDNESS)
    fits = fitted(worked.search.side.span, judged.results[Sectors], discs, loudness, outside)
    return format_rows(discs, fits)


def _places(results: Sequence[CheckResult]) -> list[tuple[str, str, At]]:
    """Return fingerprint, measurement and place of every finding with a place, the most severe first."""
    found = [MeasuredFinding(finding, finding.measure) for result in results for finding in result.findings]
    found.sort(key=lambda entry: (entry.finding.waived_by is not None, entry.gravity))
    return [
        (entry.finding.fingerprint, entry.measure, measured.at)
        for entry in found
        if not isinstance(measured := entry.finding.measured, str) and measured.at is not None
    ]
