"""Music that begins at full level out of silence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.edges.places import judged_starts
from qc_standard.edges.starts_and_ends import Edges, EdgesResult


class HardStartLimits(Model):
    """Highest level that sound may have in its first millisecond."""

    level: Limit


class HardStart(Check[HardStartLimits]):
    """A side or track starts at full level within a millisecond."""

    id = "programme.hard-start"
    title = "The music starts at full level out of silence"
    why = (
        "Music needs some milliseconds to rise. Sound that is there at once was most often cut into: the head of a "
        "file was trimmed too far, and the beginning of the first note is missing. It also makes a thump."
    )
    how = (
        "The level of the first millisecond out of silence, within 9 dB of the next 100 ms, where its first sample is "
        "less than 12 dB below their rms, or it begins with a step 4 dB above any in 50 ms; or within 6 dB, where the "
        "level then keeps to 2 dB. At the start of the side and at declared starts of tracks."
    )
    remedy = (
        "Have the head of the file checked against the master: the first note must be whole, with a fade-in of a few "
        "ms."
    )
    client = ForClient(
        name="A start that is cut into",
        means=(
            "The music is there at once, at full level, out of silence. The beginning of the first note is most "
            "often missing because the file was trimmed too closely."
        ),
        asks=(
            "Please listen to the very first moment, and send us the file with its whole beginning, or tell us that "
            "it is meant."
        ),
    )
    blind_to = (
        "A cut where the wave passes through zero in deep bass, or just before an instrument is struck. A drum or "
        "pluck that was itself trimmed to its first full wave looks like a cut, so the check only warns."
    )
    sensitivity = (
        "Cuts into ten pieces where the music is at full level: all were found with a fade-in of 0 ms, 6 with 0.08 "
        "ms, 2 with 0.3 ms, none with 0.6 ms or more."
    )
    needs: ClassVar[tuple[type[Need[EdgesResult]], ...]] = (Edges,)
    Limits = HardStartLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "level": Judged("programme.hard_start", "<=", "the level at which the sound starts within 1 ms")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the start of the side and of its declared tracks; raises NotApplicableError for a silent side."""
        edges = ctx[Edges]
        for index, track in judged_starts(ctx, edges):
            level = edges.starts[index].quantity(track)
            if level is not None:
                yield from ctx.hold(level, self.limits.level, op="<=", of=self.judges["level"].of)
