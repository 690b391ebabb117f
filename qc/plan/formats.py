"""One side on other discs: the same programme at each size and speed, from the same envelopes.

Only `chain.signal` reaches the pass, so that every disc whose chain has the same signal is served by one pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from qc.groove.geometry.cut import OF_MINUTES
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.geometry.traces import OF_TRAVEL
from qc.groove.level.highest import Highest, HighestSearch, SharedSpirals
from qc.groove.level.outside import Outside, no_limits
from qc.groove.level.rows import EDGE, LevelPolicy, LevelRow
from qc.groove.signal.sector_envelopes import GrooveInput
from qc.model.cutting_chain import Chain, NamedTip
from qc.model.quantity import meets

ON_DISC = "groove.level_on_disc"
Fit = Literal["fits", "quiet", "too_quiet", "too_long", "other_signal"]
"""fits; fits, but at a level on the disc that warns; only at one that fails; at no level; needs a pass of its own."""


@dataclass(frozen=True, slots=True)
class Format:
    """A disc to be tried: its cutting chain, its limits, its tips, and the policy for the recommended level."""

    chain: Chain
    rows: tuple[LevelRow, ...]
    policy: LevelPolicy = EDGE
    tips: tuple[NamedTip, ...] = ()
    """replay tips that its ruleset names"""


@dataclass(frozen=True, slots=True)
class Fitted:
    """The outcome of a side on a disc; `level_on_disc` in LU, None without loudness."""

    fit: Fit
    highest: Highest | None
    level_on_disc: float | None = None


def compare(
    span: Span, envelopes: GrooveInput, formats: Sequence[Format], integrated: float | None,
    outside: Outside = no_limits,
) -> Iterator[Fitted]:  # fmt: skip
    """Fit a side to each disc, in their order; `envelopes` of the whole file, `integrated` its loudness in LUFS."""
    shared: dict[tuple[object, ...], SharedSpirals] = {}
    first: SideGeometry | None = None
    for form in formats:
        if form.chain.signal != envelopes.signal:
            yield Fitted("other_signal", None)
            continue
        side = SideGeometry.of(form.chain, span, envelopes, integrated) if first is None else first.under(form.chain)
        first = first or side
        spirals = shared.setdefault(SharedSpirals.key(form.chain), SharedSpirals(side))
        search = HighestSearch(side, form.rows, spirals, form.policy, outside(side, form.rows).ceilings)
        yield fitted(form, search.highest(), integrated)


def fitted(form: Format, highest: Highest, integrated: float | None) -> Fitted:
    """Return whether a side fits a disc at the level that was found for it."""
    on_disc = None if integrated is None else integrated - form.chain.cut.align + highest.reached.level
    if highest.reached.bound == "<":
        return Fitted("too_long" if _runs_in(highest) else "too_quiet", highest, on_disc)
    quiet = [row for row in form.rows if row.measure == ON_DISC and on_disc is not None]
    for row in quiet:
        if row.fail is not None and on_disc is not None and not meets(on_disc, row.fail, row.op, row.unit):
            return Fitted("too_quiet", highest, on_disc)
    for row in quiet:
        if row.warn is not None and on_disc is not None and not meets(on_disc, row.warn, row.op, row.unit):
            return Fitted("quiet", highest, on_disc)
    return Fitted("fits", highest, on_disc)


def _runs_in(highest: Highest) -> bool:
    """Whether the length is the reason, which no level cures; any other limit that never holds is one of level."""
    return highest.reached.by is not None and highest.reached.by.measure in {*OF_TRAVEL, *OF_MINUTES}
