"""A measured side at one cut level: its part of the report, and its evidence for the checks.

Levels are decided disc by disc, so all sides of a disc are measured and searched before any is judged. Only the
measurements are kept in between; the arrays of a spiral are computed again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from qc.audio.memory import release_memory
from qc.audio.received import AsReceived
from qc.delivery.reader import ReadDelivery
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span, span_of
from qc.groove.level.events import PlacedEvent
from qc.groove.level.outside import OutsideLimits
from qc.groove.level.release import JudgedLevel, SideLevels
from qc.groove.level.rows import LevelRow
from qc.groove.level.side_at_level import UNITS, AsCut, WorkedSide
from qc.groove.playback.exact import replayed
from qc.groove.signal.programme import LOUDNESS, Programme
from qc.groove.signal.sector_envelopes import Sectors
from qc.judge.bind import Bound
from qc.judge.budget_report import print_through
from qc.judge.context import SideEvidence
from qc.judge.level_memo import MemoInStore
from qc.judge.side_report import geometry, levels
from qc.measure.groove_numbers import GrooveNumbers
from qc.measure.side import MeasureOptions, SideMeasurement
from qc.model.cutting_chain import Chain, NamedTip
from qc.model.report import LineupToneFacts, SideReport
from qc.model.track import Track
from qc.plugin_base import At, GrooveAt, GrooveDerived, Limit, Need, Quantity


@dataclass(frozen=True)
class SearchedSide:
    """A measured side with the levels that the limits of a ruleset allow, before it is judged at one of them."""

    measurement: SideMeasurement
    chain: Chain
    declared: Mapping[str, Any]
    line: int
    line_of: Callable[[tuple[str | int, ...]], int | None]
    delivery: Mapping[str, Any]
    worked: WorkedSide | None = None
    """None where the groove could not be computed"""
    memo: MemoInStore | None = None
    tips: tuple[NamedTip, ...] = ()
    """replay tips for each of which the report states the level"""
    numbers: GrooveNumbers | None = None
    """the needs that plugins derive from the groove; None without one"""
    asks_groove: bool = False
    """whether a check reads the groove itself"""
    earlier: Mapping[str, Quantity] = field(default_factory=dict)
    """the numbers of the same side in the baseline report"""

    @property
    def id(self) -> str:
        """The side's id in the delivery."""
        return self.measurement.side.id

    @property
    def levels(self) -> SideLevels:
        """The levels of the side, as input of the decision about its disc."""
        if self.worked is None:
            return SideLevels(self.id, self.declared.get("cut_level"))
        return self.worked.levels(self.id)

    def forget(self) -> None:
        """Release large arrays that can be computed or read again."""
        if self.worked is not None:
            self.worked.search.forget()
        if self.numbers is not None:
            self.numbers.forget()
        if self.measurement.excerpts is not None:
            self.measurement.excerpts.forget()
        release_memory()

    def keep(self) -> None:
        """Store the numbers of the side at each level."""
        if self.memo is not None:
            self.memo.keep()

    def at(self, decided: JudgedLevel | None, workers: int = 1) -> tuple[SideReport, SideEvidence]:
        """Return the side's part of the report and its evidence at a level; None where there is no groove to cut.

        The seconds that play worst are replayed from the audio, by so many workers.
        """
        measurement = self.measurement
        worked = None if self.worked is None or decided is None else self.worked.at(decided)
        if worked is not None and (look := measurement.excerpts) is not None:
            worked = replace(worked, replayed=replayed(look, look.stream, worked.cutting, workers))
        evidence = self.evidence(decided, worked)
        report = SideReport(
            id=self.id,
            audio=measurement.received.facts,
            line=self.line,
            geometry=None if worked is None else geometry(worked),
            measurements=dict(sorted(evidence.quantities.items())),
            levels=None if worked is None else levels(worked, self.tips),
            print_through=() if worked is None else print_through(worked),
            lineup=_lineup(measurement.results),
            declared=self.declared,
            passes=measurement.passes,
        )
        self.keep()
        return report, evidence

    def at_recommended(self, judged: SideEvidence) -> Callable[[], SideEvidence] | None:
        """Return how to build the evidence at the recommended level; None unless that lies below the judged level."""
        worked: WorkedSide | None = judged.results.get(AsCut)
        if worked is None or worked.recommended.bound == "<" or worked.judged <= worked.recommended.level:
            return None
        level = JudgedLevel(worked.recommended.level, "recommended", requested=worked.recommended.level)
        return lambda: self.evidence(level)

    @property
    def broken(self) -> Mapping[type[Need[Any]], str]:
        """Needs that failed; empty for audio at fault, where no need ran."""
        if not self.measurement.passes:
            return {}
        return self.measurement.broken if self.numbers is None else {**self.measurement.broken, **self.numbers.broken}

    def evidence(self, decided: JudgedLevel | None, worked: WorkedSide | None = None) -> SideEvidence:
        """Return the evidence of the side at a level."""
        if worked is None and self.worked is not None and decided is not None:
            worked = self.worked.at(decided)
        measurement = self.measurement
        received, results = measurement.received, {**measurement.results}
        mono, fatal = received.facts.channels == 1, received.fatal
        quantities = dict(measurement.quantities)
        if worked is not None:
            results |= {AsCut: worked}
            self._add_groove(worked.judged, results, quantities)
        publishers = measurement.publishers if measurement.passes else {}
        evidence = SideEvidence(
            side=self.id,
            chain=self.chain,
            declared=self.declared,
            requested=self.declared.get("cut_level") if decided is None else decided.requested,
            results={AsReceived: received, **results},
            broken=self.broken,
            quantities=quantities,
            earlier=self.earlier,
            publishers=publishers,
            missing=f"the audio is at fault: {fatal.message}" if fatal else "",
            line=self.line,
            line_of=self.line_of,
            delivery=self.delivery,
        )
        if worked is None:
            if not results and not self.broken:
                return replace(evidence, place=lambda at: _in_declared_track(at, measurement.tracks))
            lost = Sectors if Sectors in self.broken else Programme
            of_groove = {name: lost for name, kind in publishers.items() if issubclass(kind, GrooveDerived)}
            return replace(evidence, publishers={**publishers, **of_groove, **dict.fromkeys(UNITS, lost)})
        quantities |= worked.quantities(measurement.quantities.get(LOUDNESS))
        return replace(
            evidence,
            quantities={name: _placed(quantity, worked, mono=mono) for name, quantity in quantities.items()},
            windows=worked.windows(),
            clean_of=_clean_of(worked),
            events=lambda name, limit: _events(worked, name, limit, mono=mono),
            level_for=lambda row: self._level_for(worked, row),
            place=worked.place,
        )

    def _level_for(self, worked: WorkedSide, row: LevelRow) -> Quantity:
        """Search the level for one limit, also for one that does not set it; raises NotMeasuredError without one."""
        if self.numbers is not None and self.numbers.publishes(row.measure):
            return self.numbers.level_for(row).quantity()
        return worked.search.level_for(row).quantity()

    def apart(self) -> SearchedSide:
        """Return the same side for pictures of it; what fails there is not among the failures of the side."""
        return self if self.numbers is None else replace(self, numbers=self.numbers.apart())

    def outside(self, side: SideGeometry, rows: Sequence[LevelRow]) -> OutsideLimits:
        """Search the limits of a disc on numbers of plugins, on the groove of this side there."""
        if self.worked is None or self.numbers is None:
            return OutsideLimits()
        if side.chain == self.chain:
            return self.worked.outside
        return self.numbers.outside(side, rows)

    def _add_groove(
        self, level: float, results: dict[type[Need[Any]], Any], quantities: dict[str, Quantity]
    ) -> None:  # fmt: skip
        """Add what plugins derive from the groove at a level, and the groove itself where a check reads it."""
        if self.numbers is None:
            return
        derived = self.numbers.at(level)
        results |= derived.results
        quantities |= derived.quantities
        if self.asks_groove:
            results[GrooveAt] = self.numbers.groove(GrooveAt(level))


def closure(needs: Sequence[type[Need[Any]]], bound: Bound) -> list[type[Need[Any]]]:
    """Return every kind of need once: those that publish, and those that a check asks for."""
    asked = [need for check in bound.checks for need in check.needs]
    return [need for need in dict.fromkeys([*needs, *asked]) if need not in (AsReceived, AsCut, GrooveAt)]


def search_levels(
    read: ReadDelivery, index: int, measurement: SideMeasurement, chain: Chain, bound: Bound, how: MeasureOptions
) -> SearchedSide:  # fmt: skip
    """Search the levels of a measured side of a delivery under the limits of a ruleset."""
    side, results = measurement.side, measurement.results
    memo, worked, numbers = None, None, None
    asks_groove = any(GrooveAt in check.needs for check in bound.checks)
    if measurement.passes:
        sectors = measurement.needs.get(Sectors)
        memo = MemoInStore.of(how.store, measurement.sound, sectors, chain, measurement.tracks)
    if memo is not None and Sectors in results and Programme in results:
        loudness = measurement.quantities.get(LOUDNESS)
        span = span_of(measurement.tracks, results[Programme], results[Sectors].sectors)
        whole = SideGeometry.of(chain, span, results[Sectors], None if loudness is None else loudness.value)
        worked = WorkedSide.of(whole, bound.rows, side.cut_level, memo.memo, bound.policy)
        if asks_groove or any(issubclass(kind, GrooveDerived) for kind in measurement.needs):
            numbers = GrooveNumbers(measurement, how.runner).on(worked.search.side)
            worked = worked.under(numbers.limits(bound.rows))
    return SearchedSide(
        measurement=measurement,
        chain=chain,
        declared=side.itself(),
        line=read.line(("sides", index, "audio")),
        line_of=lambda loc: read.line(("sides", index, *loc)),
        delivery=read.delivery.itself(),
        worked=worked,
        memo=memo,
        tips=bound.tips,
        numbers=numbers,
        asks_groove=asks_groove,
    )


def _lineup(results: Mapping[type[Need[Any]], Any]) -> tuple[LineupToneFacts, ...]:
    """Describe the line-up tones that were found."""
    tones = results[Programme].tones if Programme in results else ()
    return tuple(
        LineupToneFacts(start_s=tone.start_s, end_s=tone.end_s, frequency_hz=tone.frequency, level_dbfs=tone.level)
        for tone in tones
    )


def _in_declared_track(at: At, tracks: tuple[Track, ...]) -> At:
    """Add the declared track to a place in audio that has no groove."""
    if at.start_s is None or at.track is not None:
        return at
    file = Span(0, 0, tracks)
    return at.model_copy(update={"track": file.track_at(file.sector_at(at.start_s))})


def _clean_of(worked: WorkedSide) -> frozenset[tuple[str, str]]:
    """Return check and measurement of limits that warn nowhere at the clean level, if that is below the judged one."""
    if worked.judged <= worked.clean.level:
        return frozenset()
    return frozenset((row.check, row.measure) for row in worked.mended)


def _placed(quantity: Quantity, worked: WorkedSide, *, mono: bool) -> Quantity:
    """Return a number with its place; on a mono side, where both walls move alike, without a channel."""
    if quantity.at is None:
        return quantity
    at = worked.place(quantity.at)
    return quantity.model_copy(update={"at": at.model_copy(update={"channel": None}) if mono else at})


def _events(worked: WorkedSide, name: str, limit: Limit, *, mono: bool) -> list[PlacedEvent]:
    """Return the events of a limit at the judged level."""
    found = worked.events(name, limit.warn, limit.fail)
    return [replace(event, measured=_placed(event.measured, worked, mono=mono)) for event in found]
