"""A measured side at one cut level: its part of the report, and what checks see of it.

Levels are decided disc by disc, so every side of a disc is measured and its levels are searched before any is judged.
What is kept in between are the results of measuring; the arrays of a spiral are computed again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from qc.audio.excerpts import Excerpts
from qc.audio.memory import give_back
from qc.audio.received import AsReceived, Received
from qc.cache.store import Store
from qc.delivery.reader import ReadDelivery
from qc.groove.geometry.span import Span, TrackTimes
from qc.groove.level.events import PlacedEvent
from qc.groove.level.release import JudgedLevel, SideLevels
from qc.groove.level.side_at_level import UNITS, AsCut, WorkedSide
from qc.groove.signal.programme import LOUDNESS, Programme
from qc.groove.signal.sector_envelopes import Sectors
from qc.judge.bind import Bound
from qc.judge.budget_report import print_through
from qc.judge.context import Evidence
from qc.judge.level_memo import Remembered
from qc.judge.side_report import geometry, levels
from qc.measure.side import SideMeasurement
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.model.report import LineupToneFacts, Origin, SideReport
from qc.plugin_api import At, Limit, Need, Quantity


@dataclass(frozen=True)
class MeasuredSide:
    """What is known of a side: for the report, and for the checks."""

    report: SideReport
    evidence: Evidence
    excerpts: Excerpts | None = None
    """what may be read again; None where nothing was measured"""
    origin: Origin | None = None
    """whether this run heard it; None where nothing was measured"""

    def forget(self) -> None:
        """Let go of large arrays that can be worked out or read again."""
        worked = self.evidence.results.get(AsCut)
        if worked is not None:
            worked.search.forget()
        if self.excerpts is not None:
            self.excerpts.forget()
        give_back()


@dataclass(frozen=True)
class SearchedSide:
    """A side that was measured and whose levels were searched; it is judged at none yet."""

    id: str
    chain: Chain
    declared: Mapping[str, Any]
    received: Received
    tracks: tuple[TrackTimes, ...]
    line: int
    quantities: Mapping[str, Quantity]
    """what the file and the needs say; none of the groove"""
    line_of: Callable[[tuple[str | int, ...]], int | None]
    delivery: Mapping[str, Any]
    passes: int = 0
    results: Mapping[type[Need[Any]], Any] = field(default_factory=dict)
    broken: Mapping[type[Need[Any]], str] = field(default_factory=dict)
    publishers: Mapping[str, type[Need[Any]]] = field(default_factory=dict)
    worked: WorkedSide | None = None
    """None where the groove could not be computed"""
    excerpts: Excerpts | None = None
    origin: Origin | None = None
    memory: Remembered | None = None

    @property
    def levels(self) -> SideLevels:
        """What the side brings to the decision about its disc."""
        if self.worked is None:
            return SideLevels(self.id, self.declared.get("cut_level"))
        return self.worked.levels(self.id)

    def forget(self) -> None:
        """Let go of the arrays of the level search."""
        if self.worked is not None:
            self.worked.search.forget()
        give_back()

    def keep(self) -> None:
        """Store what is known of the side at each level."""
        if self.memory is not None:
            self.memory.keep()

    def at(self, decided: JudgedLevel | None) -> MeasuredSide:
        """Give the side at the level that was decided on; None where there is no groove to cut at one."""
        worked = None if self.worked is None or decided is None else self.worked.at(decided)
        evidence = self.evidence(decided, worked)
        report = SideReport(
            id=self.id,
            audio=self.received.facts,
            line=self.line,
            geometry=None if worked is None else geometry(worked),
            measurements=dict(sorted(evidence.quantities.items())),
            levels=None if worked is None else levels(worked),
            print_through=() if worked is None else print_through(worked),
            lineup=_lineup(self.results),
            declared=self.declared,
            passes=self.passes,
        )
        self.keep()
        return MeasuredSide(report, evidence, self.excerpts, self.origin)

    def at_recommended(self, judged: MeasuredSide) -> Callable[[], Evidence] | None:
        """Give how to build the evidence at the recommended level; None unless that lies below the judged level."""
        worked: WorkedSide | None = judged.evidence.results.get(AsCut)
        if worked is None or worked.recommended.bound == "<" or worked.judged <= worked.recommended.level:
            return None
        level = JudgedLevel(worked.recommended.level, "recommended", requested=worked.recommended.level)
        return lambda: self.evidence(level)

    def evidence(self, decided: JudgedLevel | None, worked: WorkedSide | None = None) -> Evidence:
        """Give what checks see of the side at a level."""
        if worked is None and self.worked is not None and decided is not None:
            worked = self.worked.at(decided)
        mono, fatal = self.received.facts.channels == 1, self.received.fatal
        known = Evidence(
            side=self.id,
            chain=self.chain,
            declared=self.declared,
            requested=self.declared.get("cut_level") if decided is None else decided.requested,
            results={AsReceived: self.received, **self.results},
            broken=self.broken,
            quantities=self.quantities,
            publishers=self.publishers,
            missing=f"the audio is at fault: {fatal.message}" if fatal else "",
            line=self.line,
            line_of=self.line_of,
            delivery=self.delivery,
        )
        if worked is None:
            if not self.results and not self.broken:
                return replace(known, place=lambda at: _on_paper(at, self.tracks))
            lost = Sectors if Sectors in self.broken else Programme
            return replace(known, publishers={**self.publishers, **dict.fromkeys(UNITS, lost)})
        quantities = {**self.quantities, **worked.quantities(self.quantities.get(LOUDNESS))}
        return replace(
            known,
            results={AsReceived: self.received, AsCut: worked, **self.results},
            quantities={name: _placed(quantity, worked, mono=mono) for name, quantity in quantities.items()},
            windows=worked.windows(),
            clean_of=_clean_of(worked),
            events=lambda name, limit: _events(worked, name, limit, mono=mono),
            place=worked.place,
        )


def closure(needs: Sequence[type[Need[Any]]], bound: Bound) -> list[type[Need[Any]]]:
    """Return every kind of need once: those that publish, and those that a check asks for."""
    asked = [need for check in bound.checks for need in check.needs]
    return [need for need in dict.fromkeys([*needs, *asked]) if need not in (AsReceived, AsCut)]


def search_levels(
    read: ReadDelivery, index: int, measurement: SideMeasurement, chain: Chain, bound: Bound, store: Store | None
) -> SearchedSide:  # fmt: skip
    """Search the levels of a measured side of a delivery under the limits of a ruleset."""
    side, results = measurement.side, measurement.results
    searched = SearchedSide(
        id=side.id,
        chain=chain,
        declared=side.itself(),
        received=measurement.received,
        tracks=measurement.tracks,
        line=read.line(("sides", index, "audio")),
        quantities=measurement.quantities,
        line_of=lambda loc: read.line(("sides", index, *loc)),
        delivery=read.delivery.itself(),
    )
    if not measurement.passes:
        return searched
    memory, worked = (
        Remembered.of(store, measurement.sound, measurement.needs.get(Sectors), chain, searched.tracks),
        None,
    )
    if Sectors in results and Programme in results:
        worked = WorkedSide.of(
            chain, results[Sectors], results[Programme], searched.tracks, bound.rows, side.cut_level, memory.known,
            bound.policy, measurement.quantities.get(LOUDNESS),
        )  # fmt: skip
    return replace(
        searched,
        passes=measurement.passes,
        results=results,
        broken=measurement.broken,
        publishers=measurement.publishers,
        worked=worked,
        excerpts=measurement.excerpts,
        origin=measurement.origin,
        memory=memory,
    )


def _lineup(results: Mapping[type[Need[Any]], Any]) -> tuple[LineupToneFacts, ...]:
    """Describe the line-up tones that were found."""
    tones = results[Programme].tones if Programme in results else ()
    return tuple(
        LineupToneFacts(start_s=one.start_s, end_s=one.end_s, frequency_hz=one.frequency, level_dbfs=one.level)
        for one in tones
    )


def _on_paper(at: At, tracks: tuple[TrackTimes, ...]) -> At:
    """Fill in the track that a place of audio that is not cut lies in, as the delivery declares it."""
    if at.start_s is None or at.track is not None:
        return at
    sector = int(at.start_s * SECTORS_A_SECOND + 1e-9)
    return at.model_copy(update={"track": Span(0, sector + 1, tracks).track_at(sector)})


def _clean_of(worked: WorkedSide) -> frozenset[tuple[str, str]]:
    """Give check and measurement of the limits whose warnings go at the clean level, where that is a lower one."""
    if worked.judged <= worked.clean.level:
        return frozenset()
    return frozenset((row.check, row.measure) for row in worked.mended)


def _placed(quantity: Quantity, worked: WorkedSide, *, mono: bool) -> Quantity:
    """Fill in where a number lies; of a mono side both walls move alike, and neither is named."""
    if quantity.at is None:
        return quantity
    at = worked.place(quantity.at)
    return quantity.model_copy(update={"at": at.model_copy(update={"channel": None}) if mono else at})


def _events(worked: WorkedSide, name: str, limit: Limit, *, mono: bool) -> list[PlacedEvent]:
    """Give the events of a limit at the judged level."""
    found = worked.events(name, limit.warn, limit.fail)
    return [replace(event, measured=_placed(event.measured, worked, mono=mono)) for event in found]
