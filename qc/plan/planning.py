"""A plan from sides that were measured once: discs compared, assumptions tried, breaks and orders searched."""

from __future__ import annotations

from collections.abc import Sequence

from qc.groove.geometry.cut import FOLLOWING, OF_LOUDNESS
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import span_of
from qc.groove.level import sensitivity as assumptions
from qc.groove.level.highest import Highest, highest
from qc.groove.level.outside import Outside
from qc.groove.signal.programme import LOUDNESS, Programme, ProgrammeBounds
from qc.groove.signal.sector_envelopes import GrooveInput, Sectors
from qc.measure.side import SideMeasurement
from qc.model import plan as report
from qc.model.cutting_chain import SECTORS_A_SECOND, TIP_RADIUS, NamedTip
from qc.model.quantity import Quantity
from qc.plan.breaks import BreakSearch, SideCandidate
from qc.plan.discs import DiscToPlan, fitted, format_rows, last_diameter, ruling
from qc.plan.formats import Format
from qc.plan.reordered import reordered
from qc.plan.running_order import Delivered, RunningOrder

SIDES = 4
"""Most sides that a programme is broken into by default, two discs; more where more were delivered."""


def delivered_side(side: SideMeasurement) -> Delivered | None:
    """Return a side as it is cut; None where it was not measured."""
    if Sectors not in side.results or Programme not in side.results:
        return None
    envelopes: GrooveInput = side.results[Sectors]
    programme: ProgrammeBounds = side.results[Programme]
    loudness = side.quantities.get(LOUDNESS)
    span = span_of(side.tracks, programme, envelopes.sectors)
    return Delivered(side.side.id, span, envelopes, None if loudness is None else loudness.value)


def plan_side(
    side: SideMeasurement, discs: Sequence[DiscToPlan], outside: Outside, *, reorder: bool
) -> report.PlannedSide:
    """Compare the discs for one side, try the assumptions on the planned one, and look for another order.

    `outside` searches the limits on numbers of plugins.
    """
    cut = delivered_side(side)
    fault = side.received.fatal
    planned_side = report.PlannedSide(id=side.side.id, audio=side.received.facts, passes=side.passes)
    if cut is None:
        why = next(iter(side.broken.values()), "it was not measured")
        return planned_side.model_copy(update={"fault": fault.message if fault is not None else why})
    loudness = side.quantities.get(LOUDNESS)
    fits = fitted(cut.span, cut.envelopes, discs, loudness, outside)
    planned = next(disc for disc in discs if disc.planned)
    assert planned.form is not None  # the planned disc has a ruleset
    base = fits[planned.name].highest
    form = planned.form
    rows = assumptions.sensitivity(
        SideGeometry.of(form.chain, cut.span, cut.envelopes, None if loudness is None else loudness.value), form.rows,
        base, form.policy, tuple(tip.along for tip in form.tips), outside,
    )  # fmt: skip
    declared = side.side.cut_level
    update = {
        "duration_s": cut.span.sectors / SECTORS_A_SECOND,
        "loudness": None if loudness is None else Quantity(value=loudness.value, unit="LUFS", bound=loudness.bound),
        "declared": None if declared is None else Quantity(value=declared, unit="dB"),
        "formats": format_rows(discs, fits),
        "sensitivity": tuple(_assumption(row, base, form.tips) for row in rows),
        "reordered": _order_of(cut, form, None if _of_plugins(form) else base) if reorder else None,
    }
    return planned_side.model_copy(update=update)


def plan_breaks(sides: Sequence[Delivered], form: Format, most: int | None, *, reorder: bool) -> report.Breaks:
    """Break the whole programme into sides, over as many as win anything."""
    order = RunningOrder.of(sides)
    search = BreakSearch(order, form.chain, form.rows, form.policy)
    splits = list(search.splits(most or max(SIDES, len(sides))))
    written = tuple(
        report.SplitRow(
            sides=tuple(_split_side(order, form, part, reorder=reorder) for part in split.parts),
            worst=split.worst.reached.quantity(),
        )
        for split in splits
    )
    return report.Breaks(
        tracks=len(order.pieces), exact=search.exact, searched=search.searched, how=_how(search) + _left_out(form),
        splits=written,
    )  # fmt: skip


def _left_out(form: Format) -> str:
    """Return a note on limits that are left out, on a part's loudness and on numbers of plugins; empty without any."""
    loudness = dict.fromkeys(row.name for row in form.rows if row.measure in OF_LOUDNESS and row.setting is not None)
    notes = [(loudness, "the loudness of a part was not measured by itself")]
    notes.append((dict.fromkeys(_of_plugins(form)), "plugins are asked about whole sides alone"))
    return "".join(f"; {', '.join(names)} left out: {why}" for names, why in notes if names)


def _of_plugins(form: Format) -> list[str]:
    """Name the limits on numbers of plugins that set the level."""
    return [row.name for row in form.rows if row.sets_level and row.measure not in FOLLOWING]


def _how(search: BreakSearch) -> str:
    units = len(search.units)
    if search.exact:
        of = f"the {units} tracks" if units == len(search.order.pieces) else f"{units} stretches that may be parted"
        return f"exact: every run of {of} was searched"
    return (
        f"{search.searched} of {units * (units + 1) // 2} stretches of tracks were searched; exact as far as a side "
        "never gains level when a track is added; equal breaks are told apart by length alone"
    )


def _split_side(order: RunningOrder, form: Format, part: SideCandidate, *, reorder: bool) -> report.SplitSide:
    return report.SplitSide(
        tracks=_tracks(order, range(part.first, part.last + 1)),
        duration_s=part.seconds,
        recommended=part.highest.reached.quantity(),
        last_diameter=last_diameter(part.highest),
        ruling=ruling(part.highest),
        reordered=_reordering(order, form, part.first, part.last, part.highest) if reorder else None,
    )


def _order_of(cut: Delivered, form: Format, base: Highest | None) -> report.Reordering:
    order = RunningOrder.of([cut])
    last = len(order.pieces) - 1
    given = base or highest(order.side(form.chain, 0, last), form.rows, policy=form.policy)
    return _reordering(order, form, 0, last, given)


def _reordering(order: RunningOrder, form: Format, first: int, last: int, given: Highest) -> report.Reordering:
    found = reordered(order, form.chain, form.rows, first, last, given, form.policy)
    reached, before = found.highest.reached, found.given.reached
    unknown = before.bound == "<" and reached.bound is None  # how far below the search the order given lies
    return report.Reordering(
        tracks=_tracks(order, found.pieces),
        recommended=reached.quantity(),
        wins=Quantity(value=found.wins, unit="dB", bound=">" if unknown else None),
        ruling=ruling(found.highest),
    )


def _tracks(order: RunningOrder, indices: Sequence[int]) -> tuple[report.PlannedTrack, ...]:
    pieces = (order.pieces[i] for i in indices)
    return tuple(report.PlannedTrack(side=piece.side, number=piece.number, title=piece.title) for piece in pieces)


def _assumption(
    level: assumptions.AssumptionLevel, base: Highest | None, tips: Sequence[NamedTip]
) -> report.AssumptionRow:  # fmt: skip
    value = level.value if isinstance(level.value, str) else f"{round(1e6 * level.value, 6):g} um"
    of_tip = level.key == TIP_RADIUS
    tip = next((tip for tip in tips if of_tip and tip.along == level.value), None)
    name, size = ("", "") if tip is None else (tip.name, tip.size)
    row = report.AssumptionRow(key=level.key, value=value, name=name, size=size, own=level.own)
    if level.highest is None:
        return row.model_copy(update={"reason": "does not go with the rest of the chain"})
    reached = level.highest.reached
    comparable = base is not None and base.reached.bound is None and reached.bound is None
    change = (level.highest.tenths - base.tenths) / 10.0 if comparable and base is not None else None
    update = {
        "recommended": reached.quantity(),
        "change": None if change is None else Quantity(value=change, unit="dB"),
        "last_diameter": last_diameter(level.highest),
        "ruling": ruling(level.highest),
    }
    return row.model_copy(update=update)
