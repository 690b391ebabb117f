"""What pictures of a side are drawn from: gathered once it is judged, and only where a format draws."""

from __future__ import annotations

from collections.abc import Sequence

from qc.audio.spectrum import spectrum
from qc.contract import At, CheckResult, Curve, Evidence, View
from qc.errors import FAULTS
from qc.groove.along import along
from qc.groove.sectors import Sectors
from qc.groove.views import views
from qc.groove.worked import AsCut, WorkedSide
from qc.measuring import MeasuredSide
from qc.planning import LOUDNESS, Disc, fitted, format_rows
from qc.report.findings import Found
from qc.report.plan import FormatRow

MOST_VIEWS = 12
"""Places of a side that are looked at under the microscope, the gravest."""


def draw(
    measured: MeasuredSide, results: Sequence[CheckResult], discs: Sequence[Disc], before: Evidence
) -> Evidence:  # fmt: skip
    """Add to the evidence what one side is drawn from, and what each of some discs would make of it.

    What the remedies left of the second look goes to the views, then to the spectrum.
    """
    side, worked, look = measured.report.id, measured.evidence.results.get(AsCut), measured.excerpts
    seen: tuple[View, ...] = ()
    if worked is not None and look is not None:
        seen = views(look, look.stream, worked, _places(results), MOST_VIEWS)
    heard = None if look is None else spectrum(look)
    return Evidence(
        traces={**before.traces, side: {} if worked is None else along(worked)},
        curves={**before.curves, side: _curves(measured)},
        views={**before.views, side: seen},
        formats={**before.formats, side: () if worked is None else _on_discs(measured, worked, discs)},
        spectra=before.spectra if heard is None else {**before.spectra, side: heard},
    )


def _on_discs(measured: MeasuredSide, worked: WorkedSide, discs: Sequence[Disc]) -> tuple[FormatRow, ...]:
    """Compare the discs; there are envelopes wherever a side was worked out."""
    known = measured.evidence
    fits = fitted(worked.search.side.span, known.results[Sectors], discs, known.quantities.get(LOUDNESS))
    return format_rows(discs, fits)


def _curves(measured: MeasuredSide) -> dict[str, Curve]:
    """Collect what needs follow along the side; a plugin that cannot is left out: it judges nothing."""
    found: dict[str, Curve] = {}
    for kind, result in measured.evidence.results.items():
        try:
            found |= kind.of(measured.evidence.chain).curves(result)
        except FAULTS:
            continue
    return found


def _places(results: Sequence[CheckResult]) -> list[tuple[str, str, At]]:
    """Give fingerprint, measurement and sector of every finding that lies somewhere, the gravest first."""
    found = [Found(finding, finding.measure) for result in results for finding in result.findings]
    found.sort(key=lambda one: (one.finding.waived_by is not None, one.gravity))
    return [
        (one.finding.fingerprint, one.measure, measured.at)
        for one in found
        if not isinstance(measured := one.finding.measured, str) and measured.at is not None
    ]
