"""A file whose sample rate was raised."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.spectrum.upsampled import Edge, RaisedRate


class UpsampledLimits(Model):
    """Largest fall of the sound at half of a lower sample rate."""

    drop: Limit


class Upsampled(Check[UpsampledLimits]):
    """The sound ends where a lower sample rate ends."""

    id = "file.upsampled"
    title = "Suspected: the sample rate was raised"
    why = (
        "A file of 96 kHz that holds sound of 44.1 kHz was converted once more than the client knows, or is a copy of "
        "the CD in place of the master. It cuts no worse than the CD, and no better."
    )
    how = (
        "The mean spectrum of the side: how far it falls from 80 to 90 % of half of 32, 44.1, 48, 88.2 or 96 kHz to "
        "102 to 106 % of it, where that is 12 dB more than it falls right below, and nothing returns above. Only rates "
        "of the file that are 1.8 times as high are compared."
    )
    remedy = "Ask whether a master at this rate exists; if not, the file before the conversion is as good."
    client = ForClient(
        name="A file that promises more than it holds",
        means=(
            "The file has a high sample rate, but its sound ends where that of a lower rate does. It was most likely "
            "converted from a CD or a similar file."
        ),
        asks="Please check whether this is the file that left the mastering, and send that one if it is not.",
    )
    blind_to = (
        "Sound that has nothing below the edge either, and a file of 48 kHz made from 44.1. A recorder with a steep "
        "filter of its own at such a place looks raised."
    )
    sensitivity = (
        "Music of 44.1 and 48 kHz that sox raised to 96 kHz: found in all of 10 pieces, with falls of 45 to 105 dB. Of "
        "the planted faults one piece is at 96 kHz: found with noise above its edge at -75 dBFS or less."
    )
    needs: ClassVar[tuple[type[Need[Edge | None]], ...]] = (RaisedRate,)
    Limits = UpsampledLimits
    judges: ClassVar[Mapping[str, Judged]] = {"drop": Judged("spectrum.edge_drop", "<=", "the fall of the sound")}

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the edge, where there is one."""
        edge = ctx[RaisedRate]
        if edge is not None:
            of = f"the fall of the sound at {edge.rate / 2000:g} kHz, where a file of {edge.rate / 1000:g} kHz ends,"
            yield from ctx.judge("spectrum.edge_drop", self.limits.drop, op="<=", of=of)
