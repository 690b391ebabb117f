"""Remedies for treble: dB to cut in a band, when, and the diameter outside which the passage needs no change."""

from __future__ import annotations

from collections.abc import Sequence

from qc.plugin_api import Excerpt, Finding, Quantity, Remedy, Stretch, clock, minutes
from qc.plugin_api.groove_model import DRIVES, TIMES, AsCut, WorkedSide, windowed
from qc.plugin_api.remedies import (
    LOOKED,
    MOST_DB,
    POWERS,
    LeastDiameter,
    PassageMotion,
    TrebleCut,
    densest,
    looked_at,
    needed,
    outermost,
    to_limit,
    treble_cut,
)
from qc_standard.advice.advised import about_worst, advised, broken, polarity, window

MEASURED = {*POWERS, *DRIVES, "groove.acceleration_peak", "groove.lateral_velocity_peak"}
A_SECOND = LOOKED + 1
"""Most sectors that cells of 1 s lie in: they begin and end within sectors."""
LISTED = 20
"""Most moments that a report lists of a finding, the longest first; the sentence states their total length."""


def add_remedy(finding: Finding, look: Excerpt) -> Finding:
    """Add remedies for a passage that bends too tightly, is too steep, or drives the cutter too hard."""
    measure = finding.measure
    if measure not in MEASURED:
        return finding
    worked, bound = look[AsCut], broken(finding)
    which = polarity(finding, worked)
    start, end = window(finding, worked) if windowed(measure) else about_worst(finding, worked, LOOKED)
    if measure in TIMES:  # its cells begin within a sector, and so end in the one after
        end = min(end + 1, worked.search.side.span.sectors)
    cutting = worked.search.cutting(worked.judged, which)
    ratios = to_limit(looked_at(cutting, measure, start, end), measure, bound)
    whole = needed(ratios, measure, bound)
    looked = A_SECOND if measure in TIMES else LOOKED
    first = start if end - start <= looked else start + densest(ratios, measure)
    passage = PassageMotion.read(look, look.stream, worked, first, min(end, first + looked))
    cut = treble_cut(passage, measure, which, bound, whole)
    remedies = [_cut(cut, part=end - start > looked)]
    place = outermost(worked, measure, which, start, end, bound)
    if place is not None:
        remedies.append(_further_out(place, worked))
    return advised(finding, *remedies)


def _cut(cut: TrebleCut, *, part: bool) -> Remedy:
    band = f"{_khz(cut.band[0])} to {_khz(cut.band[1])} kHz"
    when = _when(cut.moments, part=part)
    whole = Quantity(value=cut.whole, unit="dB")
    numbers = {
        "whole": whole,
        "from": Quantity(value=cut.band[0], unit="Hz"),
        "to": Quantity(value=cut.band[1], unit="Hz"),
        "over": Quantity(value=1e3 * sum(end - start for start, end in cut.moments), unit="ms"),
    }
    longest = sorted(cut.moments, key=lambda moment: moment[0] - moment[1])[:LISTED]
    stretches = tuple(Stretch(start_s=start, end_s=end) for start, end in sorted(longest))
    if cut.depth_db is None:
        sentence = f"No cut of up to {MOST_DB:.0f} dB at {band} does by itself; all of it must come down {_db(whole)}."
        says = f"{sentence[:-1]}, {when}." if when else sentence
        return Remedy(kind="band_will_not_do", says=says, numbers=numbers, stretches=stretches)
    numbers = {"cut": Quantity(value=cut.depth_db, unit="dB"), **numbers}
    where = " wherever it is too much" if part else ""
    sentence = f"Take {cut.depth_db:.1f} dB off {band}{where}{', ' if when else ''}{when}."
    return Remedy(kind="band_cut", says=sentence, numbers=numbers, stretches=stretches)


def _when(moments: Sequence[tuple[float, float]], *, part: bool) -> str:
    """Return the part of a sentence with the total milliseconds and the file seconds of some moments."""
    if not moments:
        return ""
    long = 1e3 * sum(end - start for start, end in moments)
    total = f"{long:.0f}" if long >= 1.0 else "less than 1"
    worst = " of its worst second" if part else ""
    return f"for {total} ms{worst} between {clock(moments[0][0])} and {clock(moments[-1][1])}"


def _further_out(place: LeastDiameter, worked: WorkedSide) -> Remedy:
    wide = 1e3 * place.diameter
    numbers = {"diameter": Quantity(value=wide, unit="mm")}
    outer = 1e3 * worked.search.side.chain.disc.outer
    if place.before_s is None:
        needs = f"it would have to lie outside {wide:.0f} mm, and the groove begins at {outer:.1f} mm"
        return Remedy(kind="no_place", says=f"No place on this disc would do as it is: {needs}.", numbers=numbers)
    numbers["before"] = Quantity(value=place.before_s, unit="s")
    where = f"outside {wide:.0f} mm, that is before {minutes(int(place.before_s))} of this side"
    return Remedy(kind="further_out", says=f"It would pass untouched {where}.", numbers=numbers)


def _khz(hz: float) -> str:
    return f"{hz / 1e3:.2g}"


def _db(quantity: Quantity) -> str:
    return f"{quantity.value:.1f} dB"
