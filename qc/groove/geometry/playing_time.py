"""Playing time of a side by level, as in a studio's chart: a trend of the trade, no computation (5a, S13)."""

from __future__ import annotations

import math

import numpy as np

Row = tuple[tuple[float, float], ...]

MINUTES: dict[tuple[str, str], Row] = {
    ("7in", "33"): ((-6.0, 9.5), (-3.0, 7.5), (0.0, 6.5)),
    ("10in", "33"): ((-6.0, 19.0), (-3.0, 17.0), (0.0, 13.0)),
    ("12in", "33"): ((-6.0, 28.0), (-3.0, 24.0), (0.0, 20.0)),
    ("7in", "45"): ((-3.0, 6.0), (0.0, 5.0), (3.0, 4.0)),
    ("10in", "45"): ((-3.0, 12.0), (0.0, 10.0), (3.0, 8.0)),
    ("12in", "45"): ((-3.0, 16.0), (0.0, 13.5), (3.0, 10.5)),
}
"""(size, speed) -> rising (level in dB, minutes) (5a, S13)."""


CHART_VELOCITY = 0.07
"""m/s, peak and lateral at 1 kHz: the RIAA reference that the chart's 0 dB is (L-8, from memory)."""


def above_chart(reference: float) -> float:
    """Return the level in dB of a reference velocity in m/s against that of the chart: -2.92 for 5 cm/s."""
    return 20.0 * math.log10(reference / CHART_VELOCITY)


def minutes_for(size: str, speed: str, level: float) -> float | None:
    """Return the minutes a side may last at a level in dB: linear between rows, constant beyond them (S13).

    None where the table has no such disc. The level is that of the programme's loudness on the disc, so that a louder
    file that is cut that much lower is not another side: against the RIAA reference, which the chart's 0 dB is, or,
    in rulesets before 3.0.0, against the alignment tone.
    """
    row = MINUTES.get((size, speed))
    if row is None:
        return None
    levels, minutes = zip(*row, strict=True)
    return float(np.interp(level, levels, minutes))
