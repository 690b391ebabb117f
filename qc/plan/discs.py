"""Discs to plan for, and what each of them makes of a side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.groove.geometry.span import Span
from qc.groove.level.highest import Highest
from qc.groove.level.outside import Outside
from qc.groove.signal.sector_envelopes import GrooveInput
from qc.model import plan as report
from qc.model.quantity import Quantity
from qc.plan.formats import Fitted, Format, compare


@dataclass(frozen=True, slots=True)
class DiscToPlan:
    """A disc to plan for: its name, its ruleset as NAME@VERSION, chain and limits; `reason` where there is none."""

    name: str
    ruleset: str = ""
    form: Format | None = None
    planned: bool = False
    reason: str = ""


def fitted(
    span: Span, envelopes: GrooveInput, discs: Sequence[DiscToPlan], loudness: Quantity | None,
    outside: Outside,
) -> dict[str, Fitted]:  # fmt: skip
    """Fit a side to each disc that there is a ruleset for, by name; `envelopes` of the whole file."""
    forms = [disc.form for disc in discs if disc.form is not None]
    found = compare(span, envelopes, forms, None if loudness is None else loudness.value, outside)
    return {disc.name: next(found) for disc in discs if disc.form is not None}


def format_rows(discs: Sequence[DiscToPlan], fits: Mapping[str, Fitted]) -> tuple[report.FormatRow, ...]:
    """Put what each disc makes of a side into a report's words."""
    return tuple(_format(disc, fits.get(disc.name)) for disc in discs)


def _format(disc: DiscToPlan, fitted: Fitted | None) -> report.FormatRow:
    row = report.FormatRow(
        disc=disc.name, ruleset=disc.ruleset, planned=disc.planned, fit="not_compared", reason=disc.reason
    )
    if fitted is None:
        return row
    if fitted.fit == "other_signal" or fitted.highest is None:
        return row.model_copy(update={"reason": "its chain.signal differs; it needs its own pass"})
    on_disc, bound = fitted.level_on_disc, fitted.highest.reached.bound
    update = {
        "fit": fitted.fit,
        "recommended": fitted.highest.reached.quantity(),
        "last_diameter": last_diameter(fitted.highest),
        "level_on_disc": None if on_disc is None else Quantity(value=on_disc, unit="LU", bound=bound),
        "ruling": ruling(fitted.highest),
    }
    return row.model_copy(update=update)


def last_diameter(found: Highest) -> Quantity:
    """Return the last diameter of a side at its highest level, mm."""
    return Quantity(value=found.last_diameter * 1e3, unit="mm")


def ruling(found: Highest) -> str | None:
    """Return the name of the limit that rules a highest level, None where none does."""
    return None if found.reached.by is None else found.reached.by.name
