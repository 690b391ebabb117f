"""Shared parts of the remedies: the sectors and limit of a finding, and putting a remedy with numbers first."""

from __future__ import annotations

import math

from qc.plugin_api import SECTORS_A_SECOND, Finding, Polarity, Quantity, Remedy
from qc.plugin_api.groove_model import WorkedSide


def broken(finding: Finding) -> float:
    """Return the value of the limit that was not kept, in the unit of the limit."""
    assert finding.limit is not None  # only findings of a limit have remedies with numbers
    bound = finding.limit.fail if finding.severity == "fail" else finding.limit.warn
    assert bound is not None
    return bound


def window(finding: Finding, worked: WorkedSide) -> tuple[int, int]:
    """Return the first and the end sector, within the span, of the window of the finding's number."""
    return _sectors(finding.location.start_s or 0.0, finding.location.end_s or 0.0, worked)


def about_worst(finding: Finding, worked: WorkedSide, most: int) -> tuple[int, int]:
    """Return the sectors, within the span, of a finding's stretch; at most `most`, around the worst one."""
    stretch = finding.stretch
    if stretch is None:
        return window(finding, worked)
    start, end = _sectors(stretch.start_s, stretch.end_s, worked)
    if end - start <= most:
        return start, end
    worst = window(finding, worked)[0]
    first = max(start, min(worst - most // 2, end - most))
    return first, first + most


def whole_stretch(finding: Finding, start: int, end: int) -> bool:
    """Whether the sectors that `about_worst` returned are the whole stretch of the finding."""
    stretch = finding.stretch
    return stretch is None or end - start >= math.floor((stretch.end_s - stretch.start_s) * SECTORS_A_SECOND + 1e-6)


def _sectors(start_s: float, end_s: float, worked: WorkedSide) -> tuple[int, int]:
    span = worked.search.side.span
    start = round(start_s * SECTORS_A_SECOND) - span.start
    end = math.ceil(end_s * SECTORS_A_SECOND - 1e-6) - span.start
    return max(0, start), max(start + 1, min(end, span.sectors))


def polarity(finding: Finding, worked: WorkedSide) -> Polarity:
    """Return the polarity that the finding's number was computed for."""
    at = finding.measured.at if isinstance(finding.measured, Quantity) else None
    return worked.polarity if at is None or at.polarity is None else at.polarity


def advised(finding: Finding, *remedies: Remedy) -> Finding:
    """Return the finding with remedies in numbers, whose sentences come before its general remedy."""
    remedy = " ".join([*(extra.says for extra in remedies), finding.remedy])
    return finding.model_copy(update={"remedy": remedy, "remedies": (*finding.remedies, *remedies)})
