"""The runs that look into the groove of one side: `listen` and `where`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import qc
from qc.delivery.model import Side
from qc.delivery.reader import ReadDelivery
from qc.groove.level.release import LevelOption
from qc.judge.judged_side import JudgedSide, judged_side
from qc.judge.prepare import (
    Options,
    bound_ruleset,
    chosen_sides,
    measure_options,
    prepared_run,
    side_progress,
    worker_count,
)
from qc.plugin_host.host import Host
from qc.plugin_host.numeric_threads import one_thread_each
from qc.ruleset.choose import choose
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset
from qc.ruleset.overrides import changed, read_changes
from qc.run.plugins import left_out_plugins, read_any

if TYPE_CHECKING:
    from qc.listen.rendering import ListenFiles
    from qc.listen.request import ListenRequest
    from qc.model.where import WhereFound
    from qc.where.request import WhereRequest


class ChosenSide(NamedTuple):
    """One side of a delivery and its ruleset, for a command that looks into its groove."""

    read: ReadDelivery
    ruleset: Ruleset
    side: tuple[int, Side]
    """with its index"""


def chosen_side(path: Path, side: str, options: Options, host: Host, read: ReadDelivery | None) -> ChosenSide:
    """Read a delivery and choose its ruleset; raises PluginError where a check of the ruleset is missing."""
    read = read or read_any(path, host)
    ruleset = changed(choose(read, options.ruleset, host, Shelf.of(host)), read_changes(options.chain))
    left_out_plugins(ruleset, host, options).refuse_missing()
    (found,) = chosen_sides(read, (side,))
    return ChosenSide(read, ruleset, found)


def worked_out(
    chosen: ChosenSide, levels: Sequence[LevelOption], options: Options, host: Host, refused: str
) -> JudgedSide:  # fmt: skip
    """Measure a side and work it out at `levels`; raises the errors of `judged_side`, and for a broken check."""
    read, ruleset, side = chosen
    case = prepared_run(read, ruleset, bound_ruleset(ruleset, host).refuse_broken(), host, options, None)
    how, progress = measure_options(options, host), options.progress
    return judged_side(case, side, levels, how, lambda name: side_progress(progress, name), refused)


@one_thread_each()
def run_listen(
    path: Path, request: ListenRequest, options: Options, host: Host, read: ReadDelivery | None
) -> ListenFiles:  # fmt: skip
    """Play a passage of a side as the disc will; raises the errors of `qc.api.listen`."""
    from qc.intake.side_input import read_input
    from qc.listen.rendering import PassagePlayer  # imported late: only this command needs them

    chosen = chosen_side(path, request.side, options, host, read)
    ruleset = chosen.ruleset
    request = request.with_tips(ruleset.tips, ruleset.full_name)
    request.refuse(ruleset.chain.disc, read_input(chosen.read, chosen.side[1]).received.facts.duration_s)
    refused = f"listen: side {request.side} cannot be played"
    played = worked_out(chosen, request.levels, options, host, refused)
    player = PassagePlayer.read(request, played.worked, played.excerpts)
    return player.files(played.levels, f"sidegate {qc.__version__}", ruleset.full_name, worker_count(options))


@one_thread_each()
def run_where(
    path: Path, request: WhereRequest, options: Options, host: Host, read: ReadDelivery | None
) -> WhereFound:  # fmt: skip
    """Find a place on a side; raises the errors of `qc.api.where`."""
    from qc.where.place import Names, PlaceFinder  # imported late: only this command needs them

    chosen = chosen_side(path, request.side, options, host, read)
    levels = () if request.level is None else (request.level,)
    judged = worked_out(chosen, levels, options, host, f"where: the groove of side {request.side} is unknown")
    names = Names(f"sidegate {qc.__version__}", chosen.ruleset.full_name, chosen.read.delivery.title)
    return PlaceFinder(judged.worked, judged.levels[0]).found(request, names, judged.excerpts)
