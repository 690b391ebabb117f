"""Bits of the file that no sample uses."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, ClassVar

from qc.plugin_api import (
    AsReceived,
    At,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    Quantity,
)
from qc_standard.bits.low_bits import MOST_BITS, LowBits
from qc_standard.layout import DeclaredTrack
from qc_standard.own_limits import MostBits


class UnusedBitsLimits(Model):
    """Most bits that may be unused."""

    unused: MostBits


class UnusedBits(Check[UnusedBitsLimits]):
    """The file has more bits than its samples use."""

    id = "file.unused-bits"
    title = "The file has bits that are not in use"
    why = (
        "A file of 24 bits whose last eight are always zero was made from one of 16 bits, such as a copy from a CD. "
        "The fades, the equalising and the limiting were then done at 16 bits, and a better master most often "
        "exists."
    )
    how = (
        "The bits of the file's format, at most 24, less those that nine tenths of the sound keep to: of each 10 ms, "
        "64 frames of both channels are looked at. For the side, or for the tracks that differ."
    )
    remedy = "Ask for the master before it was reduced to fewer bits."
    client = ForClient(
        name="A file with fewer bits than it states",
        means=(
            "The file is of a kind that holds very fine detail, but the finest part of it is empty. It was most "
            "likely made from a copy of lower quality, such as a CD."
        ),
        asks=("Please ask your engineer for the original file before it was converted, or tell us that there is none."),
    )
    blind_to = "Sixteen bits that were changed in level, filtered or dithered afterwards, which fills all bits again."
    sensitivity = (
        "Music that was rounded to 19 bits or fewer is always found, and never one that uses 20; the number is exact."
    )
    needs: ClassVar[tuple[type[Need[Any]], ...]] = (LowBits, AsReceived)
    Limits = UnusedBitsLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the side, or its tracks; raises NotApplicableError where the file's bits are not known."""
        coding = re.fullmatch(r"(\d+) bit( float)?", ctx[AsReceived].facts.coding or "")
        bits = ctx[LowBits]
        end_s = len(bits.used) * bits.seconds
        if coding is None or not bits.in_use(0.0, end_s):
            raise NotApplicableError("the file has no sound, or bits of another kind")
        there = MOST_BITS if coding[2] else min(MOST_BITS, int(coding[1]))
        of = "the number of bits that are not in use"
        whole = At(start_s=0.0, end_s=end_s)
        tracks = [At(start_s=it.start, end_s=it.end, track=it.number) for it in DeclaredTrack.every(ctx.declared)]
        for at in (whole, *tracks):
            used = bits.in_use(at.start_s or 0.0, at.end_s or 0.0)
            quantity = Quantity(value=there - used, unit="bit", at=at)
            found = list(ctx.hold(quantity, self.limits.unused, op="<=", of=of)) if used else []
            yield from found
            if found and at is whole:
                return
