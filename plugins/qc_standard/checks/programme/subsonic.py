"""Energy below what can be heard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class SubsonicLimits(Model):
    """Highest level below 18 Hz over 10 s."""

    level: Limit


class Subsonic(LimitCheck[SubsonicLimits]):
    """There is much energy below 18 Hz."""

    id = "programme.subsonic"
    title = "Rumble below what can be heard"
    why = (
        "Rumble, wind in a microphone or the warp of a transferred disc swings the groove widely and slowly. It takes "
        "land and level from the music, and makes the pick-up of the listener sway."
    )
    how = "The rms from 1.5 to 18 Hz over the 10 s that have most, of the channel with more; spectra of 1.4 s."
    remedy = "Ask for a high-pass at 20 Hz in the master, or set one at the cut where the room has it."
    client = ForClient(
        name="Very low rumble",
        means=(
            "The sound has a strong part that is too low to be heard. On a record it would only take the room that the "
            "music needs."
        ),
        asks="Please ask your engineer to take this rumble out, and send the file again.",
    )
    blind_to = "Rumble above 18 Hz, and below -30 dBFS. An organ pipe of 16 Hz that is meant to be felt is found too."
    sensitivity = (
        "Rumble planted in ten pieces was found in all from -29 dBFS on, and in none below; on an hour of clean music "
        "the level was -38 dBFS at the most."
    )
    Limits = SubsonicLimits
    judges: ClassVar[Mapping[str, Judged]] = {"level": Judged("spectrum.subsonic", "<=", "the level below 18 Hz")}
