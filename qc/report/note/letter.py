"""The content of the note to the client: sides received, things to fix or consider with their times, next steps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from qc.judge.findings import MeasuredFinding
from qc.model.check_docs import CheckWords, ForClient
from qc.model.report import Finding, Report, SideReport
from qc.report.views.findings import CheckFindings, findings_by_check
from qc.report.views.level_notes import goes_when_clean, gone_for_client, unset
from qc.report.views.stored_sides import measured_earlier
from qc.text.numbers import listed
from qc.text.sanitize import shown

LONGEST = 120
"""Characters of a title or a name."""
FACTS = 300
"""Characters of a sentence of the report."""
TIMES = 6
"""Times of one track that are named."""
PLACES = 4
"""Tracks and sides that are named for a thing."""
FACTS_OF_A_THING = 3
"""Sentences about a thing at the most."""
THINGS = 4
"""Things that fit on a page: all that must be fixed are named, those to consider only as far as there is room."""
DETAILS = 8
"""Lines for the engineer."""

Outcome = Literal["mend", "weigh", "good"]


@dataclass(frozen=True)
class ReceivedSide:
    """A side as it was received."""

    side: str
    files: str
    length: str
    """in words; empty where the file could not be read"""
    tracks: int
    measured: str = ""
    """"measured on 2026-11-30, not measured again"; empty where it was measured for this letter"""


@dataclass(frozen=True)
class Thing:
    """A thing to fix or to consider, in the words of its check for the client."""

    name: str
    means: str
    asks: str
    places: tuple[str, ...]
    """'side B, track 2, “Slack Water”: at 1:07 and 1:16'"""
    more: int = 0
    """places that are not named"""
    facts: tuple[str, ...] = ()
    """messages of findings without a limit, as sentences"""


@dataclass(frozen=True)
class Letter:
    """The variables of a template, as `note`; foreign texts are on one line, bounded, without invisible characters."""

    title: str
    catalogue: str
    outcome: Outcome
    received: tuple[ReceivedSide, ...] = ()
    mend: tuple[Thing, ...] = ()
    weigh: tuple[Thing, ...] = ()
    mended: tuple[str, ...] = ()
    """names of things that an earlier report found and that are fixed now"""
    at_another_level: str = ""
    """the sides that were judged at another level then, as "Side A is" or "Sides A and B are"; empty without any"""
    near_the_edge: tuple[str, ...] = ()
    """a sentence for each side with warnings that disappear at its clean level"""
    details: tuple[str, ...] = ()
    """the same in the words of engineers"""
    broke: bool = False
    """whether a check failed to run"""
    judged_at: str = ""
    """the level of each side, where `--level` decided it: "-6.0 dB (side A) and -2.0 dB (side B)"; else empty"""


def letter(report: Report, words: Mapping[str, CheckWords]) -> Letter:
    """Build the note from a report and the words of its checks; waived findings are left out."""
    mend = findings_by_check(report, "fail", by_side=False)
    weigh = [
        group
        for group in findings_by_check(report, "warn", by_side=False, without=goes_when_clean)
        if _worth(group, mend, words)
    ]
    weigh = weigh[: max(0, THINGS - len(mend))]
    return Letter(
        title=shown(report.delivery.title, LONGEST),
        catalogue=shown(report.delivery.catalogue, LONGEST),
        outcome="mend" if mend else "weigh" if weigh else "good",
        received=tuple(_received(report, side) for side in report.sides),
        mend=tuple(_thing(group, report, words) for group in mend),
        weigh=tuple(_thing(group, report, words) for group in weigh),
        mended=_mended(report, words),
        at_another_level=_at_another_level(report),
        near_the_edge=tuple(gone_for_client(report)),
        judged_at=_judged_at(report),
        details=(*_unset(report), *_details(report, [*mend, *weigh])),
        broke=report.verdict == "error" or bool(report.plugin_failures),
    )


def _unset(report: Report) -> Iterator[str]:
    """Yield a sentence for each side with limits that fail at its recommended level because they do not set it."""
    for side in report.sides:
        if sentence := unset(report, side):
            yield shown(f"side {shown(side.id, LONGEST)}: {sentence}.", 2 * FACTS)


def _worth(group: CheckFindings, mend: Sequence[CheckFindings], words: Mapping[str, CheckWords]) -> bool:
    """Whether a warning belongs in the note: the client can act on it, and the check does not fail elsewhere."""
    check_words = words.get(group.check)
    client = None if check_words is None else check_words.client
    return client is not None and client.warns and group.check not in [failing.check for failing in mend]


def _received(report: Report, side: SideReport) -> ReceivedSide:
    files = [file.file for file in side.audio.files] or [side.audio.file]
    named = [shown(name, LONGEST) for name in files[:PLACES]]
    named += [f"{len(files) - PLACES} more"] if len(files) > PLACES else []
    length = "" if side.audio.duration_s is None else spoken(side.audio.duration_s)
    return ReceivedSide(
        shown(side.id, LONGEST), listed(named), length, len(side.declared.get("tracks", ())),
        measured_earlier(report.run, side.id),
    )  # fmt: skip


def spoken(seconds: float) -> str:
    """Write a length in words: "18 minutes 5 seconds"."""
    minutes, rest = divmod(round(seconds), 60)
    parts = [(minutes, "minute"), (rest, "second")]
    return " ".join(f"{count} {word}{'s' * (count != 1)}" for count, word in parts if count or word == "second")


def _words(check: str, finding: Finding | None, words: Mapping[str, CheckWords]) -> ForClient:
    """Return the words of a check for the client; without such words, its title, reason and remedy."""
    check_words = words.get(check)
    if check_words is not None and check_words.client is not None:
        return check_words.client
    remedy = "" if finding is None else finding.remedy
    if check_words is None:
        return ForClient(shown(check, LONGEST), "", shown(remedy, FACTS))
    return ForClient(shown(check_words.title, LONGEST), shown(check_words.why, FACTS), shown(check_words.remedy, FACTS))


def _thing(group: CheckFindings, report: Report, words: Mapping[str, CheckWords]) -> Thing:
    client = _words(group.check, group.most_serious.finding, words)
    places, named = _places(group.findings, report)
    facts = [measured.finding.message for measured in group.findings if measured.finding.limit is None]
    return Thing(
        client.name, client.means, client.asks, places, group.count - named,
        tuple(f"{shown(fact, FACTS)}." for fact in dict.fromkeys(facts[:FACTS_OF_A_THING])),
    )  # fmt: skip


def _places(findings: Iterable[MeasuredFinding], report: Report) -> tuple[tuple[str, ...], int]:
    """Return the places of findings by track, in the order of the record, and the number of findings they name."""
    by_track: dict[tuple[str, int | None], list[MeasuredFinding]] = {}
    for measured in findings:
        by_track.setdefault((measured.finding.location.side, measured.finding.location.track), []).append(measured)
    order = [side.id for side in report.sides]
    kept = sorted(
        by_track.items(), key=lambda item: (order.index(item[0][0]) if item[0][0] in order else -1, item[0][1] or 0)
    )
    places, named = [], 0
    for (side, track), of_track in kept[:PLACES]:
        times = list(dict.fromkeys(_time(report, side, second) for second in sorted(_seconds(of_track))))
        named += len(of_track) if len(times) <= TIMES else TIMES
        at = f": at {listed(times[:TIMES])}" if times else ""
        places.append(f"{_where(report, side, track)}{at}")
    return tuple(places), named


def _seconds(findings: Iterable[MeasuredFinding]) -> Iterator[float]:
    return (measured.second for measured in findings if measured.second is not None)


def _where(report: Report, side: str, track: int | None) -> str:
    if not side:
        return "the delivery file"
    where = f"side {shown(side, LONGEST)}"
    if track is None:
        return where
    title = _title(report, side, track)
    return f"{where}, track {track}" + (f", “{shown(title, LONGEST)}”" if title else "")


def _title(report: Report, side: str, track: int) -> str:
    for row in report.sides:
        for declared in row.declared.get("tracks", ()) if row.id == side else ():
            if declared.get("number") == track:
                return str(declared.get("title") or "")
    return ""


def _time(report: Report, side: str, second: float) -> str:
    """Write the time that a player shows for the received file; for a side in several files, with the file's name."""
    files = next((row.audio.files for row in report.sides if row.id == side), ())
    own = [file for file in files if file.start_s is not None and file.start_s <= second]
    if not own:
        return _played(second)
    return f"{_played(second - (own[-1].start_s or 0.0))} of {shown(own[-1].file, LONGEST)}"


def _played(seconds: float) -> str:
    whole = int(seconds + 1e-6)
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def _mended(report: Report, words: Mapping[str, CheckWords]) -> tuple[str, ...]:
    """Name the things fixed since the earlier report: failures, and warnings on which the client can act."""
    gone = () if report.baseline is None else report.baseline.gone
    results = {
        finding.check: [result for result in report.results if result.check == finding.check] for finding in gone
    }
    names: dict[str, list[str]] = {}
    for finding in gone:
        client = _words(finding.check, finding, words)
        judged = any(result.outcome not in ("error", "not_measured") for result in results[finding.check])
        if judged and (finding.severity == "fail" or client.warns):
            names.setdefault(client.name, []).append(_where(report, finding.location.side, finding.location.track))
    return tuple(f"{name} ({listed(dict.fromkeys(places[:PLACES]))})" for name, places in names.items())


def _at_another_level(report: Report) -> str:
    """Name the sides that an earlier report judged at another level, as the beginning of a sentence."""
    others = () if report.baseline is None else report.baseline.other_levels
    sides = listed(change.side for change in others)
    return f"Side{'s' * (len(others) > 1)} {sides} {'are' if len(others) > 1 else 'is'}" if others else ""


def _judged_at(report: Report) -> str:
    """List the level of each side where `--level` set it, since the client has not agreed on that level."""
    levels = [(side.id, side.levels.judged) for side in report.sides if side.levels is not None]
    return "" if report.level is None else listed(f"{level} (side {shown(side, LONGEST)})" for side, level in levels)


def _details(report: Report, groups: Sequence[CheckFindings]) -> Iterator[str]:
    """Yield lines for the engineer: the most serious finding of each check, or two if there are few checks."""
    each = 2 if len(groups) < DETAILS // 2 else 1
    lines = (measured for group in groups for measured in group.first(each) if measured.finding.limit is not None)
    for measured in list(lines)[:DETAILS]:
        at = "" if measured.second is None else f", {_time(report, measured.finding.location.side, measured.second)}"
        remedies = " ".join(remedy.says for remedy in measured.finding.remedies[:1] if remedy.says)
        place = _where(report, measured.finding.location.side, measured.finding.location.track)
        yield shown(f"{place}{at}: {measured.finding.message}. {remedies}".strip(), 2 * FACTS)
