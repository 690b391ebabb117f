"""Checks that a ruleset defines without code: a published measurement is compared with limits."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from pydantic import create_model

from qc.model.errors import RulesetError
from qc.model.quantity import Op
from qc.plugin_base import Check, Judged, Limit, LimitCheck, Model
from qc.ruleset.load import RawMeasure, Ruleset
from qc.text.sanitize import shown
from qc.text.suggest import meant

OPS: dict[str, Op] = {"at_least": ">=", "at_most": "<="}
"""key of a limit in a ruleset -> its operator"""


def made(
    ruleset: Ruleset, installed: Collection[str], units: Mapping[str, str], lost: Collection[str] = ()
) -> dict[str, type[Check[Any]]]:  # fmt: skip
    """Return a check class for every measure of a ruleset but those `lost` with a plugin, by id.

    Raises RulesetError, "FILE:LINE: ...", where an id is that of an installed check or a measurement is unknown.
    """
    for check_id, raw in ruleset.measures.items():
        if check_id in installed:
            raise RulesetError(
                f'{raw.origin}: "{check_id}" is a check that is installed; set its own limits under "limits", or give '
                "this one another name"
            )
        if raw.measure not in units and check_id not in lost:
            raise RulesetError(
                f'{raw.measured_at}: nothing installed measures "{shown(raw.measure)}"; {meant(raw.measure, units)}'
            )
    return {
        check_id: _check(ruleset, check_id, raw) for check_id, raw in ruleset.measures.items() if check_id not in lost
    }


def owners(ruleset: Ruleset) -> dict[str, str]:
    """Return the owner of the checks that a ruleset defines, the ruleset itself, by check id."""
    return dict.fromkeys(ruleset.measures, f"ruleset {ruleset.full_name}")


def _check(ruleset: Ruleset, check_id: str, raw: RawMeasure) -> type[Check[Any]]:
    title = raw.title or _title(check_id)
    fields: dict[str, Any] = dict.fromkeys(raw.limits, (Limit, ...))
    body = {
        "__doc__": f"{raw.measure} lies where {ruleset.full_name} does not want it.",
        "id": check_id,
        "title": title,
        "why": raw.why,
        "how": f"The measurement {raw.measure}, as it is in every report, compared with limits by the ruleset alone.",
        "remedy": raw.remedy,
        "subject": "groove" if raw.measure.startswith("groove.") else None,
        "Limits": create_model("Limits", __base__=Model, **fields),
        "judges": {key: Judged(raw.measure, OPS[key], f"the measurement {raw.measure}") for key in raw.limits},
    }
    return type("WithoutCode", (LimitCheck,), body)


def _title(check_id: str) -> str:
    """Derive a title from the id: "house.quiet-side" becomes "Quiet side"."""
    return check_id.partition(".")[2].replace("-", " ").capitalize()
