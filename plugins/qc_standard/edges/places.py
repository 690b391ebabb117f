"""The edges that are judged: those of the side, and those where a track is declared to start or end."""

from __future__ import annotations

from collections.abc import Iterator

from qc.plugin_api import CheckContext, NotApplicableError
from qc_standard.edges.starts_and_ends import EdgesResult
from qc_standard.layout import DeclaredTrack

NEAR = 1.0
"""Seconds by which the sound may start or end beside its declared time and is still the track's."""


def judged_starts(ctx: CheckContext, result: EdgesResult) -> Iterator[tuple[int, int | None]]:
    """Yield the indices of the starts of the side and of its tracks, with the number of a declared track.

    Raises NotApplicableError for a silent side, which has none.
    """
    times = {track.number: track.start for track in _tracks(ctx)}
    yield from _judged([edge.at_s for edge in result.starts], times, 0)


def judged_ends(ctx: CheckContext, result: EdgesResult) -> Iterator[tuple[int, int | None]]:
    """Yield the indices of the ends of the side and of its tracks, with the number of a declared track.

    Raises NotApplicableError for a silent side, which has none.
    """
    tracks = _tracks(ctx)
    times = {track.number: track.end for track in tracks if not track.segue}
    yield from _judged([edge.at_s for edge in result.ends], times, len(result.ends) - 1)


def _tracks(ctx: CheckContext) -> list[DeclaredTrack]:
    return DeclaredTrack.every(ctx.declared)


def _judged(edges_s: list[float], times: dict[int, float], always: int) -> Iterator[tuple[int, int | None]]:
    if not edges_s:
        raise NotApplicableError("the side is silent")
    for index, second in enumerate(edges_s):
        near = [number for number, time in times.items() if abs(time - second) <= NEAR]
        if near or index == always:
            yield index, near[0] if near else None
