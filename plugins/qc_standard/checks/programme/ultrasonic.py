"""Energy above what a disc is played to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class UltrasonicLimits(Model):
    """Highest mean level above 20 kHz."""

    level: Limit


class Ultrasonic(LimitCheck[UltrasonicLimits]):
    """There is much energy above 20 kHz."""

    id = "programme.ultrasonic"
    title = "Energy above what can be heard"
    why = (
        "The recording curve lifts 20 kHz by 19.6 dB over 1 kHz. Noise of a converter, or the bias of a tape machine, "
        "would only heat the cutter."
    )
    how = "The rms above 20 kHz over the whole side, up to half the sample rate, of the channel with more."
    remedy = "Set the low-pass of the cutting chain, or ask for a file without what lies above 20 kHz."
    client = ForClient(
        name="Strong sound above hearing",
        means=(
            "The file has a strong part above what can be heard, mostly noise of a device. The record cannot keep it, "
            "and it strains the machine that cuts."
        ),
        asks="Please ask your engineer whether this is meant, and have it filtered out if it is not.",
    )
    blind_to = "A part of the side that has it where the rest has not; what a chain with a low-pass takes out anyway."
    sensitivity = (
        "Noise above 20 kHz in ten pieces: all were found from -34 dBFS on, none at -36 dBFS. The level is measured "
        "within 0.3 dB; on an hour of clean music it was -39 dBFS at the most."
    )
    Limits = UltrasonicLimits
    judges: ClassVar[Mapping[str, Judged]] = {"level": Judged("spectrum.ultrasonic", "<=", "the level above 20 kHz")}
