"""A side worked out: at which level it is judged, and every groove number there with its place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import ClassVar, Literal, Self

from qc.dsp.samples.own_copy import own_copy
from qc.groove.geometry.cut import MEASURES, OF_LOUDNESS, Cutting, measurable
from qc.groove.geometry.side import SideGeometry
from qc.groove.level.budget import LevelBudget, budget
from qc.groove.level.events import PlacedEvent, events, placed
from qc.groove.level.levels import LevelSearch, Reached, lowest
from qc.groove.level.memo import LevelMemo
from qc.groove.level.outside import OutsideLimits
from qc.groove.level.print_through import Neighbours, neighbours
from qc.groove.level.release import JudgedLevel, SideLevels
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.playback.estimate import RESIDUAL, TOP_LOSS, PlaybackSeconds, estimate
from qc.model.cutting_chain import Chain
from qc.model.quantity import Polarity
from qc.plugin_base import At, Need, Quantity

UNITS: dict[str, str] = {name: measure.unit for name, measure in (MEASURES | OF_LOUDNESS).items()} | {
    "groove.recommended_level": "dB",
    "groove.edge_level": "dB",
    "groove.clean_level": "dB",
    "groove.level_over_recommended": "dB",
    RESIDUAL: "dB",
    TOP_LOSS: "dB",
}
"""Unit of every measurement that is worked out here."""


@dataclass(frozen=True, eq=False)
class WorkedSide:
    """The levels that a side takes, dB, and its search, which measures the side at any level."""

    search: LevelSearch
    by_limit: dict[LevelRow, Reached]
    edge: Reached
    """the highest level at which every limit holds that sets the level"""
    clean: Reached
    declared: float | None
    policy: LevelPolicy = EDGE
    decided: JudgedLevel | None = None
    """the level it is judged at; None: the one asked for, else the recommended one"""
    replayed: PlaybackSeconds | None = None
    """the playback of each second at the judged level, the worst ones exact; None: estimated"""
    outside: OutsideLimits = field(default_factory=OutsideLimits)
    """limits on numbers that plugins compute from the groove, as far as they set the level"""

    @classmethod
    def of(
        cls, side: SideGeometry, rows: Iterable[LevelRow], declared: float | None,
        memo: LevelMemo | None = None, policy: LevelPolicy = EDGE,
    ) -> WorkedSide:  # fmt: skip
        """Work out a side; `declared` is the cut level asked for in dB, None when it is free.

        `memo` has the numbers of earlier searches of the same span under the same chain; those of this one are added.
        """
        search = LevelSearch(side, rows, memo)
        return cls(search, *search.allowed(), declared, policy)

    def under(self, outside: OutsideLimits) -> WorkedSide:
        """Return the same side with further limits that set its level; the search and its memo are shared."""
        if not outside.by_limit:
            return self
        edge = lowest([self.edge, *outside.by_limit.values()])
        return replace(
            self,
            by_limit={**self.by_limit, **outside.by_limit},
            edge=edge if edge == self.edge else self.search.lowered(edge),
            clean=lowest([self.clean, *outside.clean]),
            outside=outside,
        )

    def own_copy(self) -> WorkedSide:
        """Return the same side for one reader, which shares no array that can be written with this one."""
        return replace(self, search=self.search.own_copy(), replayed=own_copy(self.replayed))

    @cached_property
    def recommended(self) -> Reached:
        """The recommended level: the edge, or as far below it as the policy says."""
        return self.search.recommended(self.edge, self.policy)

    @cached_property
    def failing(self) -> tuple[LevelRow, ...]:
        """The limits that fail at the recommended level because the ruleset does not let them set it."""
        return self.search.failing(self.recommended.level)

    @cached_property
    def mended(self) -> tuple[LevelRow, ...]:
        """The limits that set the level and warn nowhere at the clean level."""
        further = [row for row in self.outside.by_limit if self._keeps_quiet(row)]
        return (*self.search.quiet(self.clean.level), *further)

    def _keeps_quiet(self, row: LevelRow) -> bool:
        """Whether a limit of `outside` warns nowhere at the clean level."""
        warned = self.outside.warned.get(row)
        return warned is None or (warned.bound != "<" and warned.level >= self.clean.level)

    def at(self, decided: JudgedLevel) -> WorkedSide:
        """Return the same side judged at another level; the search and its memo are shared."""
        return replace(self, decided=decided, replayed=None)

    def levels(self, side: str) -> SideLevels:
        """Return the levels that the side brings to the decision about its disc."""
        return SideLevels(side, self.declared, self.recommended, self.clean)

    @property
    def judged(self) -> float:
        """The cut level the side is judged at, dB: the one decided on, else the one asked for or the recommended."""
        if self.decided is not None:
            return self.decided.level
        return self.recommended.level if self.declared is None else self.declared

    @property
    def requested(self) -> float | None:
        """The cut level that was requested, dB, by the delivery or for this run; None where the level is free."""
        return self.declared if self.decided is None else self.decided.requested

    @cached_property
    def polarity(self) -> Polarity:
        """The polarity that travels further at the judged level."""
        return self.search.worst("groove.travel", self.judged)[1]

    @property
    def cutting(self) -> Cutting:
        """The side as cut at the judged level, for the polarity that travels further."""
        return self.search.cutting(self.judged, self.polarity)

    @property
    def playback(self) -> PlaybackSeconds:
        """The playback of each second at the judged level, for the polarity that travels further."""
        return estimate(self.cutting) if self.replayed is None else self.replayed

    def quantities(self, integrated: Quantity | None) -> dict[str, Quantity]:
        """Return every groove measurement at the judged level; `integrated` is the loudness in LUFS."""
        found = {name: self.search.quantity(name, self.judged) for name in MEASURES}
        for name, how in OF_LOUDNESS.items():
            if measurable(name, self.search.side):
                value = self.search.worst(name, self.judged)[0].value
                found[name] = Quantity(value=value, unit=how.unit)
        if integrated is not None and "groove.level_on_disc" in found:
            on_disc = found["groove.level_on_disc"]
            found["groove.level_on_disc"] = on_disc.model_copy(update={"bound": integrated.bound})
        found["groove.recommended_level"] = self.recommended.quantity()
        found["groove.edge_level"] = self.edge.quantity()
        found["groove.clean_level"] = self.clean.quantity()
        found |= self._playback()
        if self.requested is not None:
            over = self.requested - self.recommended.level
            found["groove.level_over_recommended"] = Quantity(value=over, unit="dB", at=self._ruling_place())
        return found

    def _playback(self) -> dict[str, Quantity]:
        """Return residual and loss of treble of the worst second; none where no second has programme."""
        seconds, cutting, found = self.playback, self.cutting, {}
        for name, values in seconds.by_name.items():
            worst = seconds.worst(name)
            if worst is not None:
                start = int(seconds.starts[worst])
                at = cutting.side.at(
                    start, start + seconds.sectors, cutting.radius_at(start), cutting.polarity, None
                )  # fmt: skip
                accuracy: Literal["exact", "estimated"] = "exact" if worst in seconds.played else "estimated"
                found[name] = Quantity(value=float(values[worst]), unit=UNITS[name], accuracy=accuracy, at=at)
        return found

    def _ruling_place(self) -> At | None:
        """Place where the limit that rules is worst at the judged level."""
        ruling = self.recommended.by
        return None if ruling is None else self.place_of(ruling, self.judged)

    def place_of(self, row: LevelRow, level: float) -> At | None:
        """Place where the measurement of a limit is worst at a level in dB."""
        if row in self.outside.by_limit:
            at = self.outside.place(row.measure, level)
            return None if at is None else self.place(at)
        return self.search.quantity(row.measure, level).at

    @cached_property
    def budget(self) -> LevelBudget:
        """The level that each limit allows, and what reducing the worst passages would win."""
        self.search.forget()
        return budget(self.search.side, self.by_limit, self.edge, self.search.memo)

    @cached_property
    def neighbours(self) -> list[Neighbours]:
        """Turns that may print through, for the polarity that travels further."""
        found = neighbours(self.cutting)
        self.search.forget()
        return found

    def events(self, measure: str, warn: float | None, fail: float | None) -> list[PlacedEvent]:
        """Return every stretch in which a measurement does not keep to a limit, in its unit, at the judged level."""
        found = events(self.search, self.judged, measure, warn, fail)
        return [placed(self.search, self.judged, event) for event in found]

    def windows(self) -> dict[str, At]:
        """Place the window of each share and drive at the judged level."""
        found = {name: self.search.window(name, self.judged) for name in MEASURES}
        return {name: at for name, at in found.items() if at is not None}

    def place(self, at: At) -> At:
        """Fill in track and radius of a place given in file seconds, where it lies on the side."""
        if at.start_s is None or at.radius_mm is not None:
            return at
        span = self.search.side.span
        sector = span.sector_at(at.start_s)
        if not 0 <= sector < span.sectors:
            return at
        radius = self.cutting.radius_at(sector) * 1e3
        return at.model_copy(update={"track": span.track_at(sector), "radius_mm": radius})


@dataclass(frozen=True)
class AsCut(Need[WorkedSide]):
    """The side worked out, for what advises on it; there for every side whose groove could be worked out."""

    id: ClassVar[str] = "groove.as_cut"

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build it; it depends on nothing."""
        return cls()
