"""The assumed chain from the file to the stylus, in SI units.

The defaults are those of the 12-inch 33 1/3 ruleset, for use from Python; a ruleset states every value with its
source. Keys such as G-10 refer to rulesets/qc_rulesets/sources.yaml.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

SECTORS_A_SECOND = 75
"""A sector is one CUE frame: a whole number of samples at every file rate and of sectors at both speeds."""

STANDARD_GRAVITY = 9.80665
"""m/s2 in one g, the unit that cutter drive is quoted in."""

LEAD_OUT_PITCH = 6.4e-3
"""Pitch of the lead-out, m a turn (D-8)."""


@dataclass(frozen=True, slots=True)
class Signal:
    """Signal processing between the file and the cutter: the only part of the chain that measuring depends on.

    subsonic: corner of the 2nd-order Butterworth high-pass, Hz. top: edge of the pass band, Hz.
    cutter_pole: time constant of the extra pole, s, 0 = none (EQ-6). bass_mono: corner of the first-order
    high-pass on the difference signal, Hz, 0 = none (C-13).
    """

    subsonic: float = 10.0
    top: float = 20_000.0
    cutter_pole: float = 0.0
    bass_mono: float = 0.0


@dataclass(frozen=True, slots=True)
class Cut:
    """Settings of the cut: level in dBFS peak, velocity in m/s peak lateral (L-5), lengths in m, preview in turns."""

    align: float = -18.0
    reference_velocity: float = 0.05
    polarity: Literal["normal", "inverted", "worst"] = "worst"
    top_width: float = 56e-6
    land: float = 13e-6
    depth: Literal["variable", "fixed"] = "variable"
    keep_width: float = 30e-6
    nominal_depth: float = 75e-6
    preview: float = 0.5
    max_pitch: float = 500e-6

    @property
    def unity_velocity(self) -> float:
        """Peak wall velocity, m/s, of a 1 kHz sine at 0 dBFS in that channel, at a cut level of 0 dB (L-5, L-6)."""
        return self.reference_velocity / math.sqrt(2.0) / 10.0 ** (self.align / 20.0)


@dataclass(frozen=True, slots=True)
class DiscGeometry:
    """The disc: diameters and the width of a mark between tracks in m (D-5, D-9, D-24)."""

    size: str = "12in"
    speed: str = "33"
    outer: float = 0.2926
    finishing: float = 0.1064
    mark_width: float = 0.001

    @property
    def rpm(self) -> float:
        """Turns a minute; "33" means 33 1/3 (D-12)."""
        return 100.0 / 3.0 if self.speed == "33" else float(self.speed)

    @property
    def sectors_a_turn(self) -> int:
        """Sectors in one turn: 135 at 33 1/3, 100 at 45."""
        return round(SECTORS_A_SECOND * 60.0 / self.rpm)


@dataclass(frozen=True, slots=True)
class Playback:
    """Radius in m of the tip that traces the groove (G-15) and angle in rad of the cutter's back edges (C-1)."""

    tip_radius: float = 8e-6
    back_angle: float = math.pi / 4.0


@dataclass(frozen=True, slots=True)
class NamedTip:
    """A replay tip that a ruleset names, by its radii in m: along the groove, which traces, and across it.

    `across` is None where the ruleset does not state it.
    """

    name: str
    along: float
    across: float | None = None

    @property
    def size(self) -> str:
        """Size in um: "18 um", "8 x 18 um"."""
        return tip_size(self.along, self.along if self.across is None else self.across)


TIP_RADIUS = "playback.tip_radius"
"""Key of the chain's tip, in place of whose value a tip of the ruleset may be named."""


def tip_size(along: float, across: float) -> str:
    """Write the radii of a tip, m, in um: "18 um" for a spherical one, else "8 x 18 um"."""
    first, second = f"{1e6 * along:g}", f"{1e6 * across:g}"
    return f"{first} um" if first == second else f"{first} x {second} um"


@dataclass(frozen=True, slots=True)
class Chain:
    """All assumptions of a cut, from the file to the stylus."""

    signal: Signal = field(default_factory=Signal)
    cut: Cut = field(default_factory=Cut)
    disc: DiscGeometry = field(default_factory=DiscGeometry)
    playback: Playback = field(default_factory=Playback)
