"""Mains hum under the programme."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.spectrum.hum import Hum as HumStretches
from qc_standard.spectrum.hum import HumStretch


class HumLimits(Model):
    """Highest level of mains hum."""

    level: Limit


class Hum(Check[HumLimits]):
    """Mains hum is heard where the music is quiet."""

    id = "programme.hum"
    title = "Mains hum in quiet passages"
    why = (
        "Hum of the mains comes from a ground loop, a cable or a machine in the transfer. It is heard in every pause, "
        "and a disc adds its own noise but hides no steady tone."
    )
    how = (
        "By stretches of 40 s, in their quietest 8 s: lines at 50 or 60 Hz and their multiples up to 300 Hz that "
        "stand 10 dB out of what lies beside them and keep their frequency to 0.35 Hz and their level. The level is "
        "the rms of all lines. Lines within 15 dB of the loudest second are music."
    )
    remedy = "Ask for a transfer without the hum; a notch at its lines takes it out where the bass allows it."
    client = ForClient(
        name="A steady hum",
        means=(
            "Under the music there is a low, steady hum, as mains power makes it. It is heard best where the music is "
            "quiet or stops, and the record will have it too."
        ),
        asks="Please listen to the pauses with headphones, and send a file without the hum if it is not meant.",
    )
    blind_to = (
        "Hum under music that has loud bass all the time, for less than 4 s, or of mains that wander by more than "
        "0.35 Hz, as on a tape that runs fast. A synthesiser that holds exactly 50, 60, 100 or 120 Hz looks like hum."
    )
    sensitivity = (
        "Hum of six lines on whole sides with pauses: found in all of 10 clean pieces from a first line of -68 dBFS, "
        "in none below. In 17 single minutes of music: 12 from -68 dBFS, 15 from -52 dBFS."
    )
    needs: ClassVar[tuple[type[Need[tuple[HumStretch, ...]]], ...]] = (HumStretches,)
    Limits = HumLimits
    judges: ClassVar[Mapping[str, Judged]] = {"level": Judged("hum.level", "<=", "the mains hum")}

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge every stretch with hum by itself."""
        for stretch in ctx[HumStretches]:
            lines = ", ".join(f"{hz:g}" for hz in stretch.lines)
            of = f"the hum of {stretch.family} Hz mains, with lines at {lines} Hz,"
            yield from ctx.hold(stretch.quantity(), self.limits.level, op="<=", of=of)
