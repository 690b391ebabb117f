"""One side from its file to its numbers: examined, heard once, its groove worked out, everything published."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from qc.audio.derived import work_out
from qc.audio.excerpts import Excerpts
from qc.audio.heard import Source, hear
from qc.audio.plan import plan
from qc.audio.received import AsReceived, Received
from qc.audio.returned import give_back
from qc.audio.source import AudioFaultError
from qc.chain import SECTORS_A_SECOND, Chain
from qc.contract import Analysis, At, Limit, Measurements, Need, Quantity
from qc.delivery.examine import with_fault
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.errors import FAULTS
from qc.groove.events import PlacedEvent
from qc.groove.known import Known
from qc.groove.programme import Programme
from qc.groove.sectors import Sectors
from qc.groove.span import Span, TrackTimes
from qc.groove.worked import UNITS, AsCut, WorkedSide
from qc.intake import Arrived, arrive
from qc.judge.bind import Bound
from qc.judge.context import Evidence
from qc.patience import PATIENCE_S, Patient
from qc.remembered import Remembered
from qc.report.budget import print_through
from qc.report.model import AudioFacts, HowMeasured, Origin, SideReport
from qc.report.side import geometry, levels
from qc.stored.keys import Sound
from qc.stored.store import Store, StoredResults, seal
from qc.wording import told

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Hearing:
    """How a side is heard: by how many threads, who is told, what is known already, how long plugins may take."""

    workers: int
    progress: Progress | None = None
    """told how much is heard, 0..1"""
    store: Store | None = None
    patience: float = PATIENCE_S
    """s"""


FILE_UNITS = {"audio.sample_rate": "Hz", "audio.bit_depth": "bit", "audio.channels": "1", "audio.duration": "s"}
"""Unit of every measurement that is the file's own."""
BITS = {"16 bit": 16, "24 bit": 24, "32 bit": 32, "32 bit float": 32, "64 bit float": 64}


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


def measure_side(
    read: ReadDelivery, index: int, chain: Chain, needs: Sequence[type[Need[Any]]], bound: Bound, how: Hearing,
) -> MeasuredSide:  # fmt: skip
    """Measure one side of a delivery; what is wrong with its audio ends up in the evidence, not as an error."""
    wanted, unbuilt = _built(_closure(needs, bound), chain, how.patience)
    heard = _heard(read, read.delivery.sides[index], list(wanted.values()), how)
    side, received, measured = heard.arrived.side, heard.received, heard.measured
    line = read.line(("sides", index, "audio"))
    if measured is None:
        there = _unmeasured(side, chain, received, line)
    else:
        memory = Remembered.of(how.store, heard.sound, wanted.get(Sectors), chain, _tracks(side))
        there = _measured(side, chain, received, measured, wanted, unbuilt, bound, line, how.patience, memory.known)
        memory.keep()
    evidence = replace(
        there.evidence, line_of=lambda loc: read.line(("sides", index, *loc)), delivery=read.delivery.itself()
    )
    report = there.report.model_copy(update={"line": line})
    return MeasuredSide(report, evidence, None if measured is None else heard.arrived.excerpts(), heard.origin)


def _built(
    kinds: Sequence[type[Need[Any]]], chain: Chain, patience: float
) -> tuple[dict[type[Need[Any]], Need[Any]], dict[type[Need[Any]], str]]:
    """Build every need for a chain; one that cannot be built or planned is put aside with its sentence."""
    built: dict[type[Need[Any]], Need[Any]] = {}
    broken: dict[type[Need[Any]], str] = {}
    with Patient(patience) as ask:
        for kind in kinds:
            try:
                built[kind] = ask(partial(_need, kind, chain))
            except FAULTS as error:
                broken[kind] = told(error)
    return built, broken


def _need(kind: type[Need[Any]], chain: Chain) -> Need[Any]:
    """Build a need and try whether it can be planned."""
    need = kind.of(chain)
    alone = plan([need])
    if need not in (*alone.analyses, *alone.derived):
        raise TypeError("it is neither an Analysis nor a Derived")
    if alone.analyses == (need,) and need != kind.of(Chain(signal=chain.signal)):
        raise ValueError("it hears the audio and keeps more of the chain than chain.signal")
    return need


def _closure(needs: Sequence[type[Need[Any]]], bound: Bound) -> list[type[Need[Any]]]:
    """Give every kind of need once: those that publish, and those that a check asks for."""
    asked = [need for check in bound.checks for need in check.needs]
    return [need for need in dict.fromkeys([*needs, *asked]) if need not in (AsReceived, AsCut)]


@dataclass(frozen=True)
class _Heard:
    """A side as it came in and what hearing it gave, now or in an earlier run; nothing where its audio is at fault."""

    arrived: Arrived
    received: Received
    measured: Measurements | None = None
    origin: Origin | None = None
    sound: Sound | None = None
    """what was heard, where it is known for certain"""


def _heard(
    read: ReadDelivery, side: Side, needs: Sequence[Need[Any]], how: Hearing
) -> _Heard:  # fmt: skip
    """Hear what is not stored of a side; a fault that only hearing shows is added to what was received."""
    store = how.store
    arrived, wanted = arrive(read, side, store), plan(needs)
    source, known = arrived.source, arrived.known_sound
    if source is None:
        return _Heard(arrived, arrived.received)
    found = StoredResults({}) if store is None else store.results(known, wanted.analyses)
    stored = found.results
    left = [analysis for analysis in wanted.analyses if analysis not in stored]
    measured, sound = Measurements(source.stream, 1), None
    hears = bool(left) or not stored
    if hears:
        read_now = _processed(arrived, source, wanted.analyses, left, how)
        if isinstance(read_now, Received):
            return _Heard(arrived, read_now)
        measured = read_now
        sound = None if store is None else arrived.heard_sound(store)
        if stored and sound != known:  # another file lies in its place, and nothing that is stored is of that one
            return _heard(read, side, needs, replace(how, store=None))
    new = dict(measured.results)
    seal(new)
    measured = work_out(replace(measured, results={**stored, **new}), wanted.derived, how.patience)
    received = _faults(arrived, arrived.digested() if hears else arrived.recalled(), measured)
    if store is not None and sound is not None:
        store.check(sound, left, new)
    if received.fatal:
        return _Heard(arrived, received)
    if store is not None and sound is not None:
        store.keep(sound, {analysis: new[analysis] for analysis in left if analysis in new})
    asked = {need: measured.results[need] for need in needs if need in measured.results}
    measured = replace(measured, results=asked)  # what others were worked out from may go
    how_far: HowMeasured = "partly stored" if left and stored else "stored" if stored else "heard"
    origin = Origin(how=how_far, measured_on=found.day or None)
    return _Heard(arrived, received, measured, origin, sound if hears else known)


def _processed(
    arrived: Arrived, source: Source, wanted: Sequence[Analysis[Any]], left: Sequence[Analysis[Any]], how: Hearing
) -> Measurements | Received:
    """Measure what is `left` of the analyses `wanted` in one pass; what was received where its audio is at fault."""
    try:
        measured = hear(
            source, plan(left), workers=how.workers, progress=how.progress, beside=source.hash, patience=how.patience
        )
    except AudioFaultError as error:
        if how.store is not None and how.store.verifies and (faulty := arrived.faulty_sound()) is not None:
            how.store.check(faulty, wanted, {})
        return arrived.digested(error.fault)
    except Exception:  # a decoder may raise anything while another file takes the place of this one
        if not arrived.changes():
            raise
        return arrived.digested()
    return arrived.digested() if arrived.changes() else measured


def _faults(arrived: Arrived, received: Received, measured: Measurements) -> Received:
    """Add the faults that show in what was measured."""
    programme = next((result for need, result in measured.results.items() if isinstance(need, Programme)), None)
    if programme is None or received.fatal:
        return received
    for fault in arrived.silent(programme):
        received = with_fault(received, fault)
    return received


def _unmeasured(side: Side, chain: Chain, received: Received, line: int) -> MeasuredSide:
    declared = side.itself()
    report = SideReport(
        id=side.id, audio=received.facts, declared=declared, measurements=_of_file(received.facts),
        passes=0,
    )  # fmt: skip
    evidence = Evidence(
        side=side.id,
        chain=chain,
        declared=declared,
        results={AsReceived: received},
        quantities=report.measurements,
        missing=f"the audio is at fault: {received.fatal.message}" if received.fatal else "",
        line=line,
        place=lambda at: _on_paper(at, _tracks(side)),
    )
    return MeasuredSide(report, evidence)


def _on_paper(at: At, tracks: tuple[TrackTimes, ...]) -> At:
    """Fill in the track that a place of audio that is not cut lies in, as the delivery declares it."""
    if at.start_s is None or at.track is not None:
        return at
    sector = int(at.start_s * SECTORS_A_SECOND + 1e-9)
    return at.model_copy(update={"track": Span(0, sector + 1, tracks).track_at(sector)})


def _measured(
    side: Side, chain: Chain, received: Received, measured: Measurements,
    wanted: Mapping[type[Need[Any]], Need[Any]], unbuilt: Mapping[type[Need[Any]], str], bound: Bound, line: int,
    patience: float, known: Known,
) -> MeasuredSide:  # fmt: skip
    declared = side.itself()
    results, broken, published = _found(measured, wanted, unbuilt, patience)
    quantities = _of_file(received.facts) | published
    publishers = {name: kind for kind in (*wanted, *unbuilt) for name in kind.publishes}
    worked, mono = None, received.facts.channels == 1
    if Sectors in results and Programme in results:
        integrated = quantities.get("loudness.integrated")
        worked = WorkedSide.of(
            chain, results[Sectors], results[Programme], _tracks(side), bound.rows, side.cut_level, known,
            bound.policy, integrated,
        )  # fmt: skip
        quantities |= worked.quantities(integrated)
        quantities = {name: _placed(q, worked, mono=mono) for name, q in quantities.items()}
    else:
        publishers |= dict.fromkeys(UNITS, Sectors if Sectors in broken else Programme)
    report = SideReport(
        id=side.id,
        audio=received.facts,
        geometry=None if worked is None else geometry(worked),
        measurements=dict(sorted(quantities.items())),
        levels=None if worked is None else levels(worked),
        print_through=() if worked is None else print_through(worked),
        declared=declared,
        passes=measured.passes,
    )
    evidence = Evidence(
        side=side.id,
        chain=chain,
        declared=declared,
        results={AsReceived: received, **({} if worked is None else {AsCut: worked}), **results},
        broken=broken,
        quantities=quantities,
        publishers=publishers,
        windows={} if worked is None else worked.windows(),
        clean_of=frozenset() if worked is None else _clean_of(worked),
        events=(lambda *_: ()) if worked is None else lambda name, limit: _events(worked, name, limit, mono=mono),
        line=line,
        place=(lambda at: at) if worked is None else worked.place,
    )
    return MeasuredSide(report, evidence)


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


def _found(
    measured: Measurements, wanted: Mapping[type[Need[Any]], Need[Any]], unbuilt: Mapping[type[Need[Any]], str],
    patience: float,
) -> tuple[dict[type[Need[Any]], Any], dict[type[Need[Any]], str], dict[str, Quantity]]:  # fmt: skip
    """Give by kind of need the results and why there is none, and all that is published."""
    results = {kind: measured.results[need] for kind, need in wanted.items() if need in measured.results}
    failed = {kind: measured.failed[need] for kind, need in wanted.items() if need in measured.failed}
    broken = {**unbuilt, **failed}
    return results, broken, _published(wanted, results, broken, patience)


def _published(
    wanted: Mapping[type[Need[Any]], Need[Any]], results: Mapping[type[Need[Any]], Any],
    broken: dict[type[Need[Any]], str], patience: float,
) -> dict[str, Quantity]:  # fmt: skip
    """Collect what the needs publish; one that raises, or publishes a name it did not announce, is broken."""
    found: dict[str, Quantity] = {}
    with Patient(patience) as ask:
        for kind, result in results.items():
            try:
                found |= ask(partial(_as_announced, wanted[kind], result))
            except FAULTS as error:
                broken[kind] = told(error)
    return found


def _as_announced(need: Need[Any], result: Any) -> dict[str, Quantity]:
    published = dict(need.publish(result))
    for name, quantity in published.items():
        if name not in need.publishes:
            raise ValueError(f"it publishes {name}, which it did not announce")
        if not isinstance(quantity, Quantity):
            raise TypeError(f"it publishes {name} as a {type(quantity).__name__}, not a Quantity")
        if quantity.unit != need.publishes[name]:
            raise ValueError(f"it publishes {name} in {quantity.unit} and announced {need.publishes[name]}")
    return published


def _of_file(facts: AudioFacts) -> dict[str, Quantity]:
    """Give the file's own numbers as measurements."""
    known = {
        "audio.sample_rate": facts.sample_rate,
        "audio.bit_depth": BITS.get(facts.coding or ""),
        "audio.channels": facts.channels,
        "audio.duration": facts.duration_s,
    }
    return {name: Quantity(value=value, unit=FILE_UNITS[name]) for name, value in known.items() if value is not None}


def _tracks(side: Side) -> tuple[TrackTimes, ...]:
    """Give the declared tracks with their exact times; a segue has no mark after it."""
    return tuple(
        TrackTimes(track.number, track.title or "", track.start, track.end, track.gap_after != "segue")
        for track in side.tracks
        if track.start is not None and track.end is not None
    )


@dataclass(frozen=True)
class HeardSide:
    """A side as it was heard, for those who judge nothing; `received` says what is wrong with its audio."""

    side: Side
    """with the times of its tracks worked out where it came as one file a track"""
    received: Received
    results: Mapping[type[Need[Any]], Any]
    quantities: Mapping[str, Quantity]
    broken: Mapping[type[Need[Any]], str]
    passes: int
    origin: Origin | None = None

    @property
    def tracks(self) -> tuple[TrackTimes, ...]:
        """The tracks with their exact times."""
        return _tracks(self.side)


def hear_side(
    read: ReadDelivery, index: int, chain: Chain, needs: Sequence[type[Need[Any]]], how: Hearing
) -> HeardSide:
    """Hear one side once for some needs; what the store holds is not heard again."""
    wanted, unbuilt = _built(needs, chain, how.patience)
    heard = _heard(read, read.delivery.sides[index], list(wanted.values()), how)
    side, measured = heard.arrived.side, heard.measured
    if measured is None:
        return HeardSide(side, heard.received, {}, {}, dict(unbuilt), 0)
    results, broken, quantities = _found(measured, wanted, unbuilt, how.patience)
    return HeardSide(side, heard.received, results, quantities, broken, measured.passes, heard.origin)
