"""One side measured and worked out at the levels that were asked for, for commands that look into its groove."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from qc.audio.excerpts import Excerpts
from qc.delivery.model import Side
from qc.groove.level.release import DiscDecision, LevelOption, by_discs
from qc.groove.level.side_at_level import WorkedSide
from qc.judge.session import DeliveryJudging, PreparedRun
from qc.measure.side import MeasureOptions, Progress
from qc.model.errors import PluginError, UsageError


@dataclass(frozen=True, eq=False)
class JudgedSide:
    """A side worked out, the levels in dB to cut it at, and its second look."""

    worked: WorkedSide
    levels: tuple[float, ...]
    excerpts: Excerpts


def judged_side(
    case: PreparedRun, chosen: tuple[int, Side], options: Sequence[LevelOption], how: MeasureOptions,
    progress: Callable[[str], Progress | None], refused: str,
) -> JudgedSide:  # fmt: skip
    """Measure a side, and the others of its disc where its level depends on them.

    Raises UsageError without a groove, and PluginError where a plugin failed, since its limit may set the level.
    `options` are levels to cut it at; without any, the level that it is judged at. `refused` begins the sentence of
    the error: "listen: side A cannot be played".
    """
    index, side = chosen
    everything = list(enumerate(case.read.delivery.sides))
    disc_sides = next(disc for disc in by_discs(everything) if index in [i for i, _ in disc])
    if options and "release" not in options:
        disc_sides = (chosen,)
    judging = DeliveryJudging(case, how, draws=False)
    searched, disc = judging.decided(
        disc_sides, {side.id}, lambda name: replace(how, progress=progress(name)), whole=False
    )
    here = searched[side.id]
    if here.worked is None or here.measurement.excerpts is None:
        fatal = here.measurement.received.fatal
        why = fatal.message if fatal is not None else next(iter(here.broken.values()), "its groove is unknown")
        raise UsageError(f"{refused}: {why}")
    for failure in judging.failures:  # a limit that sets the level may be without its number
        raise PluginError(f"{refused}: plugin {failure.plugin} failed at {failure.stage}: {failure.message}")
    wanted = tuple(options) or (None,)
    levels = tuple(dict.fromkeys(_level(replace(disc, option=option), side.id) for option in wanted))
    return JudgedSide(here.worked, levels, here.measurement.excerpts)


def _level(disc: DiscDecision, side: str) -> float:
    level = disc.level_of(next(levels for levels in disc.sides if levels.side == side))
    assert level is not None  # the side was measured
    return level.level
