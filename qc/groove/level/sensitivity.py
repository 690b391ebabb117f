"""Sensitivity to a house's own assumptions: the recommended level for other tips, land, widths, a fixed depth.

One value is changed at a time. The preview is never one of them: the carriage of the model has no inertia, so that
a shorter preview reads as less travel, the reverse of a real one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from qc.groove.geometry.side import SideGeometry
from qc.groove.level.highest import Highest, HighestSearch, SharedSpirals
from qc.groove.level.outside import Outside, no_limits
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.model.cutting_chain import TIP_RADIUS, Chain, Cut

TIPS = (18e-6, 8e-6, 5e-6)
"""m; a spherical tip, an elliptical one along the groove, a line contact (G-13, G-15), where a ruleset names none."""
LANDS = (8e-6, 13e-6, 25e-6)
"""m; half a mil and a mil are kept by custom, 8 um is bold (V-7)."""
WIDTHS = (50e-6, 56e-6, 65e-6)
"""m of the groove without modulation, about the 56 um of G-10."""

Depth = Literal["variable", "fixed"]
DEPTHS: tuple[Depth, ...] = ("variable", "fixed")


@dataclass(frozen=True, slots=True)
class AssumptionLevel:
    """One assumption and the level it leads to; `own` where it is what the chain has anyway.

    `value` in m, None for `depth`; `highest` is None where the rest of the chain does not allow the value.
    """

    key: str
    """as the ruleset writes it: "cut.land" """
    value: float | Depth
    own: bool
    highest: Highest | None


def sensitivity(
    side: SideGeometry, rows: Sequence[LevelRow], base: Highest | None = None, policy: LevelPolicy = EDGE,
    tips: Sequence[float] = (), outside: Outside = no_limits,
) -> tuple[AssumptionLevel, ...]:  # fmt: skip
    """Search the level under each assumption; `base` is the one without a change, searched where None.

    `tips` are the radii of the tips that the ruleset names, m; TIPS where it names none. `outside` searches the limits
    on numbers of plugins.
    """
    search = HighestSearch(side, rows, policy=policy, ceilings=outside(side, rows).ceilings if base is None else None)
    own_level = base or search.highest()
    found = []
    for key, values in _values(side.chain, tips or TIPS).items():
        for value in values:
            chain = assumed(side.chain, key, value)
            if chain == side.chain:
                found.append(AssumptionLevel(key, value, own=True, highest=own_level))
            elif not _fits_together(chain.cut):
                found.append(AssumptionLevel(key, value, own=False, highest=None))
            else:
                under = side.under(chain)
                shares = SharedSpirals.key(chain) == SharedSpirals.key(side.chain)
                spirals = search.spirals if shares else None
                ceilings = outside(under, rows).ceilings
                highest = HighestSearch(under, rows, spirals, policy, ceilings).highest(own_level.tenths)
                found.append(AssumptionLevel(key, value, own=False, highest=highest))
    return tuple(found)


def assumed(chain: Chain, key: str, value: float | Depth) -> Chain:
    """Return a chain with one value changed: assumed(chain, "cut.land", 8e-6)."""
    section, _, name = key.partition(".")
    changed: Chain = replace(chain, **{section: replace(getattr(chain, section), **{name: value})})
    return changed


def _values(chain: Chain, tips: Sequence[float]) -> dict[str, tuple[float | Depth, ...]]:
    """Return the values to be tried by key, the chain's own put among them in order."""
    return {
        TIP_RADIUS: _with(tips, chain.playback.tip_radius, falling=True),
        "cut.land": _with(LANDS, chain.cut.land),
        "cut.top_width": _with(WIDTHS, chain.cut.top_width),
        "cut.depth": DEPTHS,
    }


def _with(values: Sequence[float], own: float, *, falling: bool = False) -> tuple[float, ...]:
    return tuple(sorted({*values, own}, reverse=falling))


def _fits_together(cut: Cut) -> bool:
    """Whether a groove can be cut so: what a ruleset would be refused for."""
    fits = cut.keep_width <= cut.top_width <= 2.0 * cut.nominal_depth
    return fits and cut.top_width + cut.land <= cut.max_pitch
