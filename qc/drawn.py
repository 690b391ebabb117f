"""What pictures of a side are drawn from: gathered once it is judged, and only where a format draws."""

from __future__ import annotations

from collections.abc import Sequence

from qc.audio.spectrum import spectrum
from qc.contract import At, CheckResult, Curve, Evidence, View
from qc.errors import FAULTS
from qc.groove.along import along
from qc.groove.views import views
from qc.groove.worked import AsCut
from qc.measuring import MeasuredSide
from qc.report.findings import Found

MOST_VIEWS = 12
"""Places of a side that are looked at under the microscope, the gravest."""


def draw(measured: MeasuredSide, results: Sequence[CheckResult], before: Evidence) -> Evidence:
    """Add to the evidence what one side is drawn from.

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
        spectra=before.spectra if heard is None else {**before.spectra, side: heard},
    )


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
