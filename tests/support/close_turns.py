"""A house's rule on the groove: the land that its turns leave between each other, as a plugin."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from qc import Curve, Groove, GrooveAt, GrooveDerived, Judged, Limit, LimitCheck, Model, Quantity
from qc.plugin_host.host import Host
from support.plugins import hosted, plugin

NAME = "house.turn_land"


@dataclass(frozen=True)
class TurnLand(GrooveDerived[np.ndarray]):
    """The least land of each turn."""

    id: ClassVar[str] = "house.turn-land"
    publishes: ClassVar[Mapping[str, str]] = {NAME: "um", "house.close_turns": "1"}
    meanings: ClassVar[Mapping[str, str]] = {NAME: "Land left between neighbouring turns where they come closest."}

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def evaluate(self, groove, results):
        self.asked(groove.level_db)
        return [(turn.land_um.min(), turn.at(int(turn.land_um.argmin()))) for turn in groove.by_turn()]

    def asked(self, level):
        """Called at each level; tests count the calls here."""

    def publish(self, result):
        least, at = min(result, key=lambda turn: turn[0])
        close = sum(land < 10.0 for land, _ in result)
        return {
            NAME: Quantity(value=least, unit="um", at=at),
            "house.close_turns": Quantity(value=close, unit="1"),
        }

    def curves(self, result):
        values = np.array([land for land, _ in result])
        return {NAME: Curve(values, "um", 0.9, 1.8)}


class CloseTurnsLimits(Model):
    least: Limit


class CloseTurns(LimitCheck[CloseTurnsLimits]):
    """Turns lie closer than the house wants them."""

    id = "house.close-turns"
    title = "Turns lie too close"
    why = "Our lathe's heat widens the groove: turns that close touch."
    how = "The least land between neighbouring turns."
    remedy = "Cut it at a lower level."
    needs = (TurnLand,)
    Limits = CloseTurnsLimits
    judges: ClassVar[Mapping[str, Judged]] = {"least": Judged(NAME, ">=", "the land between turns")}


def counting(kind: type[Any] = TurnLand, **changes: Any) -> tuple[type[Any], list[float]]:
    """Return a kind of need that notes the level of each call, and the list of its notes; with other methods."""
    levels: list[float] = []
    body = {"asked": lambda _, level: levels.append(level), **changes}
    return type(kind.__name__, (kind,), body), levels


def host_of(*needs: type[Any], checks: Iterable[type[Any]] = (CloseTurns,)) -> Host:
    """The tool's own plugins and a house with some needs, which its checks ask for in place of their own."""
    own = [type(kind.__name__, (kind,), {"needs": needs or kind.needs}) for kind in checks]
    return hosted({"house": plugin(qc_measures=list(needs), qc_checks=own)})


class GrooveReader(LimitCheck[CloseTurnsLimits]):
    """Reads the groove itself at the judged level."""

    id, title, why, how, remedy = "house.reads-groove", "Reads", "It does.", "It looks.", "None."
    needs = (GrooveAt,)
    Limits = CloseTurnsLimits

    def evaluate(self, ctx):
        groove: Groove = ctx[GrooveAt]
        least = Quantity(value=float(groove.land_um.min()), unit="um", at=groove.at(int(groove.land_um.argmin())))
        ctx.note(f"cut at {groove.level_db:.1f} dB")
        yield from ctx.hold(least, self.limits.least, op=">=", of="the land")
