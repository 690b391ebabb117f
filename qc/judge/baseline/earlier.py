"""Read an earlier report from its JSON, also one of an older version; invalid ones are rejected in one sentence.

The file is untrusted, so it is read in pieces of bounded size, and the number of objects kept is bounded too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import from_json

from qc.files.bounded_read import UnreadableFileError, read_bytes
from qc.files.json_pieces import TooMuchError, items, members
from qc.model.errors import UsageError
from qc.model.quantity import Model
from qc.model.report import CheckResult, Report, SideReport
from qc.text.sanitize import shown

LARGEST = 10 << 20
"""bytes; the report of ten sides at a level where nearly every limit fails everywhere has eight million"""
MOST_TOKENS = 2_000_000
"""Most brackets, commas and strings of a file; such a report has half a million."""
MOST_OF_PIECE = (1 << 20, 4_000, 16_000)
"""Most bytes, objects and commas of one result, side or other part; such a report has 130 kB, 1,000 and 5,000."""
MOST_OBJECTS = 40_000
"""Most objects kept of a baseline; each takes some 1 kB of memory."""
WHOLE = 3
"""Factor on `MOST_OBJECTS` where a report is read with all its numbers."""
MOST_FINDINGS = 200
"""Most findings of one check on one side; a report has at most 100, and matching takes quadratic time."""
SCHEMA = 1
_KEYS = frozenset(field.alias or name for name, field in Report.model_fields.items())
_LISTS: Mapping[str, type[Model]] = {"results": CheckResult, "sides": SideReport}
_NEEDED = frozenset({"schema", "tool", "verdict", "results"})


def read_report(path: Path) -> Report:
    """Read a JSON report; raises UsageError, "FILE: ...", for a file that is no report that this version reads."""
    return _ReportReading(path, lean=False).report()


def read_baseline(path: Path) -> Report:
    """Read a JSON report as a baseline, without large parts that are not compared.

    These are its own baseline, the numbers of the checks, and the remedies. Raises the errors of `read_report`.
    """
    return _ReportReading(path, lean=True).report()


class _ReportReading:
    """The reading of one file: its text and the number of objects kept so far; `lean` skips uncompared parts."""

    def __init__(self, path: Path, *, lean: bool) -> None:
        self.name, self.lean = shown(str(path), longest=500), lean
        self.text, self.by, self.objects = _content(path, self.name), "", 0

    def report(self) -> Report:
        """Return the report, assembled from its parts."""
        try:
            parts = {str(from_json(key)): text for key, text in members(self.text, MOST_TOKENS)}
            self.text = b""
            self.refuse_others(parts)
            read = {key: self.part(key, text) for key, text in parts.items() if not (self.lean and key == "baseline")}
        except TooMuchError:
            what = "it holds what no report does: too much, or two results where one belongs"
            raise UsageError(f"{self.name}: {what}; name another one, or judge the earlier delivery again") from None
        except ValidationError as faults:
            raise self.not_understood(faults) from None
        except ValueError:
            mend = 'name a report that was written with "--out json=..."'
            raise UsageError(f"{self.name}: this is no JSON object, so it cannot be a report; {mend}") from None
        try:
            return Report.model_validate(read)
        except ValidationError as faults:
            raise self.not_understood(faults) from None

    def refuse_others(self, parts: Mapping[str, bytes]) -> None:
        """Raise UsageError for JSON that is no report or has another schema."""
        if not set(parts) >= _NEEDED:
            mend = 'name a report that was written with "--out json=..."'
            raise UsageError(f"{self.name}: this is not the report of a check; {mend}")
        self.by, schema = shown(str(self.value(parts["tool"]))), self.value(parts["schema"])
        if schema != SCHEMA:
            what = f"it is of schema {shown(str(schema))}, written by {self.by}, and this version reads schema {SCHEMA}"
            raise UsageError(f"{self.name}: {what}; judge the earlier delivery again")

    def part(self, key: str, text: bytes) -> Any:
        """Return a part, a list with its items as models, and None for a key that no report has."""
        if key not in _KEYS:
            return None
        if key not in _LISTS or not text.startswith(b"["):
            return self.counted(self.value(text))
        found = tuple(self.item(key, i, piece) for i, piece in enumerate(items(text, MOST_TOKENS)))
        self.refuse_crowds([result for result in found if isinstance(result, CheckResult)])
        return found

    def item(self, key: str, index: int, text: bytes) -> Model:
        """Return one result or side as a model."""
        value = self.value(text)
        if self.lean and key == "results":
            _without_numbers(value)
        try:
            return _LISTS[key].model_validate(self.counted(value))
        except ValidationError as faults:
            raise self.not_understood(faults, (key, index)) from None

    def refuse_crowds(self, results: Sequence[CheckResult]) -> None:
        """Raise TooMuchError for duplicate results, findings of other checks, or more findings than a report has."""
        if len({(result.check, result.side) for result in results}) < len(results):
            raise TooMuchError("two results of one check and side")
        for result in results:
            others = any(finding.check != result.check for finding in result.findings)
            if len(result.findings) > MOST_FINDINGS or others:
                raise TooMuchError("findings that no check has")

    def value(self, text: bytes) -> Any:
        """Parse a piece; raises TooMuchError where it is larger than those of reports."""
        most, objects, commas = MOST_OF_PIECE
        if len(text) > most or text.count(b"{") + text.count(b"[") > objects or text.count(b",") > commas:
            raise TooMuchError("a part is larger than those of reports are")
        return from_json(text)

    def counted(self, value: Any) -> Any:
        """Return a value after adding its objects to the count; raises TooMuchError above the bound."""
        self.objects += 1 + _objects(value)
        if self.objects > MOST_OBJECTS * (1 if self.lean else WHOLE):
            raise TooMuchError("more objects than reports have")
        return value

    def not_understood(self, faults: ValidationError, at: tuple[str | int, ...] = ()) -> UsageError:
        """Return the error for a part that this version does not understand."""
        where = shown(".".join(map(str, (*at, *faults.errors(include_url=False)[0]["loc"]))))
        what = f'it was written by {self.by}, and this version does not understand "{where}"'
        return UsageError(f"{self.name}: {what}; judge the earlier delivery again")


def _without_numbers(result: Any) -> None:
    """Remove the large parts of a result that are not compared: its numbers and the remedies."""
    if not isinstance(result, dict):
        return
    result.pop("measured", None)
    findings = result.get("findings")
    for finding in findings if isinstance(findings, list) else ():
        if isinstance(finding, dict):
            finding.pop("remedies", None)


def _objects(value: Any) -> int:
    """Count the objects and lists inside a value; the parser has bounded its depth."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return sum(1 + _objects(item) for item in inner if isinstance(item, (dict, list)))


def _content(path: Path, name: str) -> bytes:
    """Read a report; raises UsageError."""
    try:
        return read_bytes(path, LARGEST)
    except UnreadableFileError as fault:
        other = ", or judge the earlier delivery again" if fault.fault == "large" else ""
        raise UsageError(f"{name}: {fault.sentence('JSON report', 'JSON report')}{other}") from None
