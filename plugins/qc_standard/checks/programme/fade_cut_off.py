"""A fade that breaks off before it is down in the noise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.edges.places import judged_ends
from qc_standard.edges.starts_and_ends import Edges, EdgesResult


class FadeCutOffLimits(Model):
    """Highest level at which a fade may break off."""

    level: Limit


class FadeCutOff(Check[FadeCutOffLimits]):
    """A fade breaks off well above the noise."""

    id = "programme.fade-cut-off"
    title = "A fade breaks off"
    why = (
        "The end of a fade that breaks off is heard as a little gap in the room, most of all on headphones and in "
        "the quiet run-out of a side. The file was trimmed before the fade or the reverberation was over."
    )
    how = (
        "The level of the last 20 ms where it falls by 20 dB within 2 ms and does not return within 100 ms, or where "
        "the file ends, after the sound had faded by 20 dB or more from the loudest of the last 10 s. At the end of "
        "the side and at declared ends of tracks."
    )
    remedy = "Have the fade carried on until it is below the noise of the disc, about -70 dBFS."
    client = ForClient(
        name="A fade that breaks off",
        means=("The music fades away, and before it is gone it stops from one moment to the next."),
        asks="Please let the fade or the reverberation run out to the end, and send us the file again.",
    )
    blind_to = (
        "A fade that breaks off less than 20 dB above the noise that follows, one that is faded within more than 2 ms, "
        "and one that has kept its level for 1.5 s, which is noise."
    )
    sensitivity = (
        "Of ten fades of music that broke off at a known level, 8 were found at -60 dBFS and all from -57 dBFS on; "
        "those below -60 dBFS keep the limit."
    )
    needs: ClassVar[tuple[type[Need[EdgesResult]], ...]] = (Edges,)
    Limits = FadeCutOffLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "level": Judged("programme.fade_break", "<=", "the level at which the fade breaks off")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the end of the side and of its declared tracks; raises NotApplicableError for a silent side."""
        edges = ctx[Edges]
        for index, track in judged_ends(ctx, edges):
            edge = edges.ends[index]
            level = edge.quantity(track)
            if level is not None and edge.fade:
                yield from ctx.hold(level, self.limits.level, op="<=", of=self.judges["level"].of)
