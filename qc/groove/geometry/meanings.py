"""Meanings of the numbers that the core publishes, a sentence each; `sidegate explain` shows them."""

from __future__ import annotations

_PEAK = "the greatest value at any moment"

MEANINGS: dict[str, str] = {
    "audio.sample_rate": "Frames a second of the file.",
    "audio.bit_depth": "Bits of a sample of the file; of a float file, of its numbers.",
    "audio.channels": "Channels of the file; one is cut alike on both walls.",
    "audio.duration": "Length of the file.",
    "groove.wall_velocity_peak": f"Velocity of the wall that moves faster, {_PEAK}.",
    "groove.lateral_velocity_peak": f"Velocity of the movement along the radius, {_PEAK}.",
    "groove.lateral_displacement_peak": "How far the groove swings to either side of its middle at the most.",
    "groove.lateral_displacement_10s": "How far the groove swings to either side in a twentieth of the sectors (1/75 s "
    "each) of the worst 10 s, or of all of a shorter side, at the least.",
    "groove.lateral_speed_ratio_peak": "Lateral velocity over the speed of the groove at that radius, the greatest "
    "value at any moment: the tangent of the angle that the groove turns from its way.",
    "groove.vertical_up_peak": "How far the cutter rises at the most; the groove is narrowest and shallowest there.",
    "groove.vertical_down_peak": "How far the cutter sinks at the most; the groove is widest and deepest there.",
    "groove.low_vertical_peak": "How far the cutter rises or sinks at the most by what lies below 300 Hz.",
    "groove.acceleration_peak": f"Acceleration of the wall that moves more, {_PEAK}.",
    "groove.drive_1s": "Root of the mean square of a wall's acceleration over the worst 1 s: what heats the coils.",
    "groove.drive_10s": "Root of the mean square of a wall's acceleration over the worst 10 s.",
    "groove.top_width_min": "Width of the groove at the surface where it is narrowest.",
    "groove.depth_max": "Depth of the groove where it is deepest.",
    "groove.land_min": "What is left of the surface between two turns where they come closest; below 0 they touch.",
    "groove.lateral_slope_peak": (
        "Lateral velocity over what the cutter's back edges allow at that radius; above 1 the edges touch the groove."
    ),
    "groove.vertical_slope_peak": "Vertical velocity over what the cutter's back edges allow at that radius.",
    "groove.tracing_ratio_peak": (
        "Radius of the playback tip over the radius of the groove's tightest bend; above 1 the tip bridges it."
    ),
    "groove.tracing_ratio_peak_5um": "As groove.tracing_ratio_peak, for a slim tip of 5 um.",
    "groove.tracing_ratio_peak_18um": "As groove.tracing_ratio_peak, for a round tip of 18 um.",
    "groove.lateral_slope_share": "Part of the sectors (1/75 s each) of the worst 10 s whose lateral slope is above 1.",
    "groove.vertical_slope_share": "Part of the sectors of the worst 10 s whose vertical slope is above 1.",
    "groove.tracing_ratio_share": "Part of the sectors of the worst 10 s that the playback tip bridges.",
    "groove.sibilance_share": "Part of the sectors of the worst second that the tip bridges by 5 to 12 kHz alone.",
    "groove.lateral_slope_time": "Part of the time of the worst 10 s, in cells of 1 ms, in which the lateral slope "
    "goes above 1.",
    "groove.lateral_slope_time_twice": "Part of the time of the worst 10 s in which the lateral slope goes above 2.",
    "groove.vertical_slope_time": "Part of the time of the worst 10 s in which the vertical slope goes above 1.",
    "groove.vertical_slope_time_twice": "Part of the time of the worst 10 s in which the vertical slope goes above 2.",
    "groove.tracing_ratio_time": "Part of the time of the worst 10 s in which the playback tip bridges the groove.",
    "groove.tracing_ratio_time_twice": "Part of the time of the worst 10 s in which the groove bends more than "
    "twice as tightly as the playback tip.",
    "groove.sibilance_time": "Part of the time of the worst second in which the tip bridges by 5 to 12 kHz alone.",
    "groove.sibilance_time_twice": "Part of the time of the worst second in which 5 to 12 kHz alone bend the groove "
    "more than twice as tightly as the tip.",
    "groove.playback_residual": "What playback adds from 2 to 15 kHz in the worst second, over the programme there: "
    "the disc as cut, traced by the chain's tip, less the master at the level that fits best. Estimated from the "
    "groove's curvature and slope. Where an estimate is -22.3 dB or more, the worst seconds, at most six and 3 s "
    "apart, are replayed from the audio and exact.",
    "groove.top_loss": "How much quieter 10 to 15 kHz play than they are on the master, in the worst second. Estimated "
    "from the groove's curvature and slope; where seconds are replayed for groove.playback_residual, so are up to two "
    "more with the greatest estimated loss, and the worst of all replayed is exact.",
    "groove.travel": "How far the groove runs inwards as cut, marks between tracks counted.",
    "groove.travel_least": "The least travel possible: each turn as close to the one before as the land allows.",
    "groove.last_diameter": "Diameter at which the side ends.",
    "groove.judged_level": "Cut level the side is judged at: the requested one, else the release level of its disc, "
    "the lowest recommended level among the disc's free sides.",
    "groove.recommended_level": (
        "The cut level that the ruleset recommends: groove.edge_level, or by its policy a margin below that."
    ),
    "groove.edge_level": "The highest cut level at which every limit that sets the level holds.",
    "groove.clean_level": "The highest cut level at which nothing warns.",
    "groove.level_on_disc": "Loudness of the programme on the disc against the alignment tone.",
    "groove.level_over_recommended": "How far the requested cut level, cut_level or --level, lies above the "
    "recommended one.",
    "layout.lead_out_room": "Turns of lead-out, 6.4 mm each, between the last groove and the finishing groove.",
    "layout.minutes_over_table": "Minutes that the side is longer than the playing-time table allows at its loudness, "
    "the table's 0 dB read as the alignment tone.",
    "layout.minutes_over_chart": "Minutes that the side is longer than the playing-time table allows at its loudness, "
    "the table's 0 dB read as the RIAA reference of 7 cm/s.",
}
