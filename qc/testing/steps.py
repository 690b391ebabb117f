"""The steps of a side's audio in a case file: one signal or fault each, in order.

A step is a mapping with one key, the name of a signal or a fault: `- sine: {frequency: 1 kHz, ...}`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Self

from pydantic import model_validator

from qc.delivery.fields import InputModel
from qc.testing.fault_steps import (
    BassOutOfPhase,
    Clicks,
    Clip,
    DcOffset,
    Dropout,
    FaultStep,
    FlatTops,
    Gap,
    Hum,
    Invert,
    LateChannel,
    MissingBand,
    OneSample,
    RecordingCurve,
    Requantise,
    Shift,
    Sibilants,
    Stutter,
    SwapChannels,
)
from qc.testing.signal_steps import Bursts, Music, PinkNoise, SignalStep, Silence, Sine, Sweep, Swell

if TYPE_CHECKING:
    from qc.plugin_base import Samples


class Step(InputModel):
    """One signal or fault under its name."""

    silence: Silence | None = None
    sine: Sine | None = None
    swell: Swell | None = None
    bursts: Bursts | None = None
    sweep: Sweep | None = None
    pink_noise: PinkNoise | None = None
    music: Music | None = None
    clip: Clip | None = None
    flat_tops: FlatTops | None = None
    dc_offset: DcOffset | None = None
    dropout: Dropout | None = None
    gap: Gap | None = None
    stutter: Stutter | None = None
    shift: Shift | None = None
    invert: Invert | None = None
    late_channel: LateChannel | None = None
    swap_channels: SwapChannels | None = None
    bass_out_of_phase: BassOutOfPhase | None = None
    missing_band: MissingBand | None = None
    clicks: Clicks | None = None
    sibilants: Sibilants | None = None
    hum: Hum | None = None
    one_sample: OneSample | None = None
    recording_curve: RecordingCurve | None = None
    requantise: Requantise | None = None

    @model_validator(mode="before")
    @classmethod
    def _silence_in_short(cls, data: Any) -> Any:
        """Expand `silence: 2 s` to `silence: {lasts: 2 s}`."""
        if isinstance(data, dict) and isinstance(data.get("silence"), str):
            return data | {"silence": {"lasts": data["silence"]}}
        return data

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        if len(self._there()) != 1:
            raise ValueError("a step names one signal or fault; begin a line with a dash for each")
        return self

    def _there(self) -> list[SignalStep | FaultStep]:
        values = (getattr(self, name) for name in type(self).model_fields)
        return [value for value in values if value is not None]

    @property
    def itself(self) -> SignalStep | FaultStep:
        """The signal or the fault."""
        return self._there()[0]


def render(steps: tuple[Step, ...], rate: int) -> Samples:
    """Return the samples of a side, (2, frames): signals are appended or added at their time, faults applied in order.

    A signal that is added near the end makes the side longer where it reaches beyond it.
    """
    import numpy as np

    x = np.zeros((2, 0))
    for step in steps:
        action = step.itself
        if isinstance(action, FaultStep):
            x = action.done(x, rate)
        elif action.at is None:
            made = action.made(rate)
            x = np.concatenate([x, made], axis=1) if x.size else made.copy()
        else:
            made, start = action.made(rate), round(action.at * rate)
            missing = max(0, start + made.shape[1] - x.shape[1])
            if missing:
                x = np.concatenate([x, np.zeros((2, missing))], axis=1)
            x[:, start : start + made.shape[1]] += made
    return x
