"""A report against an earlier one: what is new, what is as before, and what is not found any more.

Findings are the same by where they lie and never by their words or numbers, which mending changes.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.model.errors import UsageError
from qc.model.quantity import parse, read
from qc.model.report import BaselineFacts, LeftOut, LevelThen, RulesetFacts, SideReport
from qc.plugin_api import CheckResult, Finding, Report
from qc.text.numbers import listed
from qc.text.sanitize import shown

NEAR_S = 1.0
"""Findings whose starts are no further apart may be the same."""
LONGEST = 40
"""Characters of a value that a report gives."""
UNJUDGED = {"not_measured", "not_applicable", "error"}


@dataclass(frozen=True)
class Earlier:
    """An earlier report, and the name of its file."""

    report: Report
    file: str


@dataclass(frozen=True)
class SideLayout:
    """How a side is laid out, as far as it decides whether places of two reports mean the same."""

    channels: int | None
    """None where the audio is at fault"""
    tracks: int
    a_file_a_track: bool

    @classmethod
    def of(cls, declared: Mapping[str, object], channels: int | None) -> SideLayout:
        """Give that of a side as it is declared."""
        tracks = declared.get("tracks", ())
        several = tracks if isinstance(tracks, Sequence) else ()
        return cls(channels, len(several), any("audio" in track for track in several))

    def unlike(self, other: SideLayout) -> str:
        """Say in which way an earlier layout was another one; empty where it was the same."""
        if self.a_file_a_track != other.a_file_a_track:
            return f"came as {'one file a track' if other.a_file_a_track else 'one file'} then"
        if self.tracks != other.tracks:
            return f"had {other.tracks or 'no'} track{'s' * (other.tracks != 1)} then, and has {self.tracks or 'none'}"
        if None not in (self.channels, other.channels) and self.channels != other.channels:
            return f"had {other.channels} channel{'s' * (other.channels != 1)} then, and has {self.channels}"
        return ""


def refuse_stale(earlier: Earlier, ruleset: RulesetFacts, sides: Mapping[str, SideLayout], *, every_side: bool) -> None:
    """Refuse an earlier report that says nothing of this delivery; raises UsageError, one sentence.

    `sides` are those to be judged; `every_side` says whether the delivery has no others.
    """
    then = earlier.report
    mend = "judge the earlier delivery again, or leave --baseline out"
    if other := _other_rules(then.ruleset, ruleset) or _other_chain(then.ruleset, ruleset):
        raise UsageError(f"{shown(earlier.file)}: it was judged {other}; {mend}")
    known = {side.id: _layout(side) for side in then.sides}
    others = [one for one in sides if one not in known] or ([one for one in known if one not in sides] * every_side)
    if others:
        there = ", ".join(known) or "none"
        what = f"it has the sides {shown(there)}, and this delivery {', '.join(sides)}"
        raise UsageError(f"{shown(earlier.file)}: {what}; {mend}")
    for side, layout in sides.items():
        if unlike := layout.unlike(known[side]):
            raise UsageError(f"{shown(earlier.file)}: side {side} {unlike}; {mend}")


def _other_rules(then: RulesetFacts, now: RulesetFacts) -> str:
    """Say by which rules an earlier report was judged; empty where they are those of now, or a minor version of them.

    What goes by one name and version and is another file changes outcomes with nobody told: a version tells.
    """
    its, own = (f"{one.name}@{one.version}" for one in (then, now))
    if then.name != now.name or _major(then.version) != _major(now.version):
        return f"by {shown(its)}, and this by {own}"
    if its == own and then.sha256 != now.sha256:
        return f"by another file called {shown(its)}: give the ruleset a version of its own"
    return ""


def _other_chain(then: RulesetFacts, now: RulesetFacts) -> str:
    """Say which values of the chain were others then, of one version; empty where none were."""
    if then.version != now.version:
        return ""
    rows, before = _rows(now), _rows(then)
    others = [key for key in rows if key in before and not _alike(rows[key], before[key])]
    if not others:
        return ""
    its, own = (listed(f"{key} {shown(one[key], LONGEST)}" for key in others) for one in (before, rows))
    return f"with {its}, and this with {own}"


def _rows(ruleset: RulesetFacts) -> Mapping[str, str]:
    """Give every value of the chain by its key, "cut.land": "13 um"; what a report has in no such rows is passed by."""
    return {
        f"{section}.{name}": str(row["value"])
        for section, part in ruleset.chain.items()
        if isinstance(part, Mapping)
        for name, row in part.items()
        if isinstance(row, Mapping) and "value" in row
    }


def _alike(one: str, other: str) -> bool:
    """Say whether two values are the same, "0.025 mm" and "25 um" too."""
    if one == other:
        return True
    try:
        value, unit = parse(one)
        return math.isclose(value, read(other, unit))
    except ValueError:
        return False


def _major(version: str) -> str:
    return version.partition(".")[0]


def _layout(side: SideReport) -> SideLayout:
    return SideLayout.of(side.declared, side.audio.channels)


# -- matching ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _One:
    """A finding of a report, with the result that it belongs to."""

    result: CheckResult
    index: int
    finding: Finding

    @property
    def home(self) -> tuple[str, str | None]:
        return self.result.check, self.result.side


def compared(report: Report, earlier: Earlier, never_excused: Collection[str] = ()) -> Report:
    """Give a report with each finding marked new or unchanged, and what became of the earlier ones.

    `never_excused` are the ids of checks whose findings count for the exit code whatever the earlier report had.
    """
    sides = {side.id for side in report.sides}
    now = list(_findings(report))
    # Of a side that is not judged this time nothing can be said.
    then = [one for one in _findings(earlier.report) if one.finding.location.side in {"", *sides}]
    pairs = matched([one.finding for one in now], [one.finding for one in then], _scopes(now), _scopes(then))
    known = {(now[i].home, now[i].index) for i, _ in pairs}
    found = {j for _, j in pairs}
    left_out = tuple(_left_out(report, earlier.report, sides))
    unmatched = [one for j, one in enumerate(then) if j not in found]
    fates = _fates(report, unmatched, left_out, same={side.id for side in earlier.report.sides} == sides)
    its = earlier.report
    facts = BaselineFacts(
        file=earlier.file, started=None if its.run is None else its.run.started, tool=its.tool,
        ruleset=f"{its.ruleset.name}@{its.ruleset.version}", delivery_sha256=its.delivery.sha256,
        new=len(now) - len(pairs), unchanged=len(pairs), gone=tuple(fates["gone"]), unsure=tuple(fates["unsure"]),
        not_judged=tuple(fates["not_judged"]), left_out=left_out, other_levels=tuple(_other_levels(report, its)),
        always=tuple(sorted({one.home[0] for one in now} & set(never_excused))),
    )  # fmt: skip
    results = tuple(_marked(result, known) for result in report.results)
    return report.model_copy(update={"results": results, "baseline": facts})


def _findings(report: Report) -> Iterator[_One]:
    for result in report.results:
        yield from (_One(result, i, finding) for i, finding in enumerate(result.findings))


def _scopes(several: Sequence[_One]) -> list[str]:
    return [one.result.scope for one in several]


def _marked(result: CheckResult, known: set[tuple[tuple[str, str | None], int]]) -> CheckResult:
    if not result.findings:
        return result
    home = (result.check, result.side)
    marks = ("unchanged" if (home, i) in known else "new" for i in range(len(result.findings)))
    findings = (one.model_copy(update={"baseline": mark}) for one, mark in zip(result.findings, marks, strict=True))
    return result.model_copy(update={"findings": tuple(findings)})


def _left_out(report: Report, then: Report, sides: set[str]) -> Iterator[LeftOut]:
    """Give the checks of which either report left findings out, and how many."""
    counts: dict[tuple[str, str | None], list[int]] = defaultdict(lambda: [0, 0])
    for i, one in enumerate((then, report)):
        for result in one.results:
            if result.findings_omitted and result.side in {None, *sides}:
                counts[result.check, result.side][i] += result.findings_omitted
    for (check, side), (before, now) in counts.items():
        yield LeftOut(check=check, side=side, then=before, now=now)


def _other_levels(report: Report, then: Report) -> Iterator[LevelThen]:
    """Give the sides that the two reports judged at levels that are told apart when shown, at a tenth of a dB."""
    before = {side.id: side.levels for side in then.sides}
    for side in report.sides:
        now, its = side.levels, before.get(side.id)
        if now is not None and its is not None and round(now.judged.value - its.judged.value, 1):
            yield LevelThen(side=side.id, then=its.judged.value, now=now.judged.value)


def _fates(
    report: Report, unmatched: Sequence[_One], left_out: Sequence[LeftOut], *, same: bool
) -> Mapping[str, list[Finding]]:
    """Say of earlier findings that are not among those of now what became of them.

    One is gone only where its check was judged again, on the same sides, to its end, and left no finding out.
    """
    outcomes = {(result.check, result.side): result.outcome for result in report.results}
    short = {(one.check, one.side) for one in left_out if one.now}
    # A check that gives a reason beside what it found missed a number on the way.
    short |= {(result.check, result.side) for result in report.results if result.findings and result.reason}
    fates: dict[str, list[Finding]] = {"gone": [], "unsure": [], "not_judged": []}
    for one in unmatched:
        unjudged = outcomes.get(one.home, "error") in UNJUDGED or (one.result.side is None and not same)
        fates["not_judged" if unjudged else "unsure" if one.home in short else "gone"].append(one.finding)
    return fates


def matched(
    now: Sequence[Finding], then: Sequence[Finding], scopes_now: Sequence[str], scopes_then: Sequence[str]
) -> list[tuple[int, int]]:
    """Match findings of two reports one to one, by index: as many as can be, then those that lie nearest.

    They must be of one check, scope, side and track, and start within 1 s; those without a second of one field of the
    delivery file. What was held against the same measurement goes first.
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
    """Pair seconds, each list in order, that lie within 1 s: as many as can be, and of those ways the nearest.

    Pairs never need to cross. best[i][j] is, for the first i and j seconds, how many stay alone and how far the
    others lie apart together.
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
