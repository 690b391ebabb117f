"""Each value of the chain in a sentence; `sidegate explain cut.land` shows it."""

from __future__ import annotations

MEANINGS: dict[str, str] = {
    "signal.subsonic": "Corner of the 2nd-order Butterworth high-pass before the cutter.",
    "signal.top": "Edge of the pass band before the cutter.",
    "signal.cutter_pole": "Time constant of the extra pole that some cutting electronics have; 0 is none.",
    "signal.bass_mono": "Corner of the first-order high-pass on left minus right; 0 is none.",
    "cut.align": "Peak of a 1 kHz tone, the same in both channels, that cuts the reference velocity at 0 dB.",
    "cut.reference_velocity": "Peak lateral velocity of the alignment tone at a cut level of 0 dB.",
    "cut.polarity": "Whether the groove is cut as the file is, inverted, or judged by the worse of the two.",
    "cut.top_width": "Width at the surface of the groove without modulation.",
    "cut.land": "What is left of the surface between two turns.",
    "cut.depth": "Whether the groove is deepened for vertical movement, or its depth stays fixed.",
    "cut.keep_width": "Top width that variable depth keeps where the cutter rises.",
    "cut.nominal_depth": "Depth that variable depth goes to at the most, movement apart.",
    "cut.preview": "How far ahead pitch and depth know the programme.",
    "cut.max_pitch": "Fastest advance in a turn; marks between tracks may pass it.",
    "disc.outer": "Diameter at which the recorded surface begins.",
    "disc.finishing": "Diameter of the closed groove at the end.",
    "disc.mark_width": "Width of the visible mark between two tracks.",
    "playback.tip_radius": "Radius of the tip where it traces the groove.",
    "playback.back_angle": "Angle between the cutter's back edges and the direction of travel.",
}
"""Key as `--chain` takes it -> what it is."""

OF_LEVEL: dict[str, str] = {
    "level.policy": "Where the recommended level lies: at the edge of the limits that set it, or a margin below that.",
    "level.margin": "How far below the edge the recommended level lies where the policy is margin.",
}
"""Key of the policy for the recommended level -> what it is; each disc's ruleset states it, no option changes it."""
