"""The recommended level of a side for each replay tip that its ruleset names."""

from __future__ import annotations

from collections.abc import Iterable

from qc.groove.geometry.cut import DIAMETER
from qc.groove.level.by_tip import TipSearch, enters
from qc.groove.level.side_at_level import WorkedSide
from qc.model.cutting_chain import NamedTip
from qc.model.report import TipLevel
from qc.plugin_base import Quantity


def levels_by_tip(worked: WorkedSide, tips: Iterable[NamedTip]) -> tuple[TipLevel, ...]:
    """Return the recommended level, the limit that rules it and the last diameter under each tip, in their order."""
    chain = worked.search.side.chain
    search = TipSearch(worked.search, worked.by_limit, worked.policy)
    found = []
    for tip in tips:
        is_own = tip.along == chain.playback.tip_radius
        row = TipLevel(
            tip=tip.name, size=tip.size, radius=Quantity(value=round(1e6 * tip.along, 6), unit="um"), own=is_own
        )
        if is_own:
            reached, ends = worked.recommended, worked.search.quantity(DIAMETER, worked.recommended.level).value
        elif enters(chain, tip):
            highest = search.highest(tip.along)
            reached, ends = highest.reached, 1e3 * highest.last_diameter
        else:
            found.append(row.model_copy(update={"reason": "it is too wide for the groove of the chain"}))
            continue
        update = {
            "recommended": reached.quantity(),
            "last_diameter": Quantity(value=ends, unit="mm"),
            "ruling": None if reached.by is None else reached.by.name,
        }
        found.append(row.model_copy(update=update))
    return tuple(found)
