"""Noise that was left after the last note."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need
from qc_standard.edges.places import judged_ends
from qc_standard.edges.starts_and_ends import Edges, EdgesResult


class NoiseAfterEndLimits(Model):
    """Highest level of the noise behind the last note."""

    level: Limit


class NoiseAfterEnd(Check[NoiseAfterEndLimits]):
    """Hiss or hum is left after the last note."""

    id = "programme.noise-after-end"
    title = "Noise is left after the last note"
    why = (
        "Hiss that stays after the music, and then stops or runs into the next track, draws attention to itself. A "
        "master has its tails faded to silence; noise there is most often the end of a tape that nobody trimmed."
    )
    how = (
        "The level of what sounds last behind the last note, less mains hum and steady lines above 10 kHz, where its "
        "last second is steady: each tenth within 3 dB of the mean, both halves within 1.5 dB, as a fade or room "
        "sound is not. At the end of the side and at declared ends of tracks."
    )
    remedy = "Have the tail faded with the last note, or confirm that the room is meant to stay."
    client = ForClient(
        name="Noise after the music",
        means=(
            "After the last note a steady noise is left, such as the hiss of a tape. It is heard in the quiet after "
            "the music."
        ),
        asks="Please fade the noise out together with the last note, or tell us that it is meant to stay.",
    )
    blind_to = (
        "Noise above -45 dBFS, which counts as programme, noise of less than a second, applause or surf, which is not "
        "steady, and hiss more than 7 dB below a hum."
    )
    sensitivity = "Of ten tails of white hiss, 9 were found at -67 dBFS, all from -64 dBFS on, none below -67 dBFS."
    needs: ClassVar[tuple[type[Need[EdgesResult]], ...]] = (Edges,)
    Limits = NoiseAfterEndLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "level": Judged("programme.noise_after_end", "<=", "the level of the noise after the last note")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the noise behind the side and its declared tracks; raises NotApplicableError for a silent side."""
        edges = ctx[Edges]
        for index, track in judged_ends(ctx, edges):
            noise = edges.noises[index]
            if noise is not None:
                yield from ctx.hold(noise.quantity(track), self.limits.level, op="<=", of=self.judges["level"].of)
