"""Remedies for sides that are too long: a lower level, seconds to remove, and the effect of the other depth mode."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.plugin_api import Excerpt, Finding, NotMeasuredError, Quantity, Remedy, show
from qc.plugin_api.groove_model import CHART, ROOM, AsCut, above_chart, ends_at, minutes_for
from qc_standard.advice.advised import advised, broken

if TYPE_CHECKING:
    from qc.plugin_api.remedies import Length

LOWEST_DB = 40.0
"""Most dB below the judged level at which a level that fits the table is searched."""


def end_further_out(finding: Finding, look: Excerpt) -> Finding:
    """Add remedies for a side that ends too far in; where a last diameter sets the level, it is the target."""
    assert finding.limit is not None
    wanted = {"warn": finding.limit.warn, "fail": finding.limit.fail, None: None}[finding.limit.sets_level]
    return _shorter(finding, look, (broken(finding) if wanted is None else wanted) / 1e3)


def make_room(finding: Finding, look: Excerpt) -> Finding:
    """Add remedies for a side without room for its lead-out."""
    wanted = ends_at(ROOM, broken(finding), look.chain.disc)
    assert wanted is not None  # room is computed from the last diameter
    return _shorter(finding, look, wanted)


def come_down(finding: Finding, look: Excerpt) -> Finding:
    """Add the recommended level for a side judged above it, and the seconds to remove where its length rules."""
    recommended, at_the_edge = look[AsCut].recommended, not look[AsCut].policy.tenths
    bound = None if recommended.by is None else recommended.by.setting
    if recommended.by is not None and bound is not None and at_the_edge:
        wanted = ends_at(recommended.by.measure, bound, look.chain.disc)
        if wanted is not None:
            return _shorter(finding, look, wanted)
    if recommended.bound == "<":
        return finding
    level = recommended.quantity()
    return advised(finding, Remedy(kind="lower", says=f"Cut at {level}.", numbers={"level": level}))


def _shorter(finding: Finding, look: Excerpt, diameter: float) -> Finding:
    from qc.plugin_api.remedies import shorten  # imported late: few sides are too long

    worked = look[AsCut]
    length = shorten(worked, diameter)
    ways, numbers = [], {"diameter": _mm(length.wanted), "ends": _mm(length.ends)}
    if length.level is not None and length.level < worked.judged:
        ways.append(f"cut at {show(length.level, 'dB')}")
        numbers["level"] = Quantity(value=length.level, unit="dB")
    if length.less_s:
        ways.append(f"shorten it by {_long(length.less_s)} at this level")
        numbers["seconds"] = Quantity(value=length.less_s, unit="s")
    numbers |= {"other_depth_ends": _mm(length.other.ends), "other_depth_width": _um(length.other.width)}
    first = f"To end at {1e3 * diameter:.1f} mm, {', or '.join(ways)}; as it is, it ends at {1e3 * length.ends:.1f} mm."
    first = first if ways else f"Nothing brings its end out to {1e3 * diameter:.1f} mm."
    return advised(finding, Remedy(kind="shorter", says=f"{first} {_depth(length)}", numbers=numbers))


def _depth(length: Length) -> str:
    """Return a sentence about the last diameter and the groove width with the other depth mode."""
    other = length.other
    ends, width = f"{1e3 * other.ends:.1f} mm", show(1e6 * other.width, "um")
    depth = "a fixed depth" if other.depth == "fixed" else "its depth varied"
    return f"With {depth} it would end at {ends}, its groove {width} wide where it is narrowest."


def keep_to_the_table(finding: Finding, look: Excerpt) -> Finding:
    """Add the time to remove, or the level, for a side that is longer than the table allows for its loudness."""
    assert isinstance(finding.measured, Quantity)  # as every number that a limit applies to
    over = finding.measured.value - broken(finding)
    worked = look[AsCut]
    disc, on_disc = look.chain.disc, look.measured("groove.level_on_disc").value
    if finding.measure == CHART:
        on_disc += above_chart(look.chain.cut.reference_velocity)
    allowed = minutes_for(disc.size, disc.speed, on_disc)
    if allowed is None:
        raise NotMeasuredError("the table has no such disc")
    numbers = {"seconds": Quantity(value=60.0 * over, unit="s"), "ends": _mm(1e-3 * _ends(look))}
    words = f"Shorten it by {_long(60.0 * over)}"
    steps = range(1, round(10.0 * LOWEST_DB))
    lower = next((s / 10.0 for s in steps if _minutes(look, on_disc - s / 10.0) >= allowed + over), None)
    if lower is not None:
        level = worked.judged - lower
        numbers["level"] = Quantity(value=level, unit="dB")
        words += f", or cut at {show(level, 'dB')}, for the table to have room for it"
    else:
        words += " for the table to have room for it; no lower level gains that much"
    says = f"{words}. The spiral itself ends it at {_ends(look):.1f} mm at this level."
    return advised(finding, Remedy(kind="shorter", says=says, numbers=numbers))


def _minutes(look: Excerpt, level: float) -> float:
    return minutes_for(look.chain.disc.size, look.chain.disc.speed, level) or 0.0


def _ends(look: Excerpt) -> float:
    return look.measured("groove.last_diameter").value


def _long(seconds: float) -> str:
    if seconds < 59.95:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def _mm(metres: float) -> Quantity:
    return Quantity(value=1e3 * metres, unit="mm")


def _um(metres: float) -> Quantity:
    return Quantity(value=1e6 * metres, unit="um")
