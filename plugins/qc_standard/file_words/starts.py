"""Compare the cue points of a side's file with the declared starts of its tracks."""

from __future__ import annotations

from collections.abc import Sequence

from qc.plugin_api import At, CuePoint, FileTags, clock
from qc_standard.file_words.contradictions import Contradiction
from qc_standard.file_words.declared import ListedSide, ListedTrack
from qc_standard.file_words.wording import agree, names_something, quoted

NEAR_S = 1.0
"""Greatest distance in s of a cue point from the start that it marks (practice)."""
AT_THE_START_S = 5.0
"""A cue point before this second may mark the start of the file or of the first track."""


def starts_otherwise(tags: FileTags, side: ListedSide) -> Contradiction | None:
    """Return the contradiction between the cue points of each kind and the starts, or None.

    A file may mark many other places: its points are compared where a label is the title of a track, or where there
    are about as many points as tracks.
    """
    tracks = [track for track in side.tracks if track.start is not None]
    if tags.track is not None or not tracks:
        return None
    for source in dict.fromkeys(point.source for point in tags.cue_points):
        points = [point for point in tags.cue_points if point.source == source]
        wrong = _wrong(points, tracks)
        if wrong:
            return _contradiction(wrong, tags.file)
    return None


def _wrong(points: Sequence[CuePoint], tracks: Sequence[ListedTrack]) -> list[tuple[CuePoint, ListedTrack]]:
    """Return the pairs of a cue point and a track that begin apart."""
    by_label = [
        (point, track) for track in tracks for point in points if point.label and _names(point.label, track, tracks)
    ]
    if by_label:
        return [pair for pair in by_label if _apart(*pair) and not _marked(pair[1], points)]
    inside = [point for point in points if point.second > AT_THE_START_S]
    later = [track for track in tracks if (track.start or 0.0) > AT_THE_START_S]
    if len(inside) not in {len(later), len(later) + 1} or all(_marked(track, points) for track in later):
        return []
    return [pair for pair in zip(inside, later, strict=False) if _apart(*pair)]


def _names(label: str, track: ListedTrack, tracks: Sequence[ListedTrack]) -> bool:
    """Whether a label is the title of this track and of no other."""
    fitting = [its for its in tracks if its.title and names_something(its.title) and agree(label, its.title)]
    return fitting == [track]


def _apart(point: CuePoint, track: ListedTrack) -> bool:
    return abs(point.second - (track.start or 0.0)) > NEAR_S


def _marked(track: ListedTrack, points: Sequence[CuePoint]) -> bool:
    return any(not _apart(point, track) for point in points)


def _contradiction(wrong: Sequence[tuple[CuePoint, ListedTrack]], file: str) -> Contradiction:
    point, track = wrong[0]
    label = f" {quoted(point.label)}" if point.label else ""
    more = f", and {len(wrong) - 1} more likewise" if len(wrong) > 1 else ""
    return Contradiction(
        kind="track start",
        says=f"a track starts at {clock(point.second)} ({point.source}{label})",
        listed=f"the delivery starts track {track.number} at {clock(track.start or 0.0)}{more}",
        field=("tracks", track.index, "start"),
        file=file,
        at=At(start_s=point.second, track=track.number),
    )
