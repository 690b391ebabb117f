"""The peak between the samples."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import ForClient, Judged, Limit, LimitCheck, Model


class TruePeakTooHighLimits(Model):
    """Highest true peak."""

    most: Limit


class TruePeakTooHigh(LimitCheck[TruePeakTooHighLimits]):
    """The signal passes full scale between its samples."""

    id = "level.true-peak-too-high"
    title = "The peaks pass full scale"
    why = (
        "The signal between the samples passes full scale. Converters on the way to the cutter may "
        "clip there, and the disc keeps what they add."
    )
    how = (
        "The peak of the signal drawn between the samples at four times the rate, the higher channel, "
        "as broadcast meters do it."
    )
    remedy = (
        "Ask for the master without the last limiter, or turn the file down: the level in the file "
        "does not decide the level on the disc."
    )
    client = ForClient(
        name="Peaks that are a little too high",
        means=(
            "At its highest peaks the sound goes a little beyond what a file is made for. Equipment on the way to the "
            "record may distort there, and the record would keep it."
        ),
        asks=(
            "Please have the file made again a little quieter. Your record will not be quieter for it: its loudness "
            "is set when it is cut."
        ),
    )
    blind_to = "Clipping that was turned down afterwards."
    Limits = TruePeakTooHighLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "most": Judged("level.true_peak", "<=", "the true peak"),
    }
