"""Left and right compared with those of an earlier delivery."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import ClassVar

import numpy as np

from qc.plugin_api import (
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    NotMeasuredError,
    Quantity,
)
from qc_standard.documents.octave_balance import NAMES, OctaveBalance

LEAST_OCTAVES = 4
"""Octaves that both deliveries must have."""
LEAST_BALANCE = 0.2
"""Root mean square of the earlier balances in dB from which left and right can be distinguished (practice)."""
CLEARLY = 3.0
"""Factor by which exchanged channels must be nearer to the earlier ones than the channels as they are (practice)."""


class ChannelsExchangedLimits(Model):
    """No limits: the channels are in their earlier places or not."""


class ChannelsExchanged(Check[ChannelsExchangedLimits]):
    """Left and right are exchanged against an earlier delivery."""

    id = "programme.channels-exchanged"
    title = "Left and right are exchanged"
    why = (
        "No file by itself shows whether its left is left. Where the same side was sent before, the two must agree; an "
        "exchange in between is a slip in one of them, of a cable or in an editor."
    )
    how = (
        "The balance of the channels in eight octaves from 63 Hz to 8 kHz, compared with that in the report of "
        "--baseline. Exchanged channels must fit three times as well, by the root mean square of the differences."
    )
    remedy = "Ask which of the two deliveries has left and right in their places."
    client = ForClient(
        name="Left and right have changed places",
        means=(
            "In this file the left and the right channel are in each other's place, compared with the file that you "
            "sent before. One of the two must be wrong."
        ),
        asks="Please listen to both files, and tell us or send us the one in which left is left.",
    )
    blind_to = (
        "A first delivery, and channels that are nearly the same, with a balance below 0.2 dB by octave. Another mix "
        "may look like an exchange."
    )
    sensitivity = (
        "In 32 pieces of real music every exchange was found down to 35 % of the stereo width, and half at 12 %; 31 of "
        "them down to 35 % where the second delivery was equalised and compressed too."
    )
    needs: ClassVar[tuple[type[Need[Mapping[str, float]]], ...]] = (OctaveBalance,)
    Limits = ChannelsExchangedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare both deliveries; raises NotApplicableError where there is no earlier one, or it cannot be decided."""
        before = {name: found for name in NAMES if (found := ctx.earlier(name)) is not None and found.unit == "dB"}
        if not before:
            raise NotApplicableError("there is no earlier report with the balance of this side by octave")
        pairs = [(found.value, now) for name, found in before.items() if (now := _measured(ctx, name)) is not None]
        if len(pairs) < LEAST_OCTAVES:
            raise NotApplicableError("too few octaves have sound in both channels to compare them")
        then, now = np.array(pairs).T
        if _size(then) < LEAST_BALANCE:
            raise NotApplicableError("left and right were too much alike in the earlier delivery to tell them apart")
        kept, exchanged = _size(now - then), _size(now + then)
        if CLEARLY * exchanged < kept:
            message = (
                f"left and right are exchanged against the earlier delivery: the balance by octave differs by "
                f"{kept:.1f} dB, and by {exchanged:.1f} dB with the channels exchanged"
            )
            yield ctx.found("fail", message, measured=Quantity(value=kept, unit="dB"))


def _measured(ctx: CheckContext, name: str) -> float | None:
    """Return the balance of an octave in dB, or None where the side has none there."""
    try:
        return ctx.measured(name).value
    except NotMeasuredError:
        return None


def _size(values: Sequence[float] | np.ndarray) -> float:
    """Root mean square of some values in dB."""
    return float(np.sqrt(np.mean(np.square(values))))
