"""Parse `--radius` and the times of a place on a side, as `listen` and `where` write them."""

from __future__ import annotations

from qc.delivery.timecode import read_time
from qc.model.errors import UsageError
from qc.model.quantity import read
from qc.text.sanitize import shown


def read_radius(written: str, example: str) -> float:
    """Parse a radius to m; raises UsageError, one sentence with an `example`, for what is none."""
    try:
        value = read(written, "m")
    except ValueError:
        value = 0.0
    if not value > 0.0:
        raise UsageError(f'--radius "{shown(written)}" is no radius; write it as {example}')
    return value


def read_second(option: str, written: str) -> float:
    """Parse the time of an option to seconds; raises UsageError, one sentence, for what is none."""
    try:
        return float(read_time(written))
    except ValueError as why:
        raise UsageError(f"{option}: {why}") from None
