"""An earlier report read back from its JSON, also one of an older version, or refused in one sentence."""

from __future__ import annotations

import stat
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError
from pydantic_core import from_json

from qc.errors import UsageError
from qc.report.model import Report
from qc.wording import shown

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

LARGEST = 1 << 26
"""bytes; the report of ten bad sides is a tenth of that"""
SCHEMA = 1


def read_report(path: Path) -> Report:
    """Read a JSON report; raises UsageError, "FILE: ...", for what is none, or none that this version reads."""
    name = shown(str(path), longest=500)
    held = _held(path, name)
    mend = 'name a report that was written with "--out json=..."'
    try:
        data = from_json(held)
    except ValueError:
        raise UsageError(f"{name}: this is not JSON, so it cannot be a report; {mend}") from None
    if not isinstance(data, Mapping) or not {"schema", "tool", "verdict", "results"} <= set(data):
        raise UsageError(f"{name}: this is not the report of a check; {mend}")
    by = shown(str(data["tool"]))
    if data["schema"] != SCHEMA:
        what = f"it is of schema {shown(str(data['schema']))}, written by {by}, and this version reads schema {SCHEMA}"
        raise UsageError(f"{name}: {what}; judge the earlier delivery again")
    try:
        return Report.model_validate_json(held)
    except ValidationError as faults:
        where = _where(faults.errors(include_url=False)[0])
        what = f"it was written by {by}, and this version does not understand {where}"
        raise UsageError(f"{name}: {what}; judge the earlier delivery again") from None


def _held(path: Path, name: str) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise UsageError(f"{name}: this is not a plain file; name the JSON report itself")
        with path.open("rb") as file:
            held = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise UsageError(f"{name}: there is no such file; name the JSON report to compare with") from None
    except (OSError, ValueError) as why:
        reason = (why.strerror if isinstance(why, OSError) else None) or str(why)
        raise UsageError(f"{name}: the report cannot be read ({reason}); check its name and who may read it") from None
    if len(held) > LARGEST:
        raise UsageError(f"{name}: the file is larger than 64 MiB, so it cannot be a report; name another one")
    return held


def _where(fault: ErrorDetails) -> str:
    return f'"{shown(".".join(map(str, fault["loc"])))}"'
