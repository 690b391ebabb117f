"""The sample rates of the sides compared with each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import (
    AsReceived,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    NotApplicableError,
    NotMeasuredError,
    Scope,
)


class SampleRatesDifferLimits(Model):
    """No limits: the rates are one or not."""


class SampleRatesDiffer(Check[SampleRatesDifferLimits]):
    """The sides of one release have different sample rates."""

    id = "delivery.sample-rates-differ"
    title = "The sides have different sample rates"
    why = (
        "Sides of one release that were finished together have one sample rate. Another one often means that a side is "
        "of an older version, was converted on its way, or was exported for another use."
    )
    how = "The sample rate of each side's file, compared with the one that most sides have, or the first side."
    remedy = "Ask whether the side is the right version; have all sides delivered at the rate of the master."
    client = ForClient(
        name="Sides in different formats",
        means=(
            "The files of your sides have different sample rates. Most often one of them is from another day, or was "
            "converted on its way to us."
        ),
        asks="Please check that each file is the latest version, and send us all sides as they left the studio.",
    )
    blind_to = "Sides that were converted to one rate before they were sent, and rates that are wrong on every side."
    scope: ClassVar[Scope] = "delivery"
    needs = (AsReceived,)
    Limits = SampleRatesDifferLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare all sides; raises NotApplicableError where there is only one."""
        if len(ctx.sources) < 2:
            raise NotApplicableError("there is only one side to judge")
        rates = {source: ctx.of(source)[AsReceived].facts.sample_rate for source in ctx.sources}
        stated = {source: rate for source, rate in rates.items() if rate is not None}
        if len(stated) < 2:
            raise NotMeasuredError("fewer than two sides have a sample rate")
        usual, sides = Counter(stated.values()).most_common(1)[0]
        for source, rate in stated.items():
            if rate != usual:
                of = ctx.of(source)
                others = "the other" if sides == 1 else "most others"
                message = f"side {of.side} has a sample rate of {_khz(rate)}, {others} {_khz(usual)}"
                yield of.found("warn", message, measured=_khz(rate))


def _khz(rate: int) -> str:
    return f"{rate / 1000:g} kHz"
