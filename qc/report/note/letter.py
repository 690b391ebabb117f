"""What a note to the client says: what came, what has to be mended at which time, what may be, and what comes next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from qc.judge.findings import MeasuredFinding
from qc.model.check_docs import CheckWords, ForClient
from qc.model.report import Finding, Report, SideReport
from qc.report.views.findings import CheckFindings, folds
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
"""Tracks and sides that are named for one thing."""
TOLD = 3
"""Facts of one thing that are told."""
THINGS = 4
"""Things that fit on a page: all that must be mended are told, those that may be only as far as there is room."""
DETAILS = 8
"""Lines for the engineer."""

Outcome = Literal["mend", "weigh", "good"]


@dataclass(frozen=True)
class ReceivedSide:
    """A side as it came."""

    side: str
    files: str
    length: str
    """in words; empty where the file could not be read"""
    tracks: int
    measured: str = ""
    """"measured on 2026-11-30, not measured again"; empty where it was measured for this letter"""


@dataclass(frozen=True)
class Thing:
    """One thing to mend or to weigh, in the words of its check for the client."""

    name: str
    means: str
    asks: str
    places: tuple[str, ...]
    """'side B, track 2, “Slack Water”: at 1:07 and 1:16'"""
    more: int = 0
    """places that are not named"""
    facts: tuple[str, ...] = ()
    """what was found where that is no number: sentences"""


@dataclass(frozen=True)
class Letter:
    """All that a template is given, as `note`; texts of others are on one line, bounded, without what is not seen."""

    title: str
    catalogue: str
    outcome: Outcome
    received: tuple[ReceivedSide, ...] = ()
    mend: tuple[Thing, ...] = ()
    weigh: tuple[Thing, ...] = ()
    mended: tuple[str, ...] = ()
    """names of what an earlier report found and this one does not"""
    at_another_level: str = ""
    """the sides that were to be cut at another level then, "Side A is" or "Sides A and B are"; empty where none was"""
    near_the_edge: tuple[str, ...] = ()
    """a sentence for each side some of whose warnings would go at its clean level"""
    details: tuple[str, ...] = ()
    """the same in the words of engineers"""
    broke: bool = False
    """whether a check could not do its work"""
    judged_at: str = ""
    """the level of each side, where `--level` decided it: "-6.0 dB (side A) and -2.0 dB (side B)"; else empty"""


def letter(report: Report, words: Mapping[str, CheckWords]) -> Letter:
    """Put together what the client should know; what is waived is not told again."""
    mend = folds(report, "fail", by_side=False)
    weigh = [
        fold for fold in folds(report, "warn", by_side=False, without=goes_when_clean) if _worth(fold, mend, words)
    ]
    weigh = weigh[: max(0, THINGS - len(mend))]
    return Letter(
        title=shown(report.delivery.title, LONGEST),
        catalogue=shown(report.delivery.catalogue, LONGEST),
        outcome="mend" if mend else "weigh" if weigh else "good",
        received=tuple(_received(report, side) for side in report.sides),
        mend=tuple(_thing(fold, report, words) for fold in mend),
        weigh=tuple(_thing(fold, report, words) for fold in weigh),
        mended=_mended(report, words),
        at_another_level=_at_another_level(report),
        near_the_edge=tuple(gone_for_client(report)),
        judged_at=_judged_at(report),
        details=(*_unset(report), *_details(report, [*mend, *weigh])),
        broke=report.verdict == "error" or bool(report.plugin_failures),
    )


def _unset(report: Report) -> Iterator[str]:
    """Say of each side which limits fail at its recommended level because they do not set it."""
    for side in report.sides:
        if said := unset(report, side):
            yield shown(f"side {shown(side.id, LONGEST)}: {said}.", 2 * FACTS)


def _worth(fold: CheckFindings, mend: Sequence[CheckFindings], words: Mapping[str, CheckWords]) -> bool:
    """Whether a warning is told: the client can do something about it, and the check does not fail elsewhere."""
    known = words.get(fold.check)
    client = None if known is None else known.client
    return client is not None and client.warns and fold.check not in [one.check for one in mend]


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
    """Say a length in words: "18 minutes 5 seconds"."""
    minutes, rest = divmod(round(seconds), 60)
    parts = [(minutes, "minute"), (rest, "second")]
    return " ".join(f"{count} {word}{'s' * (count != 1)}" for count, word in parts if count or word == "second")


def _words(check: str, finding: Finding | None, words: Mapping[str, CheckWords]) -> ForClient:
    """Give a check's words for the client; those of a plugin that has none are its title and remedy."""
    known = words.get(check)
    if known is not None and known.client is not None:
        return known.client
    remedy = "" if finding is None else finding.remedy
    if known is None:
        return ForClient(shown(check, LONGEST), "", shown(remedy, FACTS))
    return ForClient(shown(known.title, LONGEST), shown(known.why, FACTS), shown(known.remedy, FACTS))


def _thing(fold: CheckFindings, report: Report, words: Mapping[str, CheckWords]) -> Thing:
    client = _words(fold.check, fold.gravest.finding, words)
    places, named = _places(fold.found, report)
    facts = [one.finding.message for one in fold.found if one.finding.limit is None]
    return Thing(
        client.name, client.means, client.asks, places, fold.count - named,
        tuple(f"{shown(fact, FACTS)}." for fact in dict.fromkeys(facts[:TOLD])),
    )  # fmt: skip


def _places(found: Iterable[MeasuredFinding], report: Report) -> tuple[tuple[str, ...], int]:
    """Say where findings lie, by track in the order of the record, and how many findings that names."""
    by_track: dict[tuple[str, int | None], list[MeasuredFinding]] = {}
    for one in found:
        by_track.setdefault((one.finding.location.side, one.finding.location.track), []).append(one)
    order = [side.id for side in report.sides]
    kept = sorted(
        by_track.items(), key=lambda item: (order.index(item[0][0]) if item[0][0] in order else -1, item[0][1] or 0)
    )
    said, named = [], 0
    for (side, track), ones in kept[:PLACES]:
        times = list(dict.fromkeys(_time(report, side, second) for second in sorted(_seconds(ones))))
        named += len(ones) if len(times) <= TIMES else TIMES
        at = f": at {listed(times[:TIMES])}" if times else ""
        said.append(f"{_where(report, side, track)}{at}")
    return tuple(said), named


def _seconds(found: Iterable[MeasuredFinding]) -> Iterator[float]:
    return (one.second for one in found if one.second is not None)


def _where(report: Report, side: str, track: int | None) -> str:
    if not side:
        return "the papers"
    where = f"side {shown(side, LONGEST)}"
    if track is None:
        return where
    title = _title(report, side, track)
    return f"{where}, track {track}" + (f", “{shown(title, LONGEST)}”" if title else "")


def _title(report: Report, side: str, track: int) -> str:
    for one in report.sides:
        for declared in one.declared.get("tracks", ()) if one.id == side else ():
            if declared.get("number") == track:
                return str(declared.get("title") or "")
    return ""


def _time(report: Report, side: str, second: float) -> str:
    """Write the time that a player shows for the file that was sent: of a side in several, that of the one file."""
    files = next((one.audio.files for one in report.sides if one.id == side), ())
    own = [file for file in files if file.start_s is not None and file.start_s <= second]
    if not own:
        return _played(second)
    return f"{_played(second - (own[-1].start_s or 0.0))} of {shown(own[-1].file, LONGEST)}"


def _played(seconds: float) -> str:
    whole = int(seconds + 1e-6)
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def _mended(report: Report, words: Mapping[str, CheckWords]) -> tuple[str, ...]:
    """Name what is gone since the earlier report: failures, and warnings worth a letter."""
    gone = () if report.baseline is None else report.baseline.gone
    there = {one.check: [result for result in report.results if result.check == one.check] for one in gone}
    names: dict[str, list[str]] = {}
    for one in gone:
        client = _words(one.check, one, words)
        judged = any(result.outcome not in ("error", "not_measured") for result in there[one.check])
        if judged and (one.severity == "fail" or client.warns):
            names.setdefault(client.name, []).append(_where(report, one.location.side, one.location.track))
    return tuple(f"{name} ({listed(dict.fromkeys(places[:PLACES]))})" for name, places in names.items())


def _at_another_level(report: Report) -> str:
    """Name the sides that an earlier report judged at another level, as the beginning of a sentence."""
    others = () if report.baseline is None else report.baseline.other_levels
    sides = listed(one.side for one in others)
    return f"Side{'s' * (len(others) > 1)} {sides} {'are' if len(others) > 1 else 'is'}" if others else ""


def _judged_at(report: Report) -> str:
    """Name the level of each side where `--level` decided it, since it is then no level that anybody agreed on."""
    known = [(side.id, side.levels.judged) for side in report.sides if side.levels is not None]
    return "" if report.level is None else listed(f"{level} (side {shown(side, LONGEST)})" for side, level in known)


def _details(report: Report, told: Sequence[CheckFindings]) -> Iterator[str]:
    """Say the same to an engineer: the gravest number of each thing, of few things two, and the remedy for it."""
    each = 2 if len(told) < DETAILS // 2 else 1
    lines = (one for fold in told for one in fold.first(each) if one.finding.limit is not None)
    for one in list(lines)[:DETAILS]:
        at = "" if one.second is None else f", {_time(report, one.finding.location.side, one.second)}"
        remedies = " ".join(remedy.says for remedy in one.finding.remedies[:1] if remedy.says)
        place = _where(report, one.finding.location.side, one.finding.location.track)
        yield shown(f"{place}{at}: {one.finding.message}. {remedies}".strip(), 2 * FACTS)
