"""A side worked out: at which level it is judged, and every groove number there with its place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Self

from qc.chain import SECTORS_A_SECOND, Chain
from qc.contract import At, Need, Quantity
from qc.groove.budget import Budget, budget
from qc.groove.cutting import MEASURES, Cutting
from qc.groove.events import PlacedEvent, events, placed
from qc.groove.known import Known
from qc.groove.levels import LevelSearch, Reached
from qc.groove.neighbours import Neighbours, neighbours
from qc.groove.playing_time import minutes_for
from qc.groove.programme import Heard
from qc.groove.rows import LevelRow
from qc.groove.sectors import GrooveInput
from qc.groove.side import Side
from qc.groove.span import TrackTimes, span_of
from qc.quantity import Polarity

LEAD_OUT_PITCH = 6.4e-3
"""m a turn (D-8)."""

UNITS: dict[str, str] = {name: measure.unit for name, measure in MEASURES.items()} | {
    "groove.judged_level": "dB",
    "groove.recommended_level": "dB",
    "groove.clean_level": "dB",
    "groove.level_on_disc": "LU",
    "groove.level_over_recommended": "dB",
    "layout.lead_out_room": "turn",
    "layout.minutes_over_table": "min",
}
"""Unit of every measurement that is worked out here."""


@dataclass(frozen=True, eq=False)
class WorkedSide:
    """What a side takes: levels in dB, and the search that knows the side at any level."""

    search: LevelSearch
    by_limit: dict[LevelRow, Reached]
    recommended: Reached
    clean: Reached
    declared: float | None

    @classmethod
    def of(
        cls, chain: Chain, envelopes: GrooveInput, heard: Heard, tracks: Sequence[TrackTimes],
        rows: Iterable[LevelRow], declared: float | None, known: Known | None = None,
    ) -> WorkedSide:  # fmt: skip
        """Work out a side; `declared` is the cut level asked for in dB, None when it is free.

        `known` is what earlier searches of the same span found under the same chain; what this one finds is added.
        """
        span = span_of(tracks, heard, envelopes.sectors)
        search = LevelSearch(Side.of(chain, span, envelopes), rows, known)
        return cls(search, *search.allowed(), declared)

    @property
    def judged(self) -> float:
        """The cut level the side is judged at: the one asked for, else the recommended one, dB."""
        return self.recommended.level if self.declared is None else self.declared

    @cached_property
    def polarity(self) -> Polarity:
        """The polarity that travels further at the judged level."""
        return self.search.worst("groove.travel", self.judged)[1]

    @property
    def cutting(self) -> Cutting:
        """The side as cut at the judged level, for the polarity that travels further."""
        return self.search.cutting(self.judged, self.polarity)

    def quantities(self, integrated: Quantity | None) -> dict[str, Quantity]:
        """Give every groove measurement at the judged level; `integrated` is the loudness in LUFS."""
        found = {name: self.search.quantity(name, self.judged) for name in MEASURES}
        found["groove.judged_level"] = Quantity(value=self.judged, unit="dB")
        found["groove.recommended_level"] = self.recommended.quantity()
        found["groove.clean_level"] = self.clean.quantity()
        if integrated is not None:
            on_disc = integrated.value - self.search.side.chain.cut.align + self.judged
            found["groove.level_on_disc"] = Quantity(value=on_disc, unit="LU", bound=integrated.bound)
            found |= self._over_table(on_disc)
        if self.declared is not None:
            over = self.declared - self.recommended.level
            found["groove.level_over_recommended"] = Quantity(value=over, unit="dB", at=self._ruling_place())
        room = (found["groove.last_diameter"].value / 1e3 - self.search.side.chain.disc.finishing) / 2.0
        found["layout.lead_out_room"] = Quantity(
            value=room / LEAD_OUT_PITCH, unit="turn", at=found["groove.last_diameter"].at
        )
        return found

    def _over_table(self, on_disc: float) -> dict[str, Quantity]:
        """Give how many minutes the side is longer than the table allows at its loudness on the disc (5a, S13)."""
        side = self.search.side
        allowed = minutes_for(side.chain.disc.size, side.chain.disc.speed, on_disc)
        if allowed is None:
            return {}
        lasts = min(side.span.end / SECTORS_A_SECOND, side.span.file_end_s) - side.span.start / SECTORS_A_SECOND
        return {"layout.minutes_over_table": Quantity(value=lasts / 60.0 - allowed, unit="min")}

    def _ruling_place(self) -> At | None:
        """Where the limit that rules bites at the level that is judged."""
        ruling = self.recommended.by
        return None if ruling is None else self.search.quantity(ruling.measure, self.judged).at

    @cached_property
    def budget(self) -> Budget:
        """What each limit allows, and what taming the worst passages would win."""
        self.search.forget()
        return budget(self.search.side, self.by_limit, self.recommended, self.search.known)

    @cached_property
    def neighbours(self) -> list[Neighbours]:
        """Turns that may print through, for the polarity that travels further."""
        found = neighbours(self.cutting)
        self.search.forget()
        return found

    def events(self, measure: str, warn: float | None, fail: float | None) -> list[PlacedEvent]:
        """Give every stretch in which a measurement does not keep to a limit, in its unit, at the judged level."""
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
        side, seconds = self.search.side, at.start_s
        sector = int(seconds * SECTORS_A_SECOND + 1e-9) - side.span.start
        if not 0 <= sector < side.span.sectors:
            return at
        radius = self.cutting.radius_at(sector) * 1e3
        return at.model_copy(update={"track": side.span.track_at(sector), "radius_mm": radius})


@dataclass(frozen=True)
class AsCut(Need[WorkedSide]):
    """The side worked out, for what advises on it; there for every side whose groove could be worked out."""

    id: ClassVar[str] = "groove.as_cut"

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build it; it depends on nothing."""
        return cls()
