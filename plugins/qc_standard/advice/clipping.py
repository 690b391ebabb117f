"""Remedy for clipped runs: their number by channel, the clipping level, and the length of the longest run."""

from __future__ import annotations

import math

from qc.plugin_api import Excerpt, Finding, Quantity, Remedy
from qc.plugin_api.meters import FlatRuns
from qc_standard.advice.advised import advised
from qc_standard.dead import CHANNELS
from qc_standard.peaks import Peaks


def add_remedy(finding: Finding, look: Excerpt) -> Finding:
    """Add the numbers of the clipped runs; a missing clipping level is read from the longest run of the channel."""
    result = look[Peaks]
    numbers: dict[str, Quantity] = {}
    sentences = []
    for channel, runs in enumerate(result.clipping(finding.measure)):
        if not runs.count:
            continue
        name = CHANNELS[channel]
        if isinstance(runs, FlatRuns):
            value = runs.level
        else:
            value = float(look(runs.frame / result.rate, (runs.frame + 1) / result.rate)[channel, 0])
        level, long = 20.0 * math.log10(abs(value)), 1e3 * runs.longest / result.rate
        numbers |= {
            f"{name}_runs": Quantity(value=runs.count, unit="1"),
            f"{name}_level": Quantity(value=level, unit="dBFS"),
            f"{name}_samples": Quantity(value=runs.longest, unit="1"),
            f"{name}_longest": Quantity(value=long, unit="ms"),
        }
        where = "" if look.stream.mono else f" on the {name}"
        many = "1 run" if runs.count == 1 else f"{runs.count} runs"
        sentences.append(f"{many}{where} at {level_of(value)}, the longest {runs.longest} samples or {long:.2f} ms")
    if not sentences:
        return finding
    return advised(finding, Remedy(kind="unclipped_mix", says=f"Cut off: {'; '.join(sentences)}.", numbers=numbers))


def level_of(value: float) -> str:
    """Write a sample's magnitude as a level: "-1.62 dBFS"."""
    return f"{20.0 * math.log10(abs(value)) + 0.0:.2f} dBFS".replace("-0.00", "0.00")
