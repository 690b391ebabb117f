"""Clicks: a few samples that leave the sound around them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Model, Need, Quantity
from qc_standard.own_limits import MostDecibels
from qc_standard.time_faults.analysis import FaultsInTime, TimeFaults
from qc_standard.time_faults.clicks import FoundClick


class ClickLimits(Model):
    """Greatest step of a click: its prediction residual over that of the sound around it."""

    step: MostDecibels


class Click(Check[ClickLimits]):
    """A few samples leave what the sound around them predicts."""

    id = "programme.click"
    title = "There is a click"
    why = (
        "A click is a lost sample, a bad edit or a crackle of an old record. On a disc it sounds like damage, at the "
        "same place on every copy."
    )
    how = (
        "Each sample is predicted from the 32 before it. Samples that stand out are repaired for a trial; they are a "
        "click where the repaired sound goes on as before. The step of a click is its prediction residual over that "
        "beside it. Clicks within 0.25 s are one finding."
    )
    remedy = "Listen at this place; where it is no part of the music, have it repaired in the master."
    client = ForClient(
        name="A click in the music",
        means=(
            "At this moment there is a very short click, of the kind that a lost scrap of sound or a cut leaves. On a "
            "record it would sound like a scratch."
        ),
        asks=(
            "Please listen at this moment. If the click is not meant, have it repaired and send us a new file; if it "
            "belongs to the music, let us know."
        ),
    )
    blind_to = (
        "Clicks in hiss, cymbals and drum hits that are as strong; soft ones and those longer than 0.2 ms; crackle "
        "that comes back within 60 ms; one that lowers a wave at its top, as clipping does. A click that belongs to "
        "the music, of a synthesiser or an old record, is found too."
    )
    sensitivity = (
        "Single samples, one in each of ten pieces: half were found from -48 dBFS, all from -18 dBFS. Ticks of 0.2 ms: "
        "half from -42 dBFS, 9 of ten at -18 dBFS, all from -12 dBFS."
    )
    needs: ClassVar[tuple[type[Need[TimeFaults]], ...]] = (FaultsInTime,)
    Limits = ClickLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge each click, or group of them, by itself."""
        faults = ctx[FaultsInTime]
        for click in faults.clicks:
            at = faults.place(click.first, click.end, click.channel)
            quantity = Quantity(value=click.step_db, unit="dB", at=at)
            yield from ctx.hold(quantity, self.limits.step, op="<=", of=_described(click))


def _described(click: FoundClick) -> str:
    where = f" on the {click.channel} channel" if click.channel else ""
    if click.count > 1:
        return f"the greatest step of {click.count} clicks{where} within a moment"
    return f"the step of a click{where}"
