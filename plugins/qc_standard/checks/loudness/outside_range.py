"""Loudness of the file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


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
    Limits = OutsideRangeLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "loudest": Judged("loudness.integrated", "<=", "the loudness of the side"),
        "quietest": Judged("loudness.integrated", ">=", "the loudness of the side"),
    }
