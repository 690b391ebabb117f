"""Measure one side: inspect its files, process them once, publish every number. Limits play no part here."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import Any

from qc.audio.excerpts import Excerpts
from qc.audio.pipeline.derived import compute_derived
from qc.audio.pipeline.plan import Plan, plan
from qc.audio.pipeline.process import AudioSource, process_source
from qc.audio.received import ReceivedAudio
from qc.audio.source import AudioFaultError
from qc.cache.keys import Sound
from qc.cache.store import Store, StoredResults, seal
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.dsp.samples.own_copy import own_copy
from qc.groove.level.side_at_level import UNITS
from qc.groove.signal.programme import Programme
from qc.intake.inspection import with_fault
from qc.intake.side_input import SideInput, read_input
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.model.errors import FAULTS, PluginError
from qc.model.quantity import validated_copy
from qc.model.report import AudioFacts, HowMeasured, Origin
from qc.model.track import Track
from qc.plugin_base import At, Measurements, Need, Quantity, Stream
from qc.plugin_host.runner import Runner
from qc.text.exceptions import exception_line
from qc.text.sanitize import shown

Progress = Callable[[float], None]


@dataclass(frozen=True)
class MeasureOptions:
    """Options of measuring: threads, progress callback, store of measurements, runner of plugins."""

    workers: int
    progress: Progress | None = None
    """called with the part of the side that is measured, 0..1"""
    store: Store | None = None
    runner: Runner = field(default_factory=Runner)
    """calls the code of plugins"""


FILE_UNITS = {"audio.sample_rate": "Hz", "audio.bit_depth": "bit", "audio.channels": "1", "audio.duration": "s"}
"""Unit of every measurement that is the file's own."""
BITS = {"16 bit": 16, "24 bit": 24, "32 bit": 32, "32 bit float": 32, "64 bit float": 64}


@dataclass(frozen=True)
class SideMeasurement:
    """The measurements of a side, independent of limits and levels; `received` has the faults of its audio."""

    side: Side
    """with computed track times where it has one file a track"""
    received: ReceivedAudio
    quantities: Mapping[str, Quantity]
    """numbers of the file and of the needs, by name"""
    broken: Mapping[type[Need[Any]], str]
    """needs without a result, each with its reason"""
    results: Mapping[type[Need[Any]], Any] = field(default_factory=dict)
    needs: Mapping[type[Need[Any]], Need[Any]] = field(default_factory=dict)
    """the needs that could be built, by kind"""
    passes: int = 0
    origin: Origin | None = None
    excerpts: Excerpts | None = None
    """the second look at the audio; None where nothing was measured"""
    sound: Sound | None = None
    """key of the sound in the store, where it is certain"""
    read_by_groove: Measurements | None = None
    """results that needs derived from the groove read; None where nothing was measured"""

    @property
    def tracks(self) -> tuple[Track, ...]:
        """The tracks with their exact times."""
        return _tracks(self.side)

    @property
    def publishers(self) -> dict[str, type[Need[Any]]]:
        """The kind of need that publishes each measurement."""
        publishers: dict[str, type[Need[Any]]] = {}
        for kind in (*self.needs, *self.broken):
            for name in kind.publishes:
                publishers.setdefault(name, kind)  # a later kind of this name is broken
        return publishers


def measure_side(
    read: ReadDelivery, index: int, chain: Chain, needs: Sequence[type[Need[Any]]], options: MeasureOptions
) -> SideMeasurement:
    """Measure the needs of one side in at most one pass; stored results are not measured again.

    Faults of its audio are in `received`; they raise nothing.
    """
    collisions = name_collisions(needs)
    wanted, unbuilt = _build_needs([kind for kind in needs if kind not in collisions], chain, options.runner)
    planned, lost = _plan_needs(wanted, options.runner)
    wanted = {kind: need for kind, need in wanted.items() if kind not in lost}
    return _measure(read, read.delivery.sides[index], wanted, {**unbuilt, **lost, **collisions}, planned, options)


def name_collisions(kinds: Iterable[type[Need[Any]]]) -> dict[type[Need[Any]], str]:
    """Return the kinds of need that announce the name of another number, each with a sentence that names it.

    A name belongs to the core, else to the first of the kinds that announces it, whether that one has a result or not.
    """
    taken = {*UNITS, *FILE_UNITS}
    collisions: dict[type[Need[Any]], str] = {}
    for kind in kinds:  # the core's first, then those of plugins, then what only checks ask for
        if twice := sorted(taken & {*kind.publishes}):
            collisions[kind] = f'it publishes "{shown(twice[0])}", which is published by another need'
        else:
            taken |= {*kind.publishes}
    return collisions


def _plan_needs(wanted: Mapping[type[Need[Any]], Need[Any]], runner: Runner) -> tuple[Plan, dict[type[Need[Any]], str]]:
    """Plan the needs; also return a sentence for each that is left out because it cannot be planned any more."""
    try:
        return runner(plan, list(wanted.values())), {}
    except FAULTS as error:
        alone, lost = runner.each({kind: partial(plan, [need]) for kind, need in wanted.items()})
        if not lost:
            raise PluginError(f"the measurements cannot be planned: {exception_line(error)}") from None
    planned, more = _plan_needs({kind: wanted[kind] for kind in alone}, runner)
    return planned, {**lost, **more}


def _build_needs(
    kinds: Sequence[type[Need[Any]]], chain: Chain, runner: Runner
) -> tuple[dict[type[Need[Any]], Need[Any]], dict[type[Need[Any]], str]]:
    """Build the needs for a chain; also return a sentence for each that cannot be built or planned."""
    return runner.each({kind: partial(_build_need, kind, chain) for kind in kinds})


def _build_need(kind: type[Need[Any]], chain: Chain) -> Need[Any]:
    """Build a need; raises an error where it cannot be planned."""
    need = kind.of(chain)
    if not isinstance(need, kind):
        raise TypeError(f"its of() gave a {type(need).__name__}, and not a {kind.__name__}")
    alone = plan([need])
    if need not in (*alone.analyses, *alone.derived, *alone.of_groove):
        raise TypeError("it is neither an Analysis nor a Derived nor a GrooveDerived")
    if alone.analyses == (need,) and (kept := _keeps(kind, need, chain)):
        raise ValueError(
            f"it keeps {kept} of the chain, and what is measured of the audio may depend on chain.signal only; keep "
            "that in a Derived, or read it in the check"
        )
    return need


def _keeps(kind: type[Need[Any]], need: Need[Any], chain: Chain) -> str:
    """Return the values outside `signal` that a need of the audio keeps of a chain, "cut.land"; empty where it is none.

    It is built for other chains to find that out, so that the fault shows whatever the disc is.
    """
    others = dict(_others(chain))
    if all(kind.of(other) == need for other in (Chain(signal=chain.signal), *others.values())):
        return ""
    kept = [key for key, other in others.items() if kind.of(other) != need]
    return "more than chain.signal" if len(kept) in {0, len(others)} else ", ".join(kept)


def _others(chain: Chain) -> Iterator[tuple[str, Chain]]:
    """Yield each value of a chain outside `signal` by its key, and a chain in which this value alone is another one."""
    for part in ("cut", "disc", "playback"):
        values = getattr(chain, part)
        for value in fields(values):
            before = getattr(values, value.name)
            after = f"another {before}" if isinstance(before, str) else 1.01 * before
            yield f"{part}.{value.name}", replace(chain, **{part: replace(values, **{value.name: after})})


def _measure(
    read: ReadDelivery, side: Side, wanted: Mapping[type[Need[Any]], Need[Any]],
    unbuilt: Mapping[type[Need[Any]], str], planned: Plan, options: MeasureOptions,
) -> SideMeasurement:  # fmt: skip
    """Measure the needs of a side that are not stored; faults found by the pass are added to `received`."""
    store, needs = options.store, list(wanted.values())
    side_input = read_input(read, side, store)
    source, stored_sound = side_input.source, side_input.stored_sound
    if source is None:
        return _faulty_side(side_input, side_input.received, unbuilt)
    found = StoredResults({}) if store is None else store.results(stored_sound, planned.analyses)
    stored = found.results
    left = [analysis for analysis in planned.analyses if analysis not in stored]
    measured, sound = Measurements(source.stream, 1), None
    passes = bool(left) or not stored
    reasons = {} if store is None else store.reasons(stored_sound, left, side_input.paths)
    if passes:
        fresh = _measure_in_one_pass(side_input, source, planned.only(left), options)
        if isinstance(fresh, ReceivedAudio):
            if store is not None and store.verifies and (faulty := side_input.faulty_sound()) is not None:
                store.check(faulty, planned.analyses, {})
            return _faulty_side(side_input, fresh, unbuilt)
        measured = fresh
        sound = None if store is None else side_input.measured_sound(store)
        if stored and sound != stored_sound:  # the file was replaced: stored measurements are of another
            return _measure(read, side, wanted, unbuilt, planned, replace(options, store=None))
    new = seal(measured.results)
    measured = compute_derived(
        replace(measured, results={**stored, **new}),
        planned.derived,
        options.runner,
        _declared_programme(side_input.side),
    )
    received = _add_faults(side_input, side_input.digested() if passes else side_input.recalled(), measured)
    if store is not None and sound is not None:
        store.check(sound, left, new)
    if received.fatal:
        return _faulty_side(side_input, received, unbuilt)
    if store is not None and sound is not None:
        kept = {analysis: new[analysis] for analysis in left if analysis in new}
        store.keep(sound, kept, reasons, of_all=not stored)
    read_by_groove = _read_by_groove(planned, measured)
    asked = {need: measured.results[need] for need in needs if need in measured.results}
    measured = replace(measured, results=asked)  # needs that only others read are released
    results, broken, published = _publish(measured, wanted, unbuilt, options.runner)
    how_far: HowMeasured = "partly stored" if left and stored else "stored" if stored else "heard"
    return SideMeasurement(
        side=side_input.side,
        received=received,
        quantities={**_file_quantities(received.facts), **published},
        broken=broken,
        results=results,
        needs=wanted,
        passes=measured.passes,
        origin=Origin(how=how_far, measured_on=found.day or None),
        excerpts=side_input.excerpts(),
        sound=sound if passes else stored_sound,
        read_by_groove=read_by_groove,
    )


def _faulty_side(
    side_input: SideInput, received: ReceivedAudio, unbuilt: Mapping[type[Need[Any]], str]
) -> SideMeasurement:
    """Return the measurement of a side whose audio is at fault: only the file's own numbers."""
    return SideMeasurement(side_input.side, received, _file_quantities(received.facts), unbuilt)


def _measure_in_one_pass(
    side_input: SideInput, source: AudioSource, wanted: Plan, options: MeasureOptions
) -> Measurements | ReceivedAudio:
    """Measure in one pass over the audio; where the pass finds it faulty, return the received audio instead."""
    try:
        measured = process_source(
            source,
            wanted,
            workers=options.workers,
            progress=options.progress,
            block_step=source.hash,
            runner=options.runner,
        )
    except AudioFaultError as error:
        return side_input.digested(error.fault)
    except Exception:  # a decoder may raise anything while another file takes the place of this one
        if not side_input.changes():
            raise
        return side_input.digested()
    return side_input.digested() if side_input.changes() else measured


def _add_faults(side_input: SideInput, received: ReceivedAudio, measured: Measurements) -> ReceivedAudio:
    """Return the received audio with the faults that the measurements show."""
    programme = next((result for need, result in measured.results.items() if isinstance(need, Programme)), None)
    if programme is None or received.fatal:
        return received
    for fault in side_input.silent(programme):
        received = with_fault(received, fault)
    return received


def _declared_programme(side: Side) -> Callable[[Need[Any], Any], Any]:
    """Return the adjustment of results that searches the programme near the declared tracks."""
    tracks = [(track.start, track.end) for track in _tracks(side)]
    return lambda need, result: result.declared(tracks) if isinstance(need, Programme) else result


def _read_by_groove(planned: Plan, measured: Measurements) -> Measurements:
    """Return the results and failures of the needs that those derived from the groove read."""
    read = {need for needs in planned.of_groove.values() for need in needs}
    return replace(
        measured,
        results={need: result for need, result in measured.results.items() if need in read},
        failed={need: why for need, why in measured.failed.items() if need in read},
    )


def _publish(
    measured: Measurements, wanted: Mapping[type[Need[Any]], Need[Any]], unbuilt: Mapping[type[Need[Any]], str],
    runner: Runner,
) -> tuple[dict[type[Need[Any]], Any], dict[type[Need[Any]], str], dict[str, Quantity]]:  # fmt: skip
    """Return by kind of need the results and the reasons for missing ones, and all published quantities by name.

    A need that raises while it publishes, or publishes what it did not announce, is broken.
    """
    results = {kind: measured.results[need] for kind, need in wanted.items() if need in measured.results}
    failed = {kind: measured.failed[need] for kind, need in wanted.items() if need in measured.failed}
    published, refused = runner.each(
        {kind: partial(published_by, kind, wanted[kind], result, measured.stream) for kind, result in results.items()}
    )
    quantities = {name: quantity for of_need in published.values() for name, quantity in of_need.items()}
    return results, {**failed, **refused, **unbuilt}, quantities


def published_by(kind: type[Need[Any]], need: Need[Any], result: Any, stream: Stream) -> dict[str, Quantity]:
    """Return what a need publishes of a result, which it gets as a copy.

    Raises TypeError or ValueError for what its kind did not announce, and for a place outside the file.
    """
    published = dict(need.publish(own_copy(result)))
    for name, quantity in published.items():
        if name not in kind.publishes:
            raise ValueError(f"it publishes {name}, which it did not announce")
        if type(quantity) is not Quantity:
            raise TypeError(f"it publishes {name} as a {type(quantity).__name__}, not a Quantity")
        if quantity.unit != kind.publishes[name]:
            raise ValueError(f"it publishes {name} in {quantity.unit} and announced {kind.publishes[name]}")
        published[name] = validated_copy(Quantity, quantity)
        _refuse_outside(name, published[name].at, stream.frames / stream.rate)
    return published


def _refuse_outside(name: str, at: At | None, duration: float) -> None:
    """Raise ValueError for a place outside a file of so many seconds, whose last sector may end after it."""
    for second in () if at is None else (at.start_s, at.end_s):
        if second is not None and not 0.0 <= second <= duration + 1.0 / SECTORS_A_SECOND:
            raise ValueError(f"it places {name} at {second:g} s, outside the file, which has {duration:g} s")


def _file_quantities(facts: AudioFacts) -> dict[str, Quantity]:
    """Return the file's own numbers as measurements."""
    numbers = {
        "audio.sample_rate": facts.sample_rate,
        "audio.bit_depth": BITS.get(facts.coding or ""),
        "audio.channels": facts.channels,
        "audio.duration": facts.duration_s,
    }
    return {name: Quantity(value=value, unit=FILE_UNITS[name]) for name, value in numbers.items() if value is not None}


def _tracks(side: Side) -> tuple[Track, ...]:
    """Return the declared tracks with their exact times; a segue has no mark after it."""
    return tuple(
        Track(track.number, track.title or "", track.start, track.end, track.gap_after != "segue")
        for track in side.tracks
        if track.start is not None and track.end is not None
    )
