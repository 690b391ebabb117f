"""The audio of all sides compared with each other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Any, ClassVar

import numpy as np

from qc.plugin_api import (
    Check,
    CheckContext,
    Finding,
    ForClient,
    GrooveInput,
    Model,
    Need,
    NotApplicableError,
    NotMeasuredError,
    Programme,
    ProgrammeBounds,
    Scope,
    Sectors,
)
from qc_standard.layout import same_programme


class SameAudioTwiceLimits(Model):
    """No limits: two sides are equal or not."""


class SameAudioTwice(Check[SameAudioTwiceLimits]):
    """Two sides hold the same audio."""

    id = "delivery.same-audio-twice"
    title = "Two sides hold the same audio"
    why = "One file sent for two sides means that another one is missing, and both lacquers would carry the same music."
    how = (
        "Length, the power of every 10 ms and the wall motion of every 1/75 s are compared between all sides and must "
        "be equal to the last digit. The container and the name of the file do not matter."
    )
    remedy = "Ask for the side that is missing, or correct the name of its file in the delivery."
    client = ForClient(
        name="Two sides hold the same music",
        means=(
            "The files for two sides are the same recording. Your record would play the same music twice, and the "
            "other music would be missing. Most often a file was only given the wrong name."
        ),
        asks="Please send us the music of the side that is missing.",
    )
    blind_to = "The same music at another level or sample rate, or with other silences around it."
    scope: ClassVar[Scope] = "delivery"
    needs: ClassVar[tuple[type[Need[Any]], ...]] = (Programme, Sectors)
    Limits = SameAudioTwiceLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare each side with those before it; raises NotApplicableError where there is only one."""
        if len(ctx.sources) < 2:
            raise NotApplicableError("there is only one side to judge")
        measured: list[tuple[str, ProgrammeBounds, GrooveInput]] = []
        for source in ctx.sources:
            side = ctx.of(source)
            try:
                programme, sectors = side[Programme], side[Sectors]
            except NotMeasuredError:
                continue
            for other, other_programme, other_sectors in measured:
                if same_programme(programme, other_programme) and _same_motion(sectors, other_sectors):
                    yield side.found(
                        "fail", f"side {side.side} holds the same audio as side {other}", measured=f"as side {other}"
                    )
                    break
            measured.append((side.side, programme, sectors))
        if len(measured) < 2:
            raise NotMeasuredError("fewer than two sides could be measured")


def _same_motion(first: GrooveInput, second: GrooveInput) -> bool:
    names = [field.name for field in fields(first) if field.name != "signal"]
    return all(np.array_equal(getattr(first, name), getattr(second, name)) for name in names)
