"""Distortion of playback."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import CheckContext, Finding, ForClient, Judged, Limit, LimitCheck, Model, NotApplicableError
from qc.plugin_api.groove_model import RESIDUAL, AsCut


class PlaybackDistortedLimits(Model):
    """Most that playback may add in the worst second."""

    residual: Limit


class PlaybackDistorted(LimitCheck[PlaybackDistortedLimits]):
    """The disc would play back with audible distortion."""

    id = "groove.playback-distorted"
    title = "The side will not play cleanly"
    why = (
        "A cutter whose back edges cut once more what its face has cut, and a tip that is blunter than the groove's "
        "bends, leave a sound that is not on the master: harsh, spitting treble, the more so towards the label."
    )
    how = (
        "A model cuts the groove with the cutter's back edges and plays it with the chain's tip. What playback adds to "
        "the master from 2 to 15 kHz is compared with the master, each second as an estimate. Where an estimate is "
        "-22.3 dB or more, the worst seconds, at most six and 3 s apart, are replayed from the audio and exact."
    )
    remedy = "Cut lower, soften the treble at the second given, or move this track further out on the side."
    client = ForClient(
        name="A passage that would sound rough on the record",
        means=(
            "At this moment the sound is so loud and bright for its place on the side that a needle cannot follow it "
            "exactly. The record would sound rough or spitting there, although your file sounds clean."
        ),
        asks=(
            "Please have the brightest sounds softened a little at this moment. If you would rather keep them, we can "
            "cut the side more quietly, or the track can move closer to the start of its side."
        ),
    )
    blind_to = (
        "Whether it is heard: distortion of a cymbal passes, that of a voice or a piano does not. And the pickup in "
        "use, its alignment and the wear of the disc."
    )
    Limits = PlaybackDistortedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "residual": Judged(RESIDUAL, "<=", "the distortion of the worst second, from 2 to 15 kHz,"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare the residual; a side without programme in that band has none."""
        if ctx[AsCut].playback.worst(RESIDUAL) is None:
            raise NotApplicableError("there is no programme from 2 to 15 kHz")
        yield from super().evaluate(ctx)
