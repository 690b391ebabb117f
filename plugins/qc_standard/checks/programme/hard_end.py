"""Music that stops at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.edges.places import judged_ends
from qc_standard.edges.starts_and_ends import Edges, EdgesResult


class HardEndLimits(Model):
    """Highest level at which sound may break off."""

    level: Limit


class HardEnd(Check[HardEndLimits]):
    """A side or track stops at once."""

    id = "programme.hard-end"
    title = "The music stops at once"
    why = (
        "Even a dry instrument rings for some tens of milliseconds. Sound that stops within 2 ms was cut off: a file "
        "that was trimmed too early, or an export that ended before the music did. It also makes a thump."
    )
    how = (
        "The level of the last 20 ms where it falls by 20 dB within 2 ms and does not return within 100 ms, or where "
        "the file ends, unless the sound had faded by 20 dB before. At the end of the side and at declared ends of "
        "tracks."
    )
    remedy = "Have the tail of the file checked against the master: the last note must ring out or be faded."
    client = ForClient(
        name="An end that is cut off",
        means=(
            "The music stops from one moment to the next. That most often happens when a file is trimmed too early, "
            "and the end of the last note is missing."
        ),
        asks=(
            "Please listen to the very last moment, and send us the file with its whole ending, or tell us that it "
            "is meant."
        ),
    )
    blind_to = (
        "A cut in a pause between two notes, and one with a fade of more than 2 ms. An ending that is meant to stop "
        "dead looks the same, so the check only warns."
    )
    sensitivity = (
        "Cuts in ten pieces where the music is at full level: with a fade-out of up to 0.6 ms all were found, with one "
        "of 2.5 ms 9, of 5 ms 6, of 10 ms none."
    )
    needs: ClassVar[tuple[type[Need[EdgesResult]], ...]] = (Edges,)
    Limits = HardEndLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "level": Judged("programme.hard_end", "<=", "the level at which the sound stops within 2 ms")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the end of the side and of its declared tracks; raises NotApplicableError for a silent side."""
        edges = ctx[Edges]
        for index, track in judged_ends(ctx, edges):
            edge = edges.ends[index]
            level = edge.quantity(track)
            if level is not None and not edge.fade:
                yield from ctx.hold(level, self.limits.level, op="<=", of=self.judges["level"].of)
