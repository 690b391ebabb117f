"""The signals and faults that a case file may name, as models: what each takes, with units, and what it makes.

A step of `audio` is a mapping with one key, the name of a signal or a fault: `- sine: {frequency: 1 kHz, ...}`.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from qc.delivery.schema import Day, Sent
from qc.testing.written import Channels, Hertz, Level, Part, Phase, Seconds, Where

if TYPE_CHECKING:
    from pathlib import Path

    from qc.contract import Samples


class Signal(Sent):
    """A signal of `lasts` seconds; with `at` it is added there, else it follows what stands before it."""

    lasts: Seconds = Field(examples=["2 s"])
    at: Seconds | None = None

    @abstractmethod
    def made(self, rate: int) -> Samples:
        """Make it, (2, frames)."""


class Silence(Signal):
    """Digital silence."""

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.silence(self.lasts, rate)


class Sine(Signal):
    """A sine; `level` is that of its peak, `fade` the seconds in which it rises and falls."""

    frequency: Hertz = Field(examples=["1 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    fade: Seconds = 0.0
    phase: Phase = 0.0

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.sine(
            self.frequency, self.lasts, rate, self.level, channels=self.channels, fade_s=self.fade, phase=self.phase
        )


class Swell(Signal):
    """A tone that rises to its middle and falls again; `level` is that of its peak in the middle."""

    frequency: Hertz = Field(examples=["1 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    phase: Phase = 0.0

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.swell(self.frequency, self.lasts, rate, self.level, channels=self.channels, phase=self.phase)


class Bursts(Signal):
    """A sine that sounds for the first `on` of every `every`."""

    frequency: Hertz = Field(examples=["6 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    on: Seconds = Field(examples=["0.1 s"])
    every: Seconds = Field(examples=["1 s"])
    channels: Channels = "both"
    fade: Seconds = 0.002

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.bursts(
            self.frequency, self.lasts, rate, self.level, on_s=self.on, every_s=self.every, channels=self.channels,
            fade_s=self.fade,
        )  # fmt: skip


class Sweep(Signal):
    """A sine that glides from one frequency to another."""

    from_: Hertz = Field(alias="from", examples=["20 Hz"])
    to: Hertz = Field(examples=["20 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    fade: Seconds = 0.0

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.sweep(
            self.from_, self.to, self.lasts, rate, self.level, channels=self.channels, fade_s=self.fade
        )


class PinkNoise(Signal):
    """Pink noise; `level` is its rms in each channel, `apart` gives each channel a noise of its own."""

    level: Level = Field(examples=["-20 dBFS"])
    channels: Channels | Literal["apart"] = "both"
    seed: int = 1
    from_: Hertz = Field(20.0, alias="from")
    to: Hertz = 20_000.0

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing import signals

        return signals.pink_noise(
            self.lasts, rate, self.level, channels=self.channels, seed=self.seed, from_hz=self.from_, to_hz=self.to
        )


class Music(Signal):
    """A song made by code, its highest sample at `level`."""

    level: Level = Field(examples=["-1 dBFS"])
    seed: int = 1

    def made(self, rate: int) -> Samples:
        """Make it."""
        from qc.testing.music import Song, song

        return song(Song(self.lasts, rate, self.seed)) * (self.level / 10.0 ** (-1.0 / 20.0))


class Fault(Sent):
    """A fault of samples; it acts on all that stands before it."""

    @abstractmethod
    def done(self, x: Samples, rate: int) -> Samples:
        """Do it to (2, frames)."""


class Clip(Fault):
    """Whatever passes `level` is cut off."""

    level: Level = Field(examples=["-1 dBFS"])

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Do it."""
        from qc.testing import faults

        return faults.clipped(x, self.level)


class FlatTops(Fault):
    """So many runs of four equal samples at `level`, from `at` on, one every 20 frames."""

    at: Seconds = Field(examples=["2 s"])
    runs: Annotated[int, Field(ge=1, examples=["3"])]
    level: Level = Field(examples=["-0.05 dBFS"])
    channel: Where = "left"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.flat_tops(x, rate, at_s=self.at, runs=self.runs, peak=self.level, channel=self.channel)


class DcOffset(Fault):
    """Direct current in a channel, or in both."""

    level: Level = Field(examples=["-40 dBFS"])
    channel: Where = "both"

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Do it."""
        from qc.testing import faults

        return faults.dc_offset(x, self.level, channel=self.channel)


class Dropout(Fault):
    """A stretch is silent."""

    at: Seconds = Field(examples=["2 s"])
    lasts: Seconds = Field(examples=["0.1 s"])
    channel: Where = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.dropout(x, rate, at_s=self.at, seconds=self.lasts, channel=self.channel)


class Gap(Fault):
    """Silence is pushed in, and everything behind it comes later."""

    at: Seconds = Field(examples=["2 s"])
    lasts: Seconds = Field(examples=["1 s"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.gap(x, rate, at_s=self.at, seconds=self.lasts)


class Shift(Fault):
    """All of it begins later, or with a negative time earlier."""

    by: Seconds = Field(examples=["0.5 s"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.shifted(x, rate, seconds=self.by)


class Invert(Fault):
    """The polarity of a channel is turned round."""

    channel: Where = "right"

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Do it."""
        from qc.testing import faults

        return faults.inverted(x, channel=self.channel)


class SwapChannels(Fault):
    """Left and right are exchanged; it takes nothing: {}."""

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Do it."""
        from qc.testing import faults

        return faults.swapped(x)


class BassOutOfPhase(Fault):
    """Below a frequency the right channel is turned round."""

    below: Hertz = Field(examples=["150 Hz"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.bass_out_of_phase(x, rate, below_hz=self.below)


class Clicks(Fault):
    """Single samples of `level` are added at some seconds."""

    at: tuple[Seconds, ...] = Field(examples=["[2 s, 3.5 s]"])
    level: Level = Field(examples=["-6 dBFS"])
    channel: Where = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.clicks(x, rate, at_s=self.at, peak=self.level, channel=self.channel)


class Sibilants(Fault):
    """Hisses like an s are added, their middles at some seconds."""

    at: tuple[Seconds, ...] = Field(examples=["[2 s, 3.5 s]"])
    level: Level = Field(examples=["-6 dBFS"])
    frequency: Hertz = 7_000.0
    lasts: Seconds = 0.09
    channels: Channels = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.sibilants(
            x, rate, at_s=self.at, peak=self.level, hz=self.frequency, seconds=self.lasts, channels=self.channels
        )


class Hum(Fault):
    """A steady tone over all of it."""

    frequency: Hertz = Field(examples=["50 Hz"])
    level: Level = Field(examples=["-60 dBFS"])
    channels: Channels = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        return faults.hum(x, rate, hz=self.frequency, peak=self.level, channels=self.channels)


class OneSample(Fault):
    """One value that is no programme: a level, "infinite" or "not a number"."""

    at: Seconds = Field(examples=["2 s"])
    value: Literal["infinite", "not a number", "+60 dBFS"] = Field(examples=["infinite"])
    channel: Where = "left"

    def done(self, x: Samples, rate: int) -> Samples:
        """Do it."""
        from qc.testing import faults

        value = {"infinite": float("inf"), "not a number": float("nan"), "+60 dBFS": 1_000.0}[self.value]
        return faults.one_sample(x, rate, at_s=self.at, value=value, channel=self.channel)


class Step(Sent):
    """One signal or fault, by its name."""

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
    shift: Shift | None = None
    invert: Invert | None = None
    swap_channels: SwapChannels | None = None
    bass_out_of_phase: BassOutOfPhase | None = None
    clicks: Clicks | None = None
    sibilants: Sibilants | None = None
    hum: Hum | None = None
    one_sample: OneSample | None = None

    @model_validator(mode="before")
    @classmethod
    def _silence_in_short(cls, data: Any) -> Any:
        """Let `silence: 2 s` stand for `silence: {lasts: 2 s}`."""
        if isinstance(data, dict) and isinstance(data.get("silence"), str):
            return data | {"silence": {"lasts": data["silence"]}}
        return data

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        if len(self._there()) != 1:
            raise ValueError("a step names one signal or fault; begin a line with a dash for each")
        return self

    def _there(self) -> list[Signal | Fault]:
        values = (getattr(self, name) for name in type(self).model_fields)
        return [value for value in values if value is not None]

    @property
    def itself(self) -> Signal | Fault:
        """Give the signal or the fault."""
        return self._there()[0]


class FileFaults(Sent):
    """What becomes of the file once it is written, and what the delivery says of it."""

    becomes: Literal["missing", "empty", "text", "folder", "damaged", "length left open"] | None = None
    """"damaged" turns over one byte in the middle"""
    keeps: Part | None = None
    """the file is cut off: only so much of its bytes is left"""
    checksum: Literal["right", "wrong"] | None = None
    """the delivery states a SHA-256: that of the file as it was written, or another one"""
    last_changed: Day | None = None
    """the day the file says it was last changed, 2026-03-02"""

    def do(self, file: Path) -> None:
        """Do it to the file."""
        from qc.testing import faults

        if self.last_changed is not None:
            faults.change_day(file, self.last_changed)
        if self.keeps is not None:
            faults.truncate(file, self.keeps)
        if self.becomes == "missing":
            file.unlink()
        elif self.becomes is not None:
            acts = {
                "empty": faults.empty,
                "text": faults.replace_with_text,
                "folder": faults.replace_with_folder,
                "damaged": faults.damage,
                "length left open": faults.leave_length_open,
            }
            acts[self.becomes](file)


def heard(steps: tuple[Step, ...], rate: int) -> Samples:
    """Make the samples of a side, (2, frames): signals after each other or added where they say, faults as they come.

    A signal that is added reaches no further than what is there: what sticks out of it at the end is appended.
    """
    import numpy as np

    x = np.zeros((2, 0))
    for step in steps:
        one = step.itself
        if isinstance(one, Fault):
            x = one.done(x, rate)
        elif one.at is None:
            x = np.concatenate([x, one.made(rate)], axis=1)
        else:
            made, start = one.made(rate), round(one.at * rate)
            missing = max(0, start + made.shape[1] - x.shape[1])
            x = np.concatenate([x, np.zeros((2, missing))], axis=1)
            x[:, start : start + made.shape[1]] += made
    return x
