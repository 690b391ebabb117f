"""One channel that is dead while the other has programme."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Model, Need, NotApplicableError, Quantity
from qc_standard.dead import CHANNELS
from qc_standard.own_limits import MostPercent, MostSeconds
from qc_standard.relation import Passage, Relation, RelationResult, passages

MOSTLY = 50.0
"""Dead part of a passage in % above which its one finding replaces those of the stretches in it."""


class DeadChannelLimits(Model):
    """Largest dead part of a side or track, and longest time that a channel may be cut off or one-sided."""

    share: MostPercent
    cut_off: MostSeconds
    one_sided: MostSeconds


class DeadChannel(Check[DeadChannelLimits]):
    """A channel is dead while the other has programme."""

    id = "programme.dead-channel"
    title = "One channel is dead"
    why = (
        "A channel without programme is a broken cable, a muted bus or a failed transfer far more often than a wish. "
        "Cut like this, the groove has music on one wall only."
    )
    how = (
        "By 10 ms without direct current: a channel at its own floor, at most -60 to -45 dBFS rms, or 40 dB below the "
        "other, while that has programme 20 dB louder; crackles of 30 ms aside. Judged by side, track and stretch; cut "
        "off means that it fell by 20 dB within 50 ms while the other played on."
    )
    remedy = "Ask for the master again; where the music is meant to play on one side only, have that confirmed."
    client = ForClient(
        name="Sound from one loudspeaker only",
        means=(
            "At these moments one of the two loudspeakers is silent while the other plays on. That is most often a "
            "slip while the file was made, and the record would sound just like that."
        ),
        asks=(
            "Please listen at these moments with both loudspeakers, and send us a new file, or tell us that the music "
            "is meant to come from one loudspeaker only."
        ),
    )
    blind_to = (
        "Hum or hiss above -45 dBFS on the dead channel, or less than 20 dB below the other. Music panned hard to one "
        "side and switched there at once looks like a channel that was cut off; one that fades away only warns."
    )
    needs: ClassVar[tuple[type[Need[RelationResult]], ...]] = (Relation,)
    Limits = DeadChannelLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge side, tracks and stretches, each place once; raises NotApplicableError for one-channel files."""
        relation = ctx[Relation]
        if relation.mono:
            raise NotApplicableError("the file has one channel, which is cut on both walls")
        covered: list[tuple[str, slice]] = []
        for passage in passages(ctx, relation):
            for channel in CHANNELS:
                if _inside(channel, passage.parts.start, passage.parts.stop, covered):
                    continue
                share = _share(relation, passage, channel)
                found = list(ctx.hold(
                    share, self.limits.share, op="<=",
                    of=f"the part of the programme of {passage.name} with a dead {channel} channel",
                ))  # fmt: skip
                if found and share.value > MOSTLY:
                    covered.append((channel, passage.parts))
                yield from found
        for stretch in relation.dead:
            if _inside(stretch.channel, stretch.first, stretch.end, covered):
                continue
            at = relation.place(slice(stretch.first, stretch.end), channel=stretch.channel)
            quantity = Quantity(value=stretch.programme * relation.part_s, unit="s", at=at)
            if stretch.cut_off:
                of = f"the time for which the {stretch.channel} channel is cut off while the other plays on"
                yield from ctx.hold(quantity, self.limits.cut_off, op="<=", of=of)
            else:
                of = f"the time for which only the {_other(stretch.channel)} channel plays"
                yield from ctx.hold(quantity, self.limits.one_sided, op="<=", of=of)


def _share(relation: RelationResult, passage: Passage, channel: str) -> Quantity:
    """Part of a passage's programme during which a channel is dead, in %."""
    begin, stop = passage.parts.start, passage.parts.stop
    dead = sum(
        int(relation.programme[max(begin, stretch.first) : min(stop, stretch.end)].sum())
        for stretch in relation.dead
        if stretch.channel == channel and stretch.first < stop and stretch.end > begin
    )
    share = 100.0 * dead / max(1, int(relation.programme[passage.parts].sum()))
    return Quantity(value=share, unit="%", at=relation.place(passage.parts, passage.track, channel))


def _inside(channel: str, begin: int, stop: int, covered: list[tuple[str, slice]]) -> bool:
    """Whether most of a stretch lies in a passage that was already found dead on that channel."""
    return any(
        name == channel and 2 * (min(stop, parts.stop) - max(begin, parts.start)) > stop - begin
        for name, parts in covered
    )


def _other(channel: str) -> str:
    return CHANNELS[1 - CHANNELS.index(channel)]
