"""Compare a report with an earlier one: findings that are new, unchanged, or not found any more.

Findings are matched by place, never by words or numbers, which a partial fix changes.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.model.errors import UsageError
from qc.model.quantity import parse, read
from qc.model.report import BaselineFacts, LeftOut, LevelThen, RulesetFacts, SideReport
from qc.plugin_base import CheckResult, Finding, Report
from qc.text.numbers import listed
from qc.text.sanitize import shown

NEAR_S = 1.0
"""Greatest distance in s between the starts of matching findings."""
LONGEST = 40
"""Most characters shown of a value of a report."""
UNJUDGED = {"not_measured", "not_applicable", "error"}


@dataclass(frozen=True)
class Earlier:
    """An earlier report, and the name of its file."""

    report: Report
    file: str


@dataclass(frozen=True)
class SideLayout:
    """Layout of a side, which decides whether places in two reports are comparable."""

    channels: int | None
    """None where the audio is at fault"""
    tracks: int
    a_file_a_track: bool

    @classmethod
    def of(cls, declared: Mapping[str, object], channels: int | None) -> SideLayout:
        """Build the layout of a declared side."""
        tracks = declared.get("tracks", ())
        several = tracks if isinstance(tracks, Sequence) else ()
        return cls(channels, len(several), any("audio" in track for track in several))

    def unlike(self, other: SideLayout) -> str:
        """Return a description of how an earlier layout differs, or ""."""
        if self.a_file_a_track != other.a_file_a_track:
            return f"came as {'one file a track' if other.a_file_a_track else 'one file'} then"
        if self.tracks != other.tracks:
            return f"had {other.tracks or 'no'} track{'s' * (other.tracks != 1)} then, and has {self.tracks or 'none'}"
        if None not in (self.channels, other.channels) and self.channels != other.channels:
            return f"had {other.channels} channel{'s' * (other.channels != 1)} then, and has {self.channels}"
        return ""


def refuse_stale(earlier: Earlier, ruleset: RulesetFacts, sides: Mapping[str, SideLayout], *, every_side: bool) -> None:
    """Raise UsageError, one sentence, for an earlier report that is not comparable with this delivery.

    `sides` are the sides to judge; `every_side` says whether these are all sides of the delivery.
    """
    then = earlier.report
    mend = "judge the earlier delivery again, or leave --baseline out"
    if other := _other_rules(then.ruleset, ruleset) or _other_chain(then.ruleset, ruleset):
        raise UsageError(f"{shown(earlier.file)}: it was judged {other}; {mend}")
    before = {side.id: _layout(side) for side in then.sides}
    others = [side for side in sides if side not in before] or [
        side for side in before if side not in sides
    ] * every_side
    if others:
        there = ", ".join(before) or "none"
        what = f"it has the sides {shown(there)}, and this delivery {', '.join(sides)}"
        raise UsageError(f"{shown(earlier.file)}: {what}; {mend}")
    for side, layout in sides.items():
        if unlike := layout.unlike(before[side]):
            raise UsageError(f"{shown(earlier.file)}: side {side} {unlike}; {mend}")


def _other_rules(then: RulesetFacts, now: RulesetFacts) -> str:
    """Return a description of the earlier ruleset where it differs by more than a minor version, else "".

    Another file with the same name and version is rejected too, since it changes outcomes without a visible sign.
    """
    its, own = (f"{rules.name}@{rules.version}" for rules in (then, now))
    if then.name != now.name or _major(then.version) != _major(now.version):
        return f"by {shown(its)}, and this by {own}"
    if its == own and then.sha256 != now.sha256:
        return f"by another file called {shown(its)}: give the ruleset a version of its own"
    return ""


def _other_chain(then: RulesetFacts, now: RulesetFacts) -> str:
    """Return a description of chain values that differ under the same ruleset version, or ""."""
    if then.version != now.version:
        return ""
    rows, before = _rows(now), _rows(then)
    others = [key for key in rows if key in before and not _alike(rows[key], before[key])]
    if not others:
        return ""
    its, own = (listed(f"{key} {shown(values[key], LONGEST)}" for key in others) for values in (before, rows))
    return f"with {its}, and this with {own}"


def _rows(ruleset: RulesetFacts) -> Mapping[str, str]:
    """Return every chain value by its key, "cut.land": "13 um"; other entries of the report are ignored."""
    return {
        f"{section}.{name}": str(row["value"])
        for section, part in ruleset.chain.items()
        if isinstance(part, Mapping)
        for name, row in part.items()
        if isinstance(row, Mapping) and "value" in row
    }


def _alike(first: str, second: str) -> bool:
    """Whether two written values are equal, as "0.025 mm" and "25 um" are."""
    if first == second:
        return True
    try:
        value, unit = parse(first)
        return math.isclose(value, read(second, unit))
    except ValueError:
        return False


def _major(version: str) -> str:
    return version.partition(".")[0]


def _layout(side: SideReport) -> SideLayout:
    return SideLayout.of(side.declared, side.audio.channels)


# -- matching ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _PlacedFinding:
    """A finding of a report with its result and its index there."""

    result: CheckResult
    index: int
    finding: Finding

    @property
    def home(self) -> tuple[str, str | None]:
        return self.result.check, self.result.side


def compared(report: Report, earlier: Earlier, never_excused: Collection[str] = ()) -> Report:
    """Return a report with each finding marked new or unchanged, and the fate of the earlier ones.

    `never_excused` are the ids of checks whose findings always count for the exit code.
    """
    sides = {side.id for side in report.sides}
    now = list(_findings(report))
    # earlier findings of a side that is not judged now are ignored
    then = [entry for entry in _findings(earlier.report) if entry.finding.location.side in {"", *sides}]
    pairs = matched([entry.finding for entry in now], [entry.finding for entry in then], _scopes(now), _scopes(then))
    unchanged = {(now[i].home, now[i].index) for i, _ in pairs}
    found = {j for _, j in pairs}
    left_out = tuple(_left_out(report, earlier.report, sides))
    unmatched = [entry for j, entry in enumerate(then) if j not in found]
    fates = _fates(report, unmatched, left_out, same={side.id for side in earlier.report.sides} == sides)
    its = earlier.report
    facts = BaselineFacts(
        file=earlier.file, started=None if its.run is None else its.run.started, tool=its.tool,
        ruleset=f"{its.ruleset.name}@{its.ruleset.version}", delivery_sha256=its.delivery.sha256,
        new=len(now) - len(pairs), unchanged=len(pairs), gone=tuple(fates["gone"]), unsure=tuple(fates["unsure"]),
        not_judged=tuple(fates["not_judged"]), left_out=left_out, other_levels=tuple(_other_levels(report, its)),
        always=tuple(sorted({entry.home[0] for entry in now} & set(never_excused))),
    )  # fmt: skip
    results = tuple(_marked(result, unchanged) for result in report.results)
    return report.model_copy(update={"results": results, "baseline": facts})


def _findings(report: Report) -> Iterator[_PlacedFinding]:
    for result in report.results:
        yield from (_PlacedFinding(result, i, finding) for i, finding in enumerate(result.findings))


def _scopes(several: Sequence[_PlacedFinding]) -> list[str]:
    return [entry.result.scope for entry in several]


def _marked(result: CheckResult, unchanged: set[tuple[tuple[str, str | None], int]]) -> CheckResult:
    if not result.findings:
        return result
    home = (result.check, result.side)
    marks = ("unchanged" if (home, i) in unchanged else "new" for i in range(len(result.findings)))
    pairs = zip(result.findings, marks, strict=True)
    findings = (finding.model_copy(update={"baseline": mark}) for finding, mark in pairs)
    return result.model_copy(update={"findings": tuple(findings)})


def _left_out(report: Report, then: Report, sides: set[str]) -> Iterator[LeftOut]:
    """Yield the checks of which either report omits findings, with both counts."""
    counts: dict[tuple[str, str | None], list[int]] = defaultdict(lambda: [0, 0])
    for i, judged in enumerate((then, report)):
        for result in judged.results:
            if result.findings_omitted and result.side in {None, *sides}:
                counts[result.check, result.side][i] += result.findings_omitted
    for (check, side), (before, now) in counts.items():
        yield LeftOut(check=check, side=side, then=before, now=now)


def _other_levels(report: Report, then: Report) -> Iterator[LevelThen]:
    """Yield the sides that the two reports judged at levels that differ by a tenth of a dB as shown."""
    before = {side.id: side.levels for side in then.sides}
    for side in report.sides:
        now, its = side.levels, before.get(side.id)
        if now is not None and its is not None and round(now.judged.value - its.judged.value, 1):
            yield LevelThen(side=side.id, then=its.judged.value, now=now.judged.value)


def _fates(
    report: Report, unmatched: Sequence[_PlacedFinding], left_out: Sequence[LeftOut], *, same: bool
) -> Mapping[str, list[Finding]]:
    """Sort the earlier findings that are not found any more into gone, unsure and not judged.

    A finding is gone only where its check was judged completely, on the same sides, and omitted no finding.
    """
    outcomes = {(result.check, result.side): result.outcome for result in report.results}
    short = {(entry.check, entry.side) for entry in left_out if entry.now}
    # a check with findings and a reason stopped at a missing number
    short |= {(result.check, result.side) for result in report.results if result.findings and result.reason}
    fates: dict[str, list[Finding]] = {"gone": [], "unsure": [], "not_judged": []}
    for entry in unmatched:
        unjudged = outcomes.get(entry.home, "error") in UNJUDGED or (entry.result.side is None and not same)
        fates["not_judged" if unjudged else "unsure" if entry.home in short else "gone"].append(entry.finding)
    return fates


def matched(
    now: Sequence[Finding], then: Sequence[Finding], scopes_now: Sequence[str], scopes_then: Sequence[str]
) -> list[tuple[int, int]]:
    """Match findings of two reports one to one, by index: as many as possible, then the nearest ones.

    A pair has the same check, scope, side and track, and starts within 1 s; without a time it has the same field of the
    delivery file. Findings of the same measurement are matched first.
    """
    pairs: list[tuple[int, int]] = []
    free_now, free_then = list(range(len(now))), list(range(len(then)))
    for key in (_measure_and_place, _place):
        groups = _grouped(free_then, then, scopes_then, key)
        for name, mine in _grouped(free_now, now, scopes_now, key).items():
            yours = groups.get(name, [])
            starts = [now[i].location.start_s or 0.0 for i in mine], [then[j].location.start_s or 0.0 for j in yours]
            pairs += [(mine[i], yours[j]) for i, j in nearest(*starts)]
        free_now = [i for i in free_now if i not in {pair[0] for pair in pairs}]
        free_then = [j for j in free_then if j not in {pair[1] for pair in pairs}]
    return sorted(pairs)


def _place(finding: Finding, scope: str) -> Hashable:
    at = finding.location
    placed = at.start_s is not None
    return finding.check, scope, at.side, at.track, placed, None if placed else at.field


def _measure_and_place(finding: Finding, scope: str) -> Hashable:
    return finding.measure, _place(finding, scope)


def _grouped(
    indexes: Sequence[int], findings: Sequence[Finding], scopes: Sequence[str], key: Callable[[Finding, str], Hashable]
) -> dict[Hashable, list[int]]:
    groups: dict[Hashable, list[int]] = defaultdict(list)
    for i in sorted(indexes, key=lambda i: findings[i].location.start_s or 0.0):
        groups[key(findings[i], scopes[i])].append(i)
    return groups


def nearest(now: Sequence[float], then: Sequence[float]) -> list[tuple[int, int]]:
    """Pair seconds of two sorted lists that are within 1 s: as many pairs as possible, with the least total distance.

    Pairs never need to cross. best[i][j] is, for the first i and j seconds, the number of unpaired ones and the total
    distance of the pairs.
    """
    best = [[(i + j, 0.0) for j in range(len(then) + 1)] for i in range(len(now) + 1)]
    for i, here in enumerate(now):
        for j, there in enumerate(then):
            alone, apart = best[i][j]
            ways = [_more(best[i][j + 1]), _more(best[i + 1][j])]
            if abs(here - there) <= NEAR_S:
                ways.append((alone, apart + abs(here - there)))
            best[i + 1][j + 1] = min(ways)
    pairs, i, j = [], len(now), len(then)
    while i and j:
        if best[i][j] == _more(best[i - 1][j]):
            i -= 1
        elif best[i][j] == _more(best[i][j - 1]):
            j -= 1
        else:
            i, j = i - 1, j - 1
            pairs.append((i, j))
    return pairs[::-1]


def _more(way: tuple[int, float]) -> tuple[int, float]:
    return way[0] + 1, way[1]
