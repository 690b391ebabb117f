"""All pictures of one side, and the data that the page's script works with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from qc.model.quantity import clock
from qc.plugin_api import Evidence, Report, View
from qc.report.html import face, microscope, spectrum, timelines
from qc.report.html.bars import bars
from qc.report.html.panels import panels
from qc.report.html.svg import Figure
from qc.report.html.told import FindingView


@dataclass(frozen=True)
class PlaceFigures:
    """One place under the microscope: from above, in cross-section, and what was found there."""

    above: Figure
    section: Figure
    found: tuple[FindingView, ...]
    says: str


@dataclass(frozen=True)
class Drawn:
    """The pictures of a side; None where there is nothing to draw."""

    face: Figure | None = None
    timelines: Figure | None = None
    places: tuple[PlaceFigures, ...] = ()
    left_out: int = 0
    """findings of the groove that have a place and are not shown"""
    budget: Figure | None = None
    spectrum: Figure | None = None
    data: dict[str, Any] = field(default_factory=dict)

    @property
    def figures(self) -> Iterator[Figure]:
        """Every picture, in the order of the page."""
        for one in (self.face, self.timelines):
            if one is not None:
                yield one
        for place in self.places:
            yield place.above
            yield place.section
        for one in (self.budget, self.spectrum):
            if one is not None:
                yield one


def drawn(report: Report, number: int, evidence: Evidence, every: Sequence[FindingView]) -> Drawn:
    """Draw a side; `number` counts from 1."""
    side = report.sides[number - 1]
    own = [one for one in every if one.side == side.id]
    traces, name = evidence.traces.get(side.id, {}), f"side-{number}"
    heard = evidence.spectra.get(side.id)
    seen = evidence.views.get(side.id, ())
    tones = None if heard is None else spectrum.spectrum(f"{name}-spectrum", side.id, heard)
    if side.geometry is None or not traces:
        return Drawn(budget=bars(f"{name}-budget", side), spectrum=tones)
    found = panels(report, traces, evidence.curves.get(side.id, {}), side.geometry.span_start_s)
    return Drawn(
        face=face.face(f"{name}-face", report, side, traces, own),
        timelines=timelines.timelines(f"{name}-timelines", side, found, own),
        places=tuple(_place(f"{name}-place-{index}", view, own) for index, view in enumerate(seen, start=1)),
        left_out=_left_out(own, seen),
        budget=bars(f"{name}-budget", side),
        spectrum=tones,
        data={"id": side.id, "face": face.data(side, traces), **timelines.data(side, found, own)},
    )


def _place(name: str, view: View, own: Sequence[FindingView]) -> PlaceFigures:
    found = tuple(one for one in own if one.found.finding.fingerprint in view.findings)
    narrow = 1e6 * float(view.middle.width[view.narrowest])
    width = f"narrowest {narrow:.1f} um" if narrow > 0.0 else "the cutter leaves the disc"
    at = f"{clock(view.start_s + view.worst / view.rate)}, radius {1e3 * view.radius:.1f} mm"
    says = f"{at}, {view.polarity} polarity; {width}"
    return PlaceFigures(
        microscope.above(f"{name}-above", view), microscope.section(f"{name}-section", view), found, says
    )


def _left_out(own: Sequence[FindingView], seen: Sequence[View]) -> int:
    from qc.groove.figures.views import WORST_AT

    shown = {fingerprint for view in seen for fingerprint in view.findings}
    return sum(one.found.measure in WORST_AT and one.found.finding.fingerprint not in shown for one in own)
