"""What pictures of a side are drawn from: gathered once it is judged, and only where a format draws."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from qc.audio.excerpts import Excerpts
from qc.audio.spectrum import spectrum
from qc.groove.figures.curves import along
from qc.groove.figures.views import views
from qc.groove.level.side_at_level import AsCut, WorkedSide
from qc.groove.signal.programme import LOUDNESS
from qc.groove.signal.sector_envelopes import Sectors
from qc.judge.context import SideEvidence
from qc.judge.findings import MeasuredFinding
from qc.model.cutting_chain import Chain
from qc.model.plan import FormatRow
from qc.plan.discs import DiscToPlan, fitted, format_rows
from qc.plugin_api import At, CheckResult, Curve, Evidence, Need, View
from qc.plugin_host.runner import Runner

MOST_VIEWS = 12
"""Places of a side that are looked at under the microscope, the gravest."""


def draw(
    known: SideEvidence, look: Excerpts | None, results: Sequence[CheckResult], discs: Sequence[DiscToPlan],
    before: Evidence, runner: Runner,
) -> tuple[Evidence, dict[type[Need[Any]], str]]:  # fmt: skip
    """Add to the evidence what one side is drawn from, and what each of some discs would make of it.

    What the remedies left of the second look goes to the views, then to the spectrum. With it comes which needs could
    not be followed along the side, and why.
    """
    side, worked = known.side, known.results.get(AsCut)
    seen: tuple[View, ...] = ()
    if worked is not None and look is not None:
        seen = views(look, look.stream, worked, _places(results), MOST_VIEWS)
    heard = None if look is None else spectrum(look)
    curves, broken = _curves(known, runner)
    evidence = Evidence(
        traces={**before.traces, side: {} if worked is None else along(worked)},
        curves={**before.curves, side: curves},
        views={**before.views, side: seen},
        formats={**before.formats, side: () if worked is None else _on_discs(known, worked, discs)},
        spectra=before.spectra if heard is None else {**before.spectra, side: heard},
    )
    return evidence, broken


def _on_discs(known: SideEvidence, worked: WorkedSide, discs: Sequence[DiscToPlan]) -> tuple[FormatRow, ...]:
    """Compare the discs; there are envelopes wherever the groove was computed."""
    fits = fitted(worked.search.side.span, known.results[Sectors], discs, known.quantities.get(LOUDNESS))
    return format_rows(discs, fits)


def _curves(known: SideEvidence, runner: Runner) -> tuple[dict[str, Curve], dict[type[Need[Any]], str]]:
    """Collect what needs follow along the side, and why one could not; what is judged does not hang on it."""
    calls = {kind: partial(_followed, kind, known.chain, result) for kind, result in known.results.items()}
    curves, broken = runner.each(calls)
    return {name: curve for of_need in curves.values() for name, curve in of_need.items()}, broken


def _followed(kind: type[Need[Any]], chain: Chain, result: object) -> dict[str, Curve]:
    return dict(kind.of(chain).curves(result))


def _places(results: Sequence[CheckResult]) -> list[tuple[str, str, At]]:
    """Give fingerprint, measurement and sector of every finding that lies somewhere, the gravest first."""
    found = [MeasuredFinding(finding, finding.measure) for result in results for finding in result.findings]
    found.sort(key=lambda one: (one.finding.waived_by is not None, one.gravity))
    return [
        (one.finding.fingerprint, one.measure, measured.at)
        for one in found
        if not isinstance(measured := one.finding.measured, str) and measured.at is not None
    ]
