"""An earlier report read back from its JSON, also one of an older version, or refused in one sentence.

It may come from anyone, so it is read by pieces, each of bounded size, and what is kept of all of them is bounded too.
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
"""bytes; the report of ten sides cut so hot that nearly every limit fails everywhere has eight million"""
MOST_TOKENS = 2_000_000
"""Brackets, commas and strings of a file; such a report has half a million."""
MOST_OF_PIECE = (1 << 20, 4_000, 16_000)
"""bytes, objects and commas of one result, one side or one other part; those of such a report have 130 kB, 1,000 and
5,000"""
MOST_OBJECTS = 40_000
"""Objects of all the file that are kept of a baseline; each takes some 1 kB of memory."""
WHOLE = 3
"""How many times as many are kept where a report is read with all its numbers."""
MOST_FINDINGS = 200
"""Findings of one check on one side; a report keeps 100, and how they are matched grows with the square."""
SCHEMA = 1
_KNOWN = frozenset(field.alias or name for name, field in Report.model_fields.items())
_LISTS: Mapping[str, type[Model]] = {"results": CheckResult, "sides": SideReport}
_NEEDED = frozenset({"schema", "tool", "verdict", "results"})


def read_report(path: Path) -> Report:
    """Read a JSON report; raises UsageError, "FILE: ...", for what is none, or none that this version reads."""
    return _ReportReading(path, lean=False).report()


def read_baseline(path: Path) -> Report:
    """Read a JSON report to compare with, without what takes most of the memory and is not compared.

    That is an older baseline, the numbers that checks looked at, and the remedies. Raises as `read_report` does.
    """
    return _ReportReading(path, lean=True).report()


class _ReportReading:
    """One file: its text, and how many objects are kept of it so far; `lean` leaves out what is not compared."""

    def __init__(self, path: Path, *, lean: bool) -> None:
        self.name, self.lean = shown(str(path), longest=500), lean
        self.text, self.by, self.objects = _content(path, self.name), "", 0

    def report(self) -> Report:
        """Put the report together from its parts."""
        try:
            parts = {str(from_json(key)): text for key, text in members(self.text, MOST_TOKENS)}
            self.text = b""
            self.refuse_others(parts)
            held = {key: self.part(key, text) for key, text in parts.items() if not (self.lean and key == "baseline")}
        except TooMuchError:
            what = "it holds what no report does: too much, or two results where one belongs"
            raise UsageError(f"{self.name}: {what}; name another one, or judge the earlier delivery again") from None
        except ValidationError as faults:
            raise self.not_understood(faults) from None
        except ValueError:
            mend = 'name a report that was written with "--out json=..."'
            raise UsageError(f"{self.name}: this is no JSON object, so it cannot be a report; {mend}") from None
        try:
            return Report.model_validate(held)
        except ValidationError as faults:
            raise self.not_understood(faults) from None

    def refuse_others(self, parts: Mapping[str, bytes]) -> None:
        """Refuse JSON that is no report, or one of another schema."""
        if not set(parts) >= _NEEDED:
            mend = 'name a report that was written with "--out json=..."'
            raise UsageError(f"{self.name}: this is not the report of a check; {mend}")
        self.by, schema = shown(str(self.value(parts["tool"]))), self.value(parts["schema"])
        if schema != SCHEMA:
            what = f"it is of schema {shown(str(schema))}, written by {self.by}, and this version reads schema {SCHEMA}"
            raise UsageError(f"{self.name}: {what}; judge the earlier delivery again")

    def part(self, key: str, text: bytes) -> Any:
        """Give a part, its items as models where it is a list; one that no report has is refused by its name alone."""
        if key not in _KNOWN:
            return None
        if key not in _LISTS or not text.startswith(b"["):
            return self.counted(self.value(text))
        found = tuple(self.item(key, i, one) for i, one in enumerate(items(text, MOST_TOKENS)))
        self.refuse_crowds([one for one in found if isinstance(one, CheckResult)])
        return found

    def item(self, key: str, index: int, text: bytes) -> Model:
        """Give one result or side as a model."""
        value = self.value(text)
        if self.lean and key == "results":
            _without_numbers(value)
        try:
            return _LISTS[key].model_validate(self.counted(value))
        except ValidationError as faults:
            raise self.not_understood(faults, (key, index)) from None

    def refuse_crowds(self, results: Sequence[CheckResult]) -> None:
        """Refuse results of one check and side twice, with findings of others, or with more than are ever kept."""
        if len({(one.check, one.side) for one in results}) < len(results):
            raise TooMuchError("two results of one check and side")
        for one in results:
            if len(one.findings) > MOST_FINDINGS or any(finding.check != one.check for finding in one.findings):
                raise TooMuchError("findings that no check has")

    def value(self, text: bytes) -> Any:
        """Give the value of a piece of bounded size."""
        most, objects, commas = MOST_OF_PIECE
        if len(text) > most or text.count(b"{") + text.count(b"[") > objects or text.count(b",") > commas:
            raise TooMuchError("a part is larger than those of reports are")
        return from_json(text)

    def counted(self, value: Any) -> Any:
        """Give a value once its objects are counted among those that are kept."""
        self.objects += 1 + _objects(value)
        if self.objects > MOST_OBJECTS * (1 if self.lean else WHOLE):
            raise TooMuchError("more objects than reports have")
        return value

    def not_understood(self, faults: ValidationError, at: tuple[str | int, ...] = ()) -> UsageError:
        """Make the error of a part that is none of this version's reports."""
        where = shown(".".join(map(str, (*at, *faults.errors(include_url=False)[0]["loc"]))))
        what = f'it was written by {self.by}, and this version does not understand "{where}"'
        return UsageError(f"{self.name}: {what}; judge the earlier delivery again")


def _without_numbers(result: Any) -> None:
    """Leave out of a result what takes most of the memory, and is not compared with what is found now."""
    if not isinstance(result, dict):
        return
    result.pop("measured", None)
    findings = result.get("findings")
    for finding in findings if isinstance(findings, list) else ():
        if isinstance(finding, dict):
            finding.pop("remedies", None)


def _objects(value: Any) -> int:
    """Count the objects and lists inside a value that was nested no deeper than a parser goes."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return sum(1 + _objects(one) for one in inner if isinstance(one, (dict, list)))


def _content(path: Path, name: str) -> bytes:
    """Read a report; raises UsageError."""
    try:
        return read_bytes(path, LARGEST)
    except UnreadableFileError as fault:
        other = ", or judge the earlier delivery again" if fault.fault == "large" else ""
        raise UsageError(f"{name}: {fault.sentence('JSON report', 'JSON report')}{other}") from None
