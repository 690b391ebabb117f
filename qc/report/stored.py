"""A JSON report read back, as `sidegate check` wrote it."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import ValidationError

from qc.errors import UsageError
from qc.report.model import Report
from qc.wording import shown

LARGEST = 1 << 28
"""bytes; a report of a hundred findings a check and side is far below it"""


def read_report(path: Path) -> Report:
    """Read a report; raises UsageError with one sentence where there is none, or one of another schema."""
    name = shown(str(path), 500)
    again = 'write one with --out "json=report.json"'
    try:
        if not path.is_file():
            raise UsageError(f"{name}: there is no such file; name a report of sidegate check")
        if path.stat().st_size > LARGEST:
            raise UsageError(f"{name}: the file is larger than 256 MiB, so it is no report; {again}")
        data = json.loads(path.read_bytes())
    except OSError as why:
        raise UsageError(f"{name}: the report cannot be read ({why.strerror}); check who may read it") from None
    except (ValueError, RecursionError):
        raise UsageError(f"{name}: this is not JSON, so it is no report; {again}") from None
    if not isinstance(data, dict) or not {"schema", "tool", "verdict", "results"} <= data.keys():
        raise UsageError(f"{name}: this is not the report of a check; {again}")
    if data.get("schema") != 1:
        raise UsageError(
            f"{name}: this is a report of schema {shown(str(data.get('schema')))}, and this version reads schema 1; "
            "judge the delivery anew"
        )
    try:
        return Report.model_validate_json(json.dumps(data))
    except ValidationError as faults:
        first = faults.errors(include_url=False)[0]
        where = shown(".".join(map(str, first["loc"])), 100)
        raise UsageError(f"{name}: this is no report as this version writes it ({where}: {first['msg']})") from None
