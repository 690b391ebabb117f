"""Two channels that are the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import CheckContext, Finding, ForClient, Judged, Limit, LimitCheck, Model, Need, NotApplicableError
from qc_standard.relation import Relation, RelationResult, passages


class IdenticalChannelsLimits(Model):
    """Least difference of the channels relative to their sum."""

    difference: Limit


class IdenticalChannels(LimitCheck[IdenticalChannelsLimits]):
    """Both channels of a two-channel file are the same."""

    id = "programme.identical-channels"
    title = "Left and right are the same"
    why = (
        "A stereo master with the same in both channels is often a slip: one channel was copied to both, or the mono "
        "version was sent. Mono that is meant cuts well."
    )
    how = (
        "Energy of left minus right over that of left plus right, without direct current, over the programme of the "
        "side and of each track. Rounding and dither of 16 bits stay below -50 dB unless the music is very quiet."
    )
    remedy = "Ask whether the music is meant to be mono; if it is, nothing has to be done."
    client = ForClient(
        name="The same sound in both loudspeakers",
        means=(
            "The left and the right loudspeaker play exactly the same here, so the music has no width. That may be "
            "meant, as with old recordings, or one channel was copied over the other by accident."
        ),
        asks="Please tell us whether that is meant, or send us the file with both channels.",
    )
    blind_to = "A mono recording with noise of its own in each channel, such as a tape played back in stereo."
    needs: ClassVar[tuple[type[Need[RelationResult]], ...]] = (Relation,)
    Limits = IdenticalChannelsLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "difference": Judged("stereo.difference", ">=", "the difference of the channels"),
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the side, else each track; raises NotApplicableError for one-channel files."""
        relation = ctx[Relation]
        if relation.mono:
            raise NotApplicableError("the file has one channel, so there is nothing to compare")
        found = list(super().evaluate(ctx))
        yield from found
        for passage in () if found else passages(ctx, relation):
            energies = relation.over(passage.parts)
            quantity = None if energies is None else energies.difference()
            if quantity is None or passage.track is None:
                continue
            at = relation.place(passage.parts, passage.track)
            yield from ctx.hold(
                quantity.model_copy(update={"at": at}), self.limits.difference, op=">=",
                of=f"the difference of the channels on {passage.name}",
            )  # fmt: skip
