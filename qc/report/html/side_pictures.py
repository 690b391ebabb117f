"""All pictures of a side, and the data that the page's scripts draw from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from qc.model.quantity import clock
from qc.plugin_base import Evidence, Report, View
from qc.report.html import face, microscope, spectrum, timelines
from qc.report.html.bars import bars
from qc.report.html.finding_views import FindingView
from qc.report.html.panels import panels
from qc.report.html.svg import Figure


@dataclass(frozen=True)
class PlaceFigures:
    """A place of the groove under the microscope: from above, in cross-section, with its findings and a caption."""

    above: Figure
    section: Figure
    findings: tuple[FindingView, ...]
    caption: str


@dataclass(frozen=True)
class SidePictures:
    """The pictures of a side; None where there is nothing to draw."""

    face: Figure | None = None
    timelines: Figure | None = None
    places: tuple[PlaceFigures, ...] = ()
    left_out: int = 0
    """findings of the groove that have a place and no picture of it"""
    budget: Figure | None = None
    spectrum: Figure | None = None
    data: dict[str, Any] = field(default_factory=dict)

    @property
    def figures(self) -> Iterator[Figure]:
        """All pictures, in the order of the page."""
        for figure in (self.face, self.timelines):
            if figure is not None:
                yield figure
        for place in self.places:
            yield place.above
            yield place.section
        for figure in (self.budget, self.spectrum):
            if figure is not None:
                yield figure


def draw_side(report: Report, number: int, evidence: Evidence, findings: Sequence[FindingView]) -> SidePictures:
    """Draw a side; `number` counts from 1."""
    side = report.sides[number - 1]
    own = [finding for finding in findings if finding.side == side.id]
    traces, name = evidence.traces.get(side.id, {}), f"side-{number}"
    measured_spectrum = evidence.spectra.get(side.id)
    views = evidence.views.get(side.id, ())
    tones = None if measured_spectrum is None else spectrum.spectrum(f"{name}-spectrum", side.id, measured_spectrum)
    if side.geometry is None or not traces:
        return SidePictures(budget=bars(f"{name}-budget", side), spectrum=tones)
    drawn_panels = panels(report, traces, evidence.curves.get(side.id, {}), side.geometry.span_start_s)
    return SidePictures(
        face=face.face(f"{name}-face", report, side, traces, own),
        timelines=timelines.timelines(f"{name}-timelines", side, drawn_panels, own),
        places=tuple(_place(f"{name}-place-{index}", view, own) for index, view in enumerate(views, start=1)),
        left_out=_left_out(own, views),
        budget=bars(f"{name}-budget", side),
        spectrum=tones,
        data={"id": side.id, "face": face.data(side, traces), **timelines.data(side, drawn_panels, own)},
    )


def _place(name: str, view: View, side_findings: Sequence[FindingView]) -> PlaceFigures:
    findings = tuple(finding for finding in side_findings if finding.measured.finding.fingerprint in view.findings)
    narrowest_um = 1e6 * float(view.middle.width[view.narrowest])
    width = f"narrowest {narrowest_um:.1f} um" if narrowest_um > 0.0 else "the cutter leaves the disc"
    at = f"{clock(view.start_s + view.worst / view.rate)}, radius {1e3 * view.radius:.1f} mm"
    caption = f"{at}, {view.polarity} polarity; {width}"
    return PlaceFigures(
        microscope.above(f"{name}-above", view), microscope.section(f"{name}-section", view), findings, caption
    )


def _left_out(findings: Sequence[FindingView], views: Sequence[View]) -> int:
    from qc.groove.figures.views import WORST_AT

    shown = {fingerprint for view in views for fingerprint in view.findings}
    return sum(
        finding.measured.measure in WORST_AT and finding.measured.finding.fingerprint not in shown
        for finding in findings
    )
