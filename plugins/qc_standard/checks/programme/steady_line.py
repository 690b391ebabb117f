"""A steady tone above 10 kHz under the programme."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.spectrum.steady import SteadyLine as Line
from qc_standard.spectrum.steady import SteadyLines


class SteadyLineLimits(Model):
    """Highest level of a steady line."""

    level: Limit


class SteadyLine(Check[SteadyLineLimits]):
    """A steady tone above 10 kHz lies under the whole side."""

    id = "programme.steady-line"
    title = "A steady tone at the top"
    why = (
        "A tone that never stops comes from a television set, a power supply or a converter near the recorder. "
        "Young ears hear it in every pause, and the cutter follows it all along the side."
    )
    how = (
        "Spectra of 0.17 s, one a second, by at most 128 segments: a line from 10 to 23.5 kHz that stands 12 dB out "
        "of the 230 Hz beside it on average, and 6 dB in 80 % of the segments. 15,625 and 15,734.27 Hz, the line "
        "frequencies of television, are named. Lines within 15 dB of the loudest second are programme."
    )
    remedy = "Have a narrow notch at its frequency set in the master, or ask for a transfer without it."
    client = ForClient(
        name="A very high steady tone",
        means=(
            "A very high, thin tone lies under the whole side, as old television sets and some power supplies make it. "
            "Not everybody hears it, but the record will have it."
        ),
        asks="Please ask your engineer to take this one tone out, and send the file again.",
    )
    blind_to = "Lines below 10 kHz, above 23.5 kHz, in less than 80 % of the side, or that wander by a few hertz."
    sensitivity = (
        "Lines of television planted in 10 clean pieces: at a peak of -75 dBFS 8 were found, all from -70 dBFS "
        "(15,734 Hz) or -65 dBFS (15,625 Hz); those below -77 dBFS are measured and keep the limit."
    )
    needs: ClassVar[tuple[type[Need[tuple[Line, ...]]], ...]] = (SteadyLines,)
    Limits = SteadyLineLimits
    judges: ClassVar[Mapping[str, Judged]] = {"level": Judged("line.level", "<=", "the steady line")}

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each line by itself."""
        for line in ctx[SteadyLines]:
            start, middle, end = (f"{ratio:.0f}" for ratio in line.ratios_db)
            of = f"{line.name} {start}, {middle} and {end} dB above the noise in the thirds of the side,"
            yield from ctx.hold(line.quantity(), self.limits.level, op="<=", of=of)
