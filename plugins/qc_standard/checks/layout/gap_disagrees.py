"""Declared gaps compared with the measured silences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Annotated, ClassVar

import numpy as np
from pydantic import Field

from qc.plugin_api import (
    At,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    Programme,
    ProgrammeBounds,
    Quantity,
    Unit,
    clock,
)
from qc_standard.layout import DeclaredTrack, SilentStretch, gaps, silences, sounding, within
from qc_standard.own_limits import MostPercent, MostSeconds

PAUSES = 3
"""Silences near each other that are taken as pauses of the music; a fault of the transfer is seldom so regular."""

HALF = 0.5
"""Part of the shortest silence to judge that a pause lasts at the least, to count among those near each other."""


class GapDisagreesLimits(Model):
    """Largest part of a declared gap with programme, and longest silence where no gap is declared."""

    programme: MostPercent
    silence: MostSeconds
    pauses: Annotated[float, Unit("s")] | None = Field(
        default=None,
        gt=0,
        description=(
            "Three or more silences of one track, with less sound than this from one to the next, are its pauses."
        ),
    )


class GapDisagrees(Check[GapDisagreesLimits]):
    """Gaps are not where the delivery declares them."""

    id = "layout.gap-disagrees"
    title = "Gaps and silences are not where the track list says"
    why = (
        "In a declared gap the groove is opened into a mark, and music there is cut far apart for nothing. A silence "
        "that nobody declared may be a gap without its mark, or a drop-out."
    )
    how = (
        "The programme, 10 dB above the noise floor, in each declared gap over 0.3 s; and silences that no gap covers. "
        "Three of one track, of half the limit or more and less than a minute apart, are its pauses, and one up to a "
        "declared end is the last sound dying away: noted, and judged only where longer than the failure."
    )
    remedy = (
        "Correct the times in the delivery. Where the tracks are meant to run into each other, declare a segue; where "
        "a silence is meant to be a gap, end the track before it."
    )
    client = ForClient(
        name="Pauses that are not where the list has them",
        means=(
            "Between tracks we cut the narrow ring that one sees on a record, where your list has a pause. At these "
            "moments there is either music in such a pause, or a silence that the list does not know of, which may be "
            "a fault in the file."
        ),
        asks="Please listen at these moments, and send us the right times or tell us that it is meant so.",
    )
    blind_to = (
        "What sounds in a gap: applause and room tone count as programme. Tracks of less than a minute that the list "
        "has as one, and several silent faults near each other, look like pauses of the music."
    )
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    Limits = GapDisagreesLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge every gap and every silence by itself; raises NotApplicableError where no track is declared."""
        tracks = DeclaredTrack.every(ctx.declared)
        if not tracks:
            raise NotApplicableError("no track times are declared")
        programme = ctx[Programme]
        there = sounding(programme)
        for track, following in gaps(tracks):
            gap = there[within(track.end, following.start)]
            share = 100.0 * float(gap.mean()) if len(gap) else 0.0
            at = At(start_s=track.end, end_s=following.start, track=track.number)
            of = f"the programme in the declared gap between tracks {track.number} and {following.number}"
            yield from ctx.hold(
                Quantity(value=share, unit="%", at=at), self.limits.programme, op="<=", of=of,
                field=("tracks", track.index, "end"),
            )  # fmt: skip
        silent = list(_undeclared(silences(programme), tracks))
        apart = self.limits.pauses
        for silence in silent if apart is None else self._without_pauses(ctx, silent, tracks, apart):
            of = f"the silence at {clock(silence.start_s)}, where no gap is declared,"
            at = At(start_s=silence.start_s, end_s=silence.end_s)
            quantity = Quantity(value=silence.seconds, unit="s", at=at)
            yield from ctx.hold(quantity, self.limits.silence, op="<=", of=of)

    def _without_pauses(
        self, ctx: CheckContext, silent: list[SilentStretch], tracks: list[DeclaredTrack], apart: float
    ) -> Iterator[SilentStretch]:  # fmt: skip
        """Yield the silences that are neither pauses of the music nor the end of a track, and note the others."""
        limit = self.limits.silence
        shortest = min(value for value in (limit.warn, limit.fail) if value is not None)
        longest = np.inf if limit.fail is None else limit.fail
        excused = set[SilentStretch]()
        for track in tracks:
            last = within(track.end, track.end).start
            inside = [s for s in silent if track.start <= s.start_s and s.end <= last and s.seconds <= longest]
            groups = [group for group in _near(inside, apart, HALF * shortest) if len(group) >= PAUSES]
            for group in groups:
                length = f"{min(s.seconds for s in group):.2f} to {max(s.seconds for s in group):.2f} s"
                reach = f"from {clock(group[0].start_s)} to {clock(group[-1].end_s)}"
                ctx.note(f"Track {track.number} pauses {len(group)} times {reach}, for {length}, taken as its music.")
                excused.update(group)
            for silence in inside:
                if silence.end == last and silence not in excused and silence.seconds > shortest:
                    ctx.note(f"Track {track.number} falls silent {silence.seconds:.2f} s before its declared end.")
                    excused.add(silence)
        yield from (s for s in silent if s not in excused)


def _near(silent: Sequence[SilentStretch], most: float, shortest: float) -> Iterator[list[SilentStretch]]:
    """Group silences of at least `shortest` s with less than `most` s of sound from one to the next."""
    group: list[SilentStretch] = []
    for silence in silent:
        if silence.seconds < shortest:
            continue
        if group and silence.start_s - group[-1].end_s >= most:
            yield group
            group = []
        group.append(silence)
    if group:
        yield group


def _undeclared(silent: list[SilentStretch], tracks: list[DeclaredTrack]) -> Iterator[SilentStretch]:
    """Return the parts of the silences that lie outside every declared gap."""
    declared = [within(track.end, following.start) for track, following in gaps(tracks)]
    for silence in silent:
        left = np.ones(silence.end - silence.first, dtype=np.bool_)
        for gap in declared:
            left[max(0, gap.start - silence.first) : max(0, gap.stop - silence.first)] = False
        edges = np.flatnonzero(np.diff(np.concatenate([[False], left, [False]]).astype(np.int8)))
        for first, end in zip(edges[::2], edges[1::2], strict=True):
            yield SilentStretch(silence.first + int(first), silence.first + int(end))
