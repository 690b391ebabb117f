"""A fade that was cut to 16 bits without dither."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.bits.tails import Tails
from qc_standard.edges.places import judged_ends
from qc_standard.edges.starts_and_ends import Edges


class TruncatedFadeLimits(Model):
    """Greatest part of the samples of a tail that may equal the one before."""

    same: Limit


class TruncatedFade(Check[TruncatedFadeLimits]):
    """A fade ends in steps of 16 bits without dither."""

    id = "file.truncated-fade"
    title = "A fade ends in steps, without dither"
    why = (
        "A fade that is rounded to 16 bits without dither ends in a buzz that follows the music and then switches "
        "off. It lies near -96 dBFS, below the noise of a disc; but it shows that the whole file was reduced without "
        "dither."
    )
    how = (
        "In the last 0.3 s in which a tail below -78 dBFS still changes, at 16 bits or fewer: the part of the "
        "samples that equal the one before. Dither of one step changes about two of five samples, a rounded tail "
        "few. At the end of the side and at declared ends of tracks."
    )
    remedy = "Ask for the file of 24 bits, or for a reduction to 16 bits with dither."
    client = ForClient(
        name="A fade that ends in steps",
        means=(
            "At the very end of a fade the sound is so quiet that the file holds it in a few coarse steps, which "
            "makes it sound rough."
        ),
        asks="Please send us the file with 24 bits, or have it converted with dither.",
    )
    blind_to = (
        "Tails of cymbals and hiss, which change as often as dither does, fades in files that use more than 16 bits, "
        "and a tail that lies below -78 dBFS for less than 0.1 s."
    )
    sensitivity = (
        "Of ten fades of music by 100 dB, rounded to 16 bits, 7 that lasted 0.75 s were found, and all of 6 s."
    )
    needs: ClassVar[tuple[type[Need[Any]], ...]] = (Edges, Tails)
    Limits = TruncatedFadeLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "same": Judged("file.truncated_tail", "<=", "the part of the samples of the tail that equal the one before")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the tail of the side and of its declared tracks; raises NotApplicableError for a silent side."""
        edges, tails = ctx[Edges], ctx[Tails]
        for index, track in judged_ends(ctx, edges):
            tail = tails[index]
            if tail is not None:
                yield from ctx.hold(tail.quantity(track), self.limits.same, op="<=", of=self.judges["same"].of)
