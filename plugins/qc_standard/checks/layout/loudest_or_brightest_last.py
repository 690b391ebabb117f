"""The loudest and the brightest track, and whether one of them is innermost."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

import numpy as np

from qc.plugin_api import (
    SECTORS_A_SECOND,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    Programme,
    Sectors,
)
from qc_standard.layout import DeclaredTrack, within


class LoudestOrBrightestLastLimits(Model):
    """No limits: the order of the tracks is the artist's, and the check only adds a note."""


class LoudestOrBrightestLast(Check[LoudestOrBrightestLastLimits]):
    """A note names the loudest and the brightest track, and says whether one of them is the last."""

    id = "layout.loudest-or-brightest-last"
    subject = "groove"
    title = "The loudest and the brightest track, and where they lie"
    why = (
        "Towards the label the groove runs slower and traces treble worse. A loud or bright track fares best on the "
        "outside, a quiet one on the inside."
    )
    how = (
        "For each declared track the mean square of the programme, and the mean square of the acceleration of the wall "
        "that moves more, which follows the treble. It informs and never warns."
    )
    remedy = "Where the order is still open, move the loudest and the brightest track outwards."
    client = ForClient(
        name="The order of the tracks",
        means=(
            "Towards the middle of a record the sound gets a little duller. A loud or bright track fares best at the "
            "start of a side, a quiet one at its end."
        ),
        asks="If the order is still open, you may like to move the loudest or brightest track forward.",
    )
    blind_to = "Why the tracks stand in this order, and short bright moments in a track that is dark as a whole."
    needs: ClassVar[tuple[type[Need[Any]], ...]] = (Programme, Sectors)
    Limits = LoudestOrBrightestLastLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Leave a note; raises NotApplicableError where there are not two tracks to compare."""
        tracks = DeclaredTrack.every(ctx.declared)
        if len(tracks) < 2:
            raise NotApplicableError("there are not two tracks to compare")
        power = ctx[Programme].power.sum(axis=0, dtype=np.float64)
        drive = ctx[Sectors].a_square
        loudness, brightness = [], []
        for track in tracks:
            windows = power[within(track.start, track.end)]
            first = int(track.start * SECTORS_A_SECOND)
            sectors = drive[:, first : max(first + 1, int(track.end * SECTORS_A_SECOND))]
            loudness.append(float(windows.mean()) if windows.size else 0.0)
            brightness.append(float(sectors.mean(axis=1).max()) if sectors.size else 0.0)
        loudest, brightest = tracks[int(np.argmax(loudness))], tracks[int(np.argmax(brightness))]
        ctx.note(_sentence(loudest, brightest, tracks[-1]))
        return ()


def _sentence(loudest: DeclaredTrack, brightest: DeclaredTrack, last: DeclaredTrack) -> str:
    if loudest is brightest:
        which = f"track {loudest.number} is the loudest and the brightest"
    else:
        which = f"track {loudest.number} is the loudest, track {brightest.number} the brightest"
    if last in (loudest, brightest):
        return f"{which}; track {last.number} is the last, and the inner grooves trace treble worse"
    return f"{which}; neither is the last" if loudest is not brightest else f"{which}; it is not the last"
