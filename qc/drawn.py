"""What pictures of a side are drawn from: gathered once it is judged, and only where a format draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.audio.spectrum import spectrum
from qc.contract import At, CheckResult, Curve, Evidence, Spectrum, View
from qc.errors import FAULTS
from qc.groove.along import along
from qc.groove.views import views
from qc.groove.worked import AsCut
from qc.measuring import MeasuredSide
from qc.report.findings import Found

MOST_VIEWS = 12
"""Places of a side that are looked at under the microscope, the gravest."""


@dataclass(frozen=True, eq=False)
class DrawnSide:
    """What one side has to be drawn from."""

    traces: Mapping[str, NDArray[np.float64]]
    curves: Mapping[str, Curve]
    views: tuple[View, ...]
    spectrum: Spectrum | None


def draw(measured: MeasuredSide, results: Sequence[CheckResult]) -> DrawnSide:
    """Gather what a side is drawn from; what the remedies left of the second look goes to views, then the spectrum."""
    worked, look = measured.evidence.results.get(AsCut), measured.excerpts
    return DrawnSide(
        traces={} if worked is None else along(worked),
        curves=_curves(measured),
        views=() if worked is None or look is None else views(look, look.stream, worked, _places(results), MOST_VIEWS),
        spectrum=None if look is None else spectrum(look),
    )


def evidence_of(sides: Mapping[str, DrawnSide]) -> Evidence:
    """Put what was gathered, side -> it, into the form that formats are given."""
    return Evidence(
        traces={side: one.traces for side, one in sides.items()},
        curves={side: one.curves for side, one in sides.items()},
        views={side: one.views for side, one in sides.items()},
        spectra={side: one.spectrum for side, one in sides.items() if one.spectrum is not None},
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
