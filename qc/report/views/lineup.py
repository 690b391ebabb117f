"""Line-up tones in words."""

from __future__ import annotations

from qc.model.quantity import clock
from qc.model.report import SideReport

MOST = 6
"""Tones that are listed; more of them are counted."""


def lineup_line(side: SideReport) -> str:
    """List the line-up tones at the head of a side; empty where there are none."""
    if not side.lineup:
        return ""
    first, last = side.lineup[0], side.lineup[-1]
    each = [
        f"{tone.frequency_hz:.0f} Hz at {tone.level_dbfs:+.1f} dBFS from {clock(tone.start_s)}" for tone in side.lineup
    ]
    more = f" and {len(each) - MOST} more" if len(each) > MOST else ""
    times = f"{clock(first.start_s)} to {clock(last.end_s)}"
    return f"Line-up tones {times}, no programme and not cut: {', '.join(each[:MOST])}{more}"
