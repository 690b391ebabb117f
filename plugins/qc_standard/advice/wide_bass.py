"""Remedy for wide bass: the lowest bass-mono corner that makes the vertical excursion fit, and its loss in dB."""

from __future__ import annotations

from qc.plugin_api import Excerpt, Finding, Quantity, Remedy, show
from qc.plugin_api.groove_model import AsCut
from qc.plugin_api.remedies import CORNERS, LOOKED, Mono, PassageMotion, cost, lowest_corner
from qc_standard.advice.advised import about_worst, advised, broken, whole_stretch

NAMES = {
    "groove.top_width_min": "the least top width",
    "groove.depth_max": "the greatest depth",
    "groove.low_vertical_peak": "the vertical movement below 300 Hz",
}


def add_remedy(finding: Finding, look: Excerpt) -> Finding:
    """Add a remedy for a passage that is too narrow, too deep, or has too much vertical movement below 300 Hz."""
    if finding.measure not in NAMES:
        return finding
    worked = look[AsCut]
    start, end = about_worst(finding, worked, LOOKED)
    there = "this passage" if whole_stretch(finding, start, end) else "the worst second of this passage"
    passage = PassageMotion.read(look, look.stream, worked, start, end, wide=True)
    mono = lowest_corner(passage, finding.measure, broken(finding))
    assert isinstance(finding.measured, Quantity)  # as every number that a limit applies to
    unit = finding.measured.unit
    left = Quantity(value=mono.left, unit=unit)
    if mono.corner is None:
        says = _no_use(mono, finding.measure, unit)
        return advised(finding, Remedy(kind="bass_mono_will_not_do", says=says, numbers={"left": left}))
    corner, twice = mono.corner, 2.0 * mono.corner
    numbers = {
        "corner": Quantity(value=corner, unit="Hz"),
        "left": left,
        "at_corner": Quantity(value=cost(corner, corner), unit="dB"),
        "at_twice": Quantity(value=cost(corner, twice), unit="dB"),
    }
    fits = f"Bass mono below {corner:.0f} Hz makes {there} fit: {NAMES[finding.measure]} comes to "
    costs = f"{-cost(corner, corner):.1f} dB at {corner:.0f} Hz and {-cost(corner, twice):.2f} dB at {twice:.0f} Hz"
    filtered = f"It is a first-order high-pass on the difference of left and right, which loses {costs}."
    says = f"{fits}{show(mono.left, unit)}. {filtered}"
    return advised(finding, Remedy(kind="bass_mono", says=says, numbers=numbers))


def _no_use(mono: Mono, measure: str, unit: str) -> str:
    still = f"at {CORNERS[-1]:.0f} Hz {NAMES[measure]} is still {show(mono.left, unit)}"
    if mono.lies_higher:
        return f"Bass mono will not help, for most of the excursion lies above 300 Hz: {still}."
    return f"Bass mono alone will not do: {still}."
