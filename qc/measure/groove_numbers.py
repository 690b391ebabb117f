"""Needs that plugins derive from the groove: each evaluated once at a cut level, and the levels their limits allow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from qc.dsp.samples.own_copy import OwnCopies
from qc.groove.geometry.side import SideGeometry
from qc.groove.level.groove_at import groove_at, groove_copy
from qc.groove.level.levels import Reached
from qc.groove.level.memo import Recent
from qc.groove.level.outside import OutsideLimits, OutsideSearch, number_at
from qc.groove.level.rows import LevelRow
from qc.groove.signal.programme import Programme
from qc.measure.side import SideMeasurement, published_by
from qc.model.errors import FAULTS, NotMeasuredError
from qc.model.groove import Groove
from qc.plugin_base import At, GrooveAt, GrooveDerived, Measurements, Need, Quantity
from qc.plugin_host.places import place_of
from qc.plugin_host.runner import Runner
from qc.text.exceptions import describe, exception_line

Kind = type[Need[Any]]


@dataclass(frozen=True)
class GrooveResults:
    """The results and numbers of all such needs at one level."""

    results: Mapping[Kind, Any]
    quantities: Mapping[str, Quantity]


class GrooveNumbers:
    """The needs derived from the groove of one side; what was evaluated at a level is kept.

    A need that raises or times out, or whose number gets better as the level rises, is in `broken` with the reason,
    and is not called again.
    """

    def __init__(self, measurement: SideMeasurement, runner: Runner) -> None:
        """Take the needs of a measured side."""
        self.broken: dict[Kind, str] = {}
        self._needs = {kind: need for kind, need in measurement.needs.items() if isinstance(need, GrooveDerived)}
        self._measurement, self._runner = measurement, runner
        self._side: SideGeometry | None = None
        self._grooves: Recent[GrooveAt, Groove] = Recent(1)
        self._evaluated: dict[tuple[Kind, float], tuple[Any, dict[str, Quantity]]] = {}

    def on(self, side: SideGeometry) -> GrooveNumbers:
        """Return the same needs on a groove, under its chain; what breaks there is broken here too."""
        there = GrooveNumbers(self._measurement, self._runner)
        there.broken, there._side = self.broken, side
        return there

    def apart(self) -> GrooveNumbers:
        """Return the same needs, whose later failures are not among those of the side."""
        there = GrooveNumbers(self._measurement, self._runner)
        there.broken, there._side = dict(self.broken), self._side
        return there

    def groove(self, at: GrooveAt) -> Groove:
        """Return a copy of the groove at a level, so that no reader sees what another one changes."""
        return groove_copy(self._grooves.get(at, lambda: self._computed(at)))

    def _computed(self, at: GrooveAt) -> Groove:
        assert self._side is not None  # it was taken `on` a groove
        assert at.level_db is not None  # it is asked for by number
        return groove_at(self._side, at.level_db, self._measurement.results[Programme])

    def forget(self) -> None:
        """Release the arrays of the groove; they are computed again when they are asked for."""
        self._grooves.clear()

    def at(self, level: float) -> GrooveResults:
        """Return the results and numbers at a level in dB of all needs but the broken ones."""
        results: dict[Kind, Any] = {}
        quantities: dict[str, Quantity] = {}
        for kind in self._needs:
            try:
                result, published = self._at(kind, level)
            except FAULTS as error:
                self.broken.setdefault(kind, exception_line(error))
            else:
                results[kind] = result
                quantities |= published
        return GrooveResults(results, quantities)

    def limits(self, rows: Sequence[LevelRow]) -> OutsideLimits:
        """Search the limits among `rows` that are on numbers of these needs and set the level."""
        found = OutsideLimits()
        for kind in self._needs:
            own = [row for row in rows if row.sets_level and row.measure in kind.publishes]
            if not own:
                continue
            try:
                limits = OutsideSearch(partial(self._numbers, kind)).reach(own)
            except FAULTS as error:
                describe(error, place_of(self._needs[kind].evaluate))  # what the search raises about it has no line
                self.broken.setdefault(kind, exception_line(error))
            else:
                found = found.joined(limits)
        return replace(found, place=self._place, number=self._number)

    def publishes(self, measure: str) -> bool:
        """Whether a measurement is one of these needs'."""
        return any(measure in kind.publishes for kind in self._needs)

    def _kind_of(self, measure: str) -> Kind:
        """Return the one of these needs that publishes a measurement."""
        return next(kind for kind in self._needs if measure in kind.publishes)

    def level_for(self, row: LevelRow) -> Reached:
        """Return the highest level at which the value that sets the level holds by itself; raises NotMeasuredError.

        Nothing is broken by a number that does not follow the level: no limit relies on it.
        """
        kind = self._kind_of(row.measure)
        try:
            found = OutsideSearch(partial(self._numbers, kind)).reach([row]).by_limit.get(row)
        except FAULTS as error:
            raise NotMeasuredError(exception_line(error)) from error
        if found is None:
            raise NotMeasuredError(f"{row.measure} has no value on this side")
        return found

    def outside(self, side: SideGeometry, rows: Sequence[LevelRow]) -> OutsideLimits:
        """Search the limits among `rows` on another groove of the side, under its chain."""
        return self.on(side).limits(rows)

    def _place(self, measure: str, level: float) -> At | None:
        """Return the place of a number at a level that was asked."""
        _, published = self._evaluated.get((self._kind_of(measure), level), (None, {}))
        return published[measure].at if measure in published else None

    def _number(self, measure: str, level: float) -> Quantity | None:
        """Return a number at a level, evaluated there if it was not; None where its need breaks."""
        kind = self._kind_of(measure)
        try:
            return number_at(self._numbers(kind, level), measure, level)
        except FAULTS as error:
            self.broken.setdefault(kind, exception_line(error))
            return None

    def _numbers(self, kind: Kind, level: float) -> dict[str, Quantity]:
        return self._at(kind, level)[1]

    def _at(self, kind: Kind, level: float) -> tuple[Any, dict[str, Quantity]]:
        """Return the result and numbers of a need at a level, evaluated once; raises what the need raises."""
        if kind in self.broken:
            raise LookupError(self.broken[kind])
        if (kind, level) not in self._evaluated:
            groove = self.groove(GrooveAt(level))
            read = self._measurement.read_by_groove
            assert read is not None  # a side with a groove was measured
            self._evaluated[kind, level] = self._runner(_evaluate, kind, self._needs[kind], groove, read)
        return self._evaluated[kind, level]


def _evaluate(
    kind: Kind, need: GrooveDerived[Any], groove: Groove, read: Measurements
) -> tuple[Any, dict[str, Quantity]]:  # fmt: skip
    """Return the result and numbers of a need; it gets the results that it reads in a collection of its own."""
    own = set(need.needs())
    results = Measurements(
        read.stream,
        read.passes,
        OwnCopies({other: result for other, result in read.results.items() if other in own}),
        {other: why for other, why in read.failed.items() if other in own},
    )
    result = need.evaluate(groove, results)
    return result, published_by(kind, need, result, read.stream)
