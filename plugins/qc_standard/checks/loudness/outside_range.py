"""Loudness of the file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from qc.plugin_api import CheckContext, Finding, ForClient, Judged, Limit, LimitCheck, Model, Need, NotMeasuredError
from qc_standard.documents.track_loudness import TrackLevels, TrackLoudness
from qc_standard.layout import DeclaredTrack


class OutsideRangeLimits(Model):
    """Highest and lowest loudness of the whole file."""

    loudest: Limit
    quietest: Limit


class OutsideRange(LimitCheck[OutsideRangeLimits]):
    """The file is louder or quieter as a whole than masters for the cut are."""

    id = "loudness.outside-range"
    title = "The file is unusually loud or quiet"
    why = (
        "Loudness near full scale is bought with limiting, which no cut gives back: the side is then cut lower and "
        "ends up no louder, only flatter. A very quiet file often had its level set by mistake."
    )
    how = "Loudness of the whole side in LUFS, gated as ITU-R BS.1770 lays down; mono counts as both channels."
    remedy = (
        "Too loud: ask for a version without loudness limiting. Too quiet: ask whether the level is meant, and for a "
        "24-bit file. About -18 LUFS is what masters for the cut are often asked to have."
    )
    client = ForClient(
        name="How loud the file is",
        means=(
            "A file that was made very loud does not make a louder record: we have to turn it down, and what was "
            "flattened to make it loud stays flat. A file that is very quiet may have been saved at the wrong level."
        ),
        asks=(
            "If it is very loud: please ask for a version that was not made loud at the end, without the step that "
            "engineers call limiting. If it is very quiet: please tell us whether it is meant so."
        ),
    )
    blind_to = "Limiting in a file whose level was taken down afterwards, and music that is meant to be dense."
    needs: ClassVar[tuple[type[Need[Any]], ...]] = (TrackLoudness,)
    Limits = OutsideRangeLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "loudest": Judged("loudness.integrated", "<=", "the loudness of the side"),
        "quietest": Judged("loudness.integrated", ">=", "the loudness of the side"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the loudness of the side; a note lists that of each track."""
        found = list(super().evaluate(ctx))
        tracks = DeclaredTrack.every(ctx.declared)
        if len(tracks) > 1:
            try:
                ctx.note(_by_track(tracks, ctx[TrackLoudness]))
            except NotMeasuredError:
                return found
        return found


def _by_track(tracks: list[DeclaredTrack], levels: TrackLevels) -> str:
    """Return the loudness of each track and of its loudest 3 s in one sentence."""
    by_index = {level.index: level for level in levels.tracks}
    parts = []
    for k, track in enumerate(tracks):
        level = by_index.get(k)
        if level is None:
            parts.append(f"{track.number} silent")
            continue
        most = "" if level.short_term_max is None else f" ({level.short_term_max:.1f})"
        parts.append(f"{track.number} {level.integrated:.1f}{most}")
    return f"loudness of the tracks in LUFS, and of the loudest 3 s of each: {', '.join(parts)}"
