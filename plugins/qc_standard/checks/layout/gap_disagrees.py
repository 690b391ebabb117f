"""Declared gaps compared with the measured silences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import ClassVar

import numpy as np

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
    clock,
)
from qc_standard.layout import DeclaredTrack, SilentStretch, gaps, silences, sounding, within
from qc_standard.own_limits import MostPercent, MostSeconds


class GapDisagreesLimits(Model):
    """Largest part of a declared gap with programme, and longest silence where no gap is declared."""

    programme: MostPercent
    silence: MostSeconds


class GapDisagrees(Check[GapDisagreesLimits]):
    """Gaps are not where the delivery declares them."""

    id = "layout.gap-disagrees"
    title = "Gaps and silences are not where the track list says"
    why = (
        "In a declared gap the groove is opened into a mark, and music there is cut far apart for nothing. A silence "
        "that nobody declared may be a gap without its mark, or a drop-out."
    )
    how = (
        "The part of each declared gap of more than 0.3 s with programme, 10 dB above the noise floor of the side "
        "(programme.noise_floor), by windows of 10 ms; and "
        "every stretch without programme inside the side that no declared gap covers."
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
    blind_to = "What sounds in a gap: applause and room tone count as programme."
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
        for silence in _undeclared(silences(programme), tracks):
            of = f"the silence at {clock(silence.start_s)}, where no gap is declared,"
            at = At(start_s=silence.start_s, end_s=silence.end_s)
            quantity = Quantity(value=silence.seconds, unit="s", at=at)
            yield from ctx.hold(quantity, self.limits.silence, op="<=", of=of)


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
