"""One channel that is late against the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need, NotApplicableError
from qc_standard.azimuth.delay import ChannelDelay, DelayResult


class ChannelsOutOfTimeLimits(Model):
    """Longest time by which a channel may be late."""

    late: Limit


class ChannelsOutOfTime(Check[ChannelsOutOfTimeLimits]):
    """One channel is late against the other."""

    id = "programme.channels-out-of-time"
    title = "The channels are out of time"
    why = (
        "A tape head that is not square to the tape, or a converter that is a sample late, delays one channel. The "
        "middle of the picture then loses its treble in mono, and the cutter gets vertical movement that is not in "
        "the music."
    )
    how = (
        "From the phase between the channels from 400 Hz to 12 kHz, each frequency by its coherency: up to 20 windows "
        "of the side each have the delay that makes the phase straight. Half of them, by weight, must lie within "
        "6 us of the median, and their phases a third of the way from chance to a straight line."
    )
    remedy = "Have the azimuth set and the tape transferred again, or the late channel moved by the measured time."
    client = ForClient(
        name="One channel is late",
        means=(
            "One loudspeaker plays a tiny moment later than the other all along. You hear it as a dull or unsteady "
            "middle; it most often comes from the machine that played the tape."
        ),
        asks=(
            "Please ask your engineer to check the tape machine or the converter, and send us a new file, or let us "
            "correct it."
        ),
    )
    blind_to = (
        "Music without a common middle, such as orchestras between microphones that stand apart or nothing but "
        "reverberation, delays that come and go, and sides of less than ten seconds. A track of one instrument that "
        "two microphones heard at different times looks late."
    )
    sensitivity = (
        "Music of ten kinds, half a minute each: in nine a late channel is found, from 14 us on, and measured to 3 us; "
        "the tenth has no middle. Ten clean sides measure up to 1 us."
    )
    needs: ClassVar[tuple[type[Need[DelayResult]], ...]] = (ChannelDelay,)
    Limits = ChannelsOutOfTimeLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "late": Judged("stereo.delay", "<=", "the time by which a channel is late")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the side; raises NotApplicableError where the channels have too little in common."""
        result = ctx[ChannelDelay]
        if result.mono:
            raise NotApplicableError("the file has one channel, which is cut on both walls")
        if result.delay_s is None:
            raise NotApplicableError("the channels have too little in common to tell their time")
        yield from ctx.judge("stereo.delay", self.limits.late, op="<=", of=self.judges["late"].of)
