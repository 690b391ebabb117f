"""One channel that is louder than the other."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import At, Check, CheckContext, Finding, ForClient, Model, Need, NotApplicableError
from qc_standard.own_limits import MostDecibels
from qc_standard.relation import Relation, RelationResult, passages


class ChannelsUnbalancedLimits(Model):
    """Most dB by which one channel may be louder, over a side or track and over 10 s."""

    track: MostDecibels
    in_10s: MostDecibels


class ChannelsUnbalanced(Check[ChannelsUnbalancedLimits]):
    """One channel is much louder than the other."""

    id = "programme.channels-unbalanced"
    title = "One channel is much louder than the other"
    why = (
        "A track that leans to one side was often transferred with a wrong gain. Its louder wall also sets the level "
        "of the whole side."
    )
    how = (
        "Energy of right over left in dB, without direct current, over the programme of the side, of each track and "
        "of the worst 10 s, one window every 100 ms. Stretches with a dead channel are left out."
    )
    remedy = "Ask whether the balance is meant; if not, have the gain of the weaker channel corrected in the master."
    client = ForClient(
        name="One loudspeaker much louder than the other",
        means=(
            "Here the music comes much louder from one loudspeaker than from the other. That may be meant, or a volume "
            "control was not where it should have been when the file was made."
        ),
        asks="Please listen whether the music sits in the middle here, and send a new file or tell us it is meant so.",
    )
    blind_to = "Channels of equal energy that do not sound equal, such as bass on one side and treble on the other."
    needs: ClassVar[tuple[type[Need[RelationResult]], ...]] = (Relation,)
    Limits = ChannelsUnbalancedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge side, tracks and the worst 10 s; raises NotApplicableError where there is nothing to compare."""
        relation = ctx[Relation]
        if relation.mono:
            raise NotApplicableError("the file has one channel, so there is nothing to compare")
        if not relation.alive.any():
            raise NotApplicableError("nowhere do both channels have programme")
        found: list[Finding] = []
        for passage in passages(ctx, relation):
            energies = relation.over(passage.parts, relation.alive)
            balance = None if energies is None else energies.balance()
            if balance is None:
                continue
            louder = "right" if balance.value > 0.0 else "left"
            at = relation.place(passage.parts, passage.track, louder)
            bound = ">" if balance.bound else None
            quantity = balance.model_copy(update={"value": abs(balance.value), "bound": bound, "at": at})
            of = f"what the {louder} channel of {passage.name} is louder by"
            found += ctx.hold(quantity, self.limits.track, op="<=", of=of)
        yield from found
        worst = relation.worst_window(relation.alive)
        if worst is not None:
            louder = "right" if worst.value > 0.0 else "left"
            place = (worst.at or At()).model_copy(update={"channel": louder})
            bound = ">" if worst.bound else None
            quantity = worst.model_copy(update={"value": abs(worst.value), "bound": bound, "at": place})
            of = f"what the {louder} channel is louder by over the worst 10 s"
            yield from ctx.hold(quantity, self.limits.in_10s, op="<=", of=of)
