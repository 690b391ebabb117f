"""A file that went through a lossy coder."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.lossy.traces import CoderTraces, LossyTraces


class LossyOriginLimits(Model):
    """Most frames of 256 that may have a hole: anywhere, and where the sound ends in a steep edge as well."""

    holes: Limit
    holes_below_edge: Limit


class LossyOrigin(Check[LossyOriginLimits]):
    """Bands of the treble are missing in single frames, as a lossy coder leaves them out."""

    id = "file.lossy-origin"
    title = "Suspected: the file was stored with lossy compression"
    why = (
        "A file that was stored as MP3, AAC or the like has lost a part of its sound for good, and what replaced it "
        "is shaped for loudspeakers, not for a cutter: a lacquer is expensive for a copy of a copy. Most often a "
        "reference file was sent in place of the master."
    )
    how = (
        "Bursts of 16 frames of 21 ms. A hole is a band of 350 Hz from 7 to 20.5 kHz, 15 dB below those beside it and "
        "there one or two frames before or after, in a channel or their difference. Counted by 256 frames; fewer are "
        "needed where the sound ends in a fall of 30 dB within 700 Hz."
    )
    remedy = "Ask for the master from before it was compressed; nothing brings back what the coder left out."
    client = ForClient(
        name="A file that may have been an MP3",
        means=(
            "In the highest tones small pieces of the sound are missing, again and again, as MP3 and similar formats "
            "leave them out to make a file small. Such a file can sound fine, but the record can be no better than it."
        ),
        asks="Please check whether this is the original master, and send us the file from before it was made smaller.",
    )
    blind_to = (
        "Coders at high rates that leave no band out, such as half the files of AAC above 160 kb/s and most of Opus; "
        "files whose sample rate was changed by a filter below 10 kHz, and music without treble. An edge alone is not "
        "enough: a low-pass filter makes one too."
    )
    sensitivity = (
        "Music sent through ffmpeg's coders: MP3 found in five of six pieces at 320 kb/s, in all from 224 kb/s down; "
        "AAC in half of them at 256 kb/s, in all from 112 kb/s down; Vorbis in four at 256 kb/s, in all from 192 kb/s "
        "down; Opus in half from 80 kb/s down. Of 41 pieces of free music that is stored as Vorbis 39 were found; the "
        "others last ten seconds. An hour of lossless music had up to 3 such frames of 256, and no steep edge."
    )
    needs: ClassVar[tuple[type[Need[CoderTraces | None]], ...]] = (LossyTraces,)
    Limits = LossyOriginLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "holes": Judged("file.holes", "<=", "the number of frames with holes in the treble"),
        "holes_below_edge": Judged(
            "file.holes_below_edge", "<=", "the number of frames with holes in the treble, which ends in an edge,"
        ),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the stretch that has most holes: by the lower limit where the sound ends in a steep edge."""
        found = ctx[LossyTraces]
        if found is None:
            return
        where = f"{found.low_hz / 1000:.1f} to {found.high_hz / 1000:.1f} kHz"
        of = f"the number of short frames, of 256, that lack a band of the treble, mostly from {where},"
        if found.edge is None:
            yield from ctx.judge("file.holes", self.limits.holes, op="<=", of=of)
            return
        of += f" where the sound ends at {found.edge.hz / 1000:.1f} kHz by {found.edge.drop_db:.0f} dB within 700 Hz,"
        yield from ctx.judge("file.holes_below_edge", self.limits.holes_below_edge, op="<=", of=of)
