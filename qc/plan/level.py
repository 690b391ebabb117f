"""The planned disc at the level that `plan --level` asks for: where each side ends, and the limits it breaks.

Without it a plan leaves every level free and shows the highest at which a side fits. A level by name is worked out for
the planned disc: `release` is the lowest recommended level of the sides of a disc, all of which count, since a plan
leaves their requested levels aside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.groove.geometry.side import SideGeometry
from qc.groove.level.highest import NEAR, HighestSearch
from qc.groove.level.levels import LevelSearch, Reached
from qc.groove.level.outside import Outside, OutsideLimits
from qc.groove.level.release import DiscDecision, JudgedLevel, LevelOption, SideLevels, by_discs
from qc.groove.level.side_at_level import WorkedSide
from qc.model.plan import PlannedLevel, PlannedSide
from qc.model.quantity import Quantity, meets
from qc.plan.formats import ON_DISC, Format
from qc.plan.running_order import Delivered

DIAMETER = "groove.last_diameter"


def at_level(
    sides: Sequence[PlannedSide], cuts: Mapping[str, Delivered | None], order: Sequence[str], form: Format,
    option: LevelOption, outside: Mapping[str, Outside],
) -> list[PlannedSide]:  # fmt: skip
    """Add to planned sides what the planned disc comes to; `cuts` are measured sides, `order` all of the delivery.

    `outside` searches the limits of a side on numbers of plugins, by side.
    """
    loudness = {side.id: side.loudness for side in sides if side.loudness is not None}
    found: dict[str, PlannedLevel] = {}
    for disc in by_discs(order):
        found |= planned_levels({name: cuts.get(name) for name in disc}, form, option, loudness, outside)
    return [side.model_copy(update={"at_level": found.get(side.id)}) for side in sides]


def planned_levels(
    sides: Mapping[str, Delivered | None], form: Format, option: LevelOption, loudness: Mapping[str, Quantity],
    outside: Mapping[str, Outside],
) -> dict[str, PlannedLevel]:  # fmt: skip
    """Return the planned level of each side of one disc, by side; `loudness` in LUFS of the sides that have one.

    Sides that were not measured, None, and sides of which `option` gives no level, have none.
    """
    geometries = {
        name: SideGeometry.of(form.chain, cut.span, cut.envelopes, cut.loudness)
        for name, cut in sides.items()
        if cut is not None
    }
    limits = {name: outside[name](side, form.rows) for name, side in geometries.items()}
    levels = tuple(
        SideLevels(name, None, *_levels(geometries[name], form, option, limits[name]))
        if name in geometries
        else SideLevels(name)
        for name in sides
    )
    disc = DiscDecision(levels, option)
    found = {}
    for side in levels:
        level = disc.level_of(side)
        if level is not None and side.side in geometries:
            found[side.side] = _at(geometries[side.side], form, level, loudness.get(side.side), limits[side.side])
    return found


def _levels(
    side: SideGeometry, form: Format, option: LevelOption, limits: OutsideLimits
) -> tuple[Reached | None, Reached | None]:
    """Return the recommended and the clean level, each only where the option takes it."""
    if not isinstance(option, str):
        return None, None
    if option == "clean":
        search = LevelSearch(side, form.rows)
        worked = WorkedSide(search, *search.allowed(), declared=None).under(limits)
        return worked.edge, worked.clean
    highest = HighestSearch(side, form.rows, policy=form.policy, ceilings=limits.ceilings).highest(NEAR)
    return highest.reached, None


def _at(
    side: SideGeometry, form: Format, level: JudgedLevel, loudness: Quantity | None, limits: OutsideLimits
) -> PlannedLevel:
    search = LevelSearch(side, form.rows)
    setting = [(row, row.setting) for row in search.rows]
    broken = [row.name for row, bound in setting if bound is not None and not search.holds((row, bound), level.level)]
    broken += [row.name for row in limits.by_limit if limits.breaks(row, level.level)]
    on_disc = None if loudness is None else loudness.value - form.chain.cut.align + level.level
    broken += [
        row.name
        for row in form.rows
        if row.measure == ON_DISC and row.fail is not None and on_disc is not None
        and not meets(on_disc, row.fail, row.op, row.unit)
    ]  # fmt: skip
    ends = search.quantity(DIAMETER, level.level)
    return PlannedLevel(
        level=Quantity(value=level.level, unit="dB"),
        fits=not broken,
        last_diameter=Quantity(value=ends.value, unit=ends.unit),
        level_on_disc=None if on_disc is None or loudness is None else Quantity(
            value=on_disc, unit="LU", bound=loudness.bound
        ),
        broken=tuple(dict.fromkeys(broken)),
    )  # fmt: skip
