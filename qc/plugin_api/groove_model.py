"""The groove model behind the numbers: the side as it was searched and judged, and the constants of its rules.

A rule on the groove needs none of it: `GrooveDerived` gets the groove, and `CheckContext.measured` the numbers.
"""

from qc.groove.geometry.cut import CHART, ROOM, ends_at, windowed
from qc.groove.geometry.playing_time import above_chart, minutes_for
from qc.groove.geometry.span import LEAST_GAP
from qc.groove.geometry.time_shares import TIMES
from qc.groove.geometry.traces import DRIVES
from qc.groove.level.side_at_level import AsCut, WorkedSide
from qc.groove.playback.estimate import RESIDUAL
from qc.groove.signal.programme import WINDOWS_A_SECOND

__all__ = [
    "CHART", "DRIVES", "LEAST_GAP", "RESIDUAL", "ROOM", "TIMES", "WINDOWS_A_SECOND", "AsCut", "WorkedSide",
    "above_chart", "ends_at", "minutes_for", "windowed",
]  # fmt: skip
