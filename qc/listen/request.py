"""Options of `sidegate listen` as they are written: the passage, radii, tips and levels."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Self, TypeVar

from qc.groove.level.release import LevelOption
from qc.groove.playback.passage import Tip
from qc.judge.level_option import read_level
from qc.judge.position_options import read_radius, read_second
from qc.listen.imperfections import LONGEST, read_imperfections
from qc.model.cutting_chain import DiscGeometry, NamedTip
from qc.model.errors import UsageError
from qc.model.listen import PlayedImperfection
from qc.model.quantity import clock, read, rounded
from qc.text.sanitize import shown
from qc.text.suggest import meant

T = TypeVar("T")

SHORTEST_S, LONGEST_S = 0.1, 30.0
"""Length of a passage; two of the longest are what a side may be read again."""
LEAST_TIP, GREATEST_TIP = 2e-6, 30e-6
"""m: half the finest line contact, and beyond the tips for coarse microgrooves (G-14, G-15)."""
MOST = 24
"""Most playbacks of one passage."""


@dataclass(frozen=True)
class ListenRequest:
    """Passage to play: a side from one second to another, and levels, radii in m and tips where some are asked for."""

    side: str
    start: float
    end: float
    levels: tuple[LevelOption, ...] = ()
    """none: the level that the side is judged at"""
    radii: tuple[float, ...] = ()
    """in addition to the passage's own"""
    tips: tuple[Tip, ...] = ()
    """in addition to that of the ruleset's chain"""
    tip_names: tuple[str, ...] = ()
    """tips by the names of the ruleset, "spherical": see `with_tips`"""
    imperfections: tuple[PlayedImperfection, ...] = ()
    """of every playback"""

    @classmethod
    def parse(
        cls, side: str, at: str, levels: Sequence[str] = (), radii: Sequence[str] = (), tips: Sequence[str] = (),
        imperfections: Mapping[str, str | None] | None = None,
    ) -> Self:  # fmt: skip
        """Parse the options of the command; raises UsageError, one sentence, for what cannot be played."""
        start, end = _passage(at)
        chosen = tuple(level for text in levels if (level := read_level(text)) is not None)
        sizes = [tip for tip in tips if not _is_name(tip)]
        names = [_plain_name(tip) for tip in tips if _is_name(tip)]
        played_at = _once(read_radius(radius, "60mm") for radius in radii)
        request = cls(
            side, start, end, _once(chosen), played_at, _once(map(_tip, sizes)), _once(names),
            read_imperfections(imperfections or {}),
        )  # fmt: skip
        if request.count > MOST:
            raise UsageError(f"listen: {request.count} playbacks are too many; ask for {MOST} at the most")
        return request

    def with_tips(self, tips: Sequence[NamedTip], ruleset: str) -> Self:
        """Return the request with its tips by name as their radii; raises UsageError for a name that is not there."""
        by_name = {tip.name: tip for tip in tips}
        for name in self.tip_names:
            if name not in by_name:
                hint = f"{meant(name, by_name)}; or " if by_name else ""
                raise UsageError(
                    f'--tip "{shown(name, LONGEST)}": {ruleset} names no such tip; {hint}write its radius as 18um'
                )
        named = [by_name[name] for name in self.tip_names]
        found = [Tip(tip.along, tip.along if tip.across is None else tip.across) for tip in named]
        return replace(self, tips=_once([*self.tips, *found]), tip_names=())

    def refuse(self, disc: DiscGeometry, duration: float | None) -> None:
        """Raise UsageError for a radius where a disc has no groove, or a passage beyond the side's seconds."""
        least, greatest = disc.finishing / 2.0, disc.outer / 2.0
        for radius in self.radii:
            if not least <= radius <= greatest:
                raise UsageError(
                    f"--radius: {1e3 * radius:g} mm lies outside the groove of this disc, which runs from "
                    f"{1e3 * greatest:g} to {1e3 * least:g} mm"
                )
        if duration is not None and self.end > duration:
            raise UsageError(
                f"--at: side {self.side} lasts {clock(duration)}, and the passage ends at {clock(self.end)}"
            )

    @property
    def count(self) -> int:
        """Number of playbacks."""
        return max(1, len(self.levels)) * (1 + len(self.radii)) * (1 + len(self.tips) + len(self.tip_names))


def _once(values: Iterable[T]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(values))


def _passage(written: str) -> tuple[float, float]:
    """Read START-END; raises UsageError."""
    start, dash, end = written.replace("\N{EN DASH}", "-").partition("-")
    if not dash:
        raise UsageError(f'--at "{shown(written, LONGEST)}": write a passage from one time to another, as 4:02-4:06')
    first, last = read_second("--at", start), read_second("--at", end)
    if not SHORTEST_S <= last - first <= LONGEST_S:
        raise UsageError(
            f'--at "{shown(written, LONGEST)}": a passage lasts from {SHORTEST_S:g} to {LONGEST_S:g} s, and ends after '
            "it begins"
        )
    return first, last


def _is_name(written: str) -> bool:
    """Whether a tip is written by its name rather than its radius."""
    text = _plain_name(written)
    return text.replace(" ", "").isalpha() and text != "x"


def _plain_name(written: str) -> str:
    """Return a name as rulesets write it: "line contact" for "line-contact"."""
    return " ".join(written.replace("-", " ").split())


def _tip(written: str) -> Tip:
    """Read "8um", or "8x18um": the radius along the groove, then across it."""
    text = written.replace(" ", "")
    along, cross, across = text.partition("x")
    try:
        second = read(across if cross else along, "m")
        first = read(along if along.rstrip("0123456789.") else f"{along}um", "m") if cross else second
    except ValueError:
        first = second = 0.0
    if not (LEAST_TIP <= first <= GREATEST_TIP and LEAST_TIP <= second <= GREATEST_TIP):
        raise UsageError(
            f'--tip "{shown(written, LONGEST)}" is no tip; write its radius as 18um, or as 8x18um along the groove and '
            f"across it, from {1e6 * LEAST_TIP:g} to {1e6 * GREATEST_TIP:g} um"
        )
    return Tip(rounded(first), rounded(second))
