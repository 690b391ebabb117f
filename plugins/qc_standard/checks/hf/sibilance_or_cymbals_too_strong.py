"""Sibilance and cymbals."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import treble


class SibilanceOrCymbalsTooStrongLimits(Model):
    """Most of a second that sibilance or cymbals may overload.

    Rulesets before 3.0.0 limit a share of sectors instead, and none of the time.
    """

    time: Limit | None = None
    time_twice: Limit | None = None
    share: Limit | None = None


class SibilanceOrCymbalsTooStrong(LimitCheck[SibilanceOrCymbalsTooStrongLimits]):
    """Sibilance or cymbals bend the groove more tightly than the replay tip can follow."""

    id = "hf.sibilance-or-cymbals-too-strong"
    title = "Sibilance or cymbals are too strong"
    why = (
        "The recording curve lifts them by 8 to 14 dB. Bursts that sound clean in the file come back "
        "from the disc as spitting, worst near the label."
    )
    how = (
        "As the bends of the whole groove, but from 5 to 12 kHz alone: the time of the worst second, in cells of "
        "1 ms of the file, that lies above 1, and that above 2. Rulesets before 3.0.0 count the sectors of 1/75 s "
        "above 1 instead, of which one moment is enough."
    )
    remedy = (
        "De-ess the voice, or soften the cymbals, at the place given; cut lower; or move this track "
        "further out on the side."
    )
    client = ForClient(
        name="Sharp S sounds or cymbals",
        means=(
            "The S sounds of a voice, and cymbals, can sound fine in the file and still come back from a record as a "
            "spitting noise, most of all towards the end of a side."
        ),
        asks=(
            "Please listen at these moments and have the S sounds or the cymbals softened there. If you would rather "
            "keep them, we can cut the side more quietly, or the track can move closer to the start of its side."
        ),
    )
    blind_to = "Whether it is a voice or a cymbal: both lie in the same band, so listen there first."
    Limits = SibilanceOrCymbalsTooStrongLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "time": Judged(
            "groove.sibilance_time",
            "<=",
            "the time of the worst second with sibilance or cymbals tighter than the tip can follow",
        ),
        "time_twice": Judged(
            "groove.sibilance_time_twice",
            "<=",
            "the time of the worst second with sibilance or cymbals more than twice as tight as the tip can follow",
        ),
        "share": Judged(
            "groove.sibilance_share",
            "<=",
            "the part of the worst second with sibilance or cymbals tighter than the tip can follow",
        ),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the dB to cut, the band and the moments, and the diameter outside which the passage needs no change."""
        return treble.add_remedy(finding, look)
