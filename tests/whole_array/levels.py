"""Every level of a report against the whole-array model's own search."""

from whole_array import model

STEP = 0.1001  # dB: one step of the grid that both search on

NAMES = {
    "groove.last_diameter": "groove.last-diameter-too-small/least",
    "groove.top_width_min": "groove.top-width-too-narrow/least",
    "groove.depth_max": "groove.cut-too-deep/greatest",
    "groove.lateral_slope_share": "groove.slope-too-steep/lateral_share",
    "groove.vertical_slope_share": "groove.slope-too-steep/vertical_share",
    "groove.tracing_ratio_share": "groove.curvature-too-tight/share",
    "groove.sibilance_share": "hf.sibilance-or-cymbals-too-strong/share",
    "groove.drive_1s": "groove.drive-too-high/in_1s",
    "groove.drive_10s": "groove.drive-too-high/in_10s",
    "groove.land_min": "groove.too-little-land/least",
    "groove.lateral_slope_peak": "groove.slope-too-steep/peak",
    "groove.vertical_slope_peak": "groove.slope-too-steep/peak",  # one limit on two measurements: the lower level
    "groove.tracing_ratio_peak": "groove.curvature-too-tight/peak",
    "groove.acceleration_peak": "groove.drive-too-high/peak",
    "groove.lateral_velocity_peak": "groove.slope-too-steep/velocity",
    "groove.low_vertical_peak": "stereo.low-end-out-of-phase/excursion",
    "layout.lead_out_room": "layout.lead-out-room/least",
}
"""How a report names the limit on each measurement of the model's limits."""


def by_limit(side, chain):
    """Give the model's level for each limit alone, taken at what sets the level, else at its warn value."""
    found, measured = {}, model.at_levels(side.envelopes, side.span, side.gaps, chain)
    for limit in model.limits_of():
        level = model.largest_level(measured, [(limit, limit.sets or "warn")])
        name = NAMES[limit.measurement]
        found[name] = min(level, found.get(name, level), key=lambda one: one.level_db)
    return found


def disagreements(levels, side, chain):
    """Name every level of a report's side that is more than a step of the grid from the model's."""
    expected = by_limit(side, chain)
    assert levels["by_limit"].keys() == expected.keys()
    reported = {name: reached["level"] for name, reached in levels["by_limit"].items()}
    for name, search in (("recommended", model.recommended), ("clean", model.clean)):
        reported[name], expected[name] = levels[name], search(side.envelopes, side.span, side.gaps, chain)
    return [
        f"{name}: {reported[name]}, model {level}"
        for name, level in expected.items()
        if abs(reported[name]["value"] - level.level_db) > STEP or (reported[name].get("bound") or "") != level.bound
    ]
