"""Options of `sidegate where` as they are written: a radius, a time, or a turn with an angle."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Self

from qc.groove.geometry.position import FULL_TURN
from qc.groove.level.release import LevelOption
from qc.judge.level_option import read_level
from qc.judge.position_options import read_radius, read_second
from qc.model.errors import UsageError
from qc.model.quantity import read
from qc.text.sanitize import shown


@dataclass(frozen=True)
class WhereRequest:
    """A place on a side: one of radius in m, file second and turn, counted from 1 with an angle in deg."""

    side: str
    radius: float | None = None
    second: float | None = None
    turn: int | None = None
    angle: float = 0.0
    level: LevelOption | None = None
    """None: the level that the side is judged at"""

    @classmethod
    def parse(
        cls, side: str, radius: str | None = None, time: str | None = None, turn: str | None = None,
        angle: str | None = None, level: str | None = None,
    ) -> Self:  # fmt: skip
        """Parse the options of the command; raises UsageError, one sentence."""
        given = [name for name, text in (("--radius", radius), ("--time", time), ("--turn", turn)) if text is not None]
        if len(given) != 1:
            what = f"{' and '.join(given)} are given" if given else "no place is given"
            raise UsageError(f"where: {what}; name the place by one of --radius, --time and --turn")
        if angle is not None and turn is None:
            raise UsageError("--angle: an angle belongs to a turn; give --turn too")
        return cls(
            side,
            None if radius is None else read_radius(radius, "71.6mm"),
            None if time is None else read_second("--time", time),
            None if turn is None else _turn(turn),
            0.0 if angle is None else _angle(angle),
            read_level(level),
        )


def _turn(written: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", written) or int(written) < 1:
        raise UsageError(f'--turn "{shown(written)}" is no turn; write its number, from 1 at the rim, as 210')
    return int(written)


def _angle(written: str) -> float:
    try:
        value = read(written, "deg")
    except ValueError:
        value = FULL_TURN
    if not 0.0 <= value < FULL_TURN:
        raise UsageError(
            f'--angle "{shown(written)}" is no angle in a turn; write it as 120deg, from 0 to below 360deg'
        )
    return value
