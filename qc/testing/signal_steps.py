"""Models of the signals in a case file, with their parameters and units."""

from __future__ import annotations

from abc import abstractmethod
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from qc.delivery.fields import InputModel
from qc.testing.channels import Channels
from qc.testing.written import Hertz, Level, Phase, Seconds

if TYPE_CHECKING:
    from qc.plugin_base import Samples


class SignalStep(InputModel):
    """A signal of `lasts` seconds, which is added at `at`, or by default appended to the previous steps."""

    lasts: Seconds = Field(examples=["2 s"])
    at: Seconds | None = None

    @abstractmethod
    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""


class Silence(SignalStep):
    """Digital silence."""

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.silence(self.lasts, rate)


class Sine(SignalStep):
    """A sine; `level` is its peak level, `fade` the length of its fades in s."""

    frequency: Hertz = Field(examples=["1 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    fade: Seconds = 0.0
    phase: Phase = 0.0

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.sine(
            self.frequency, self.lasts, rate, self.level, channels=self.channels, fade_s=self.fade, phase=self.phase
        )


class Swell(SignalStep):
    """A tone that rises until its middle and falls again; `level` is the peak level in the middle."""

    frequency: Hertz = Field(examples=["1 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    phase: Phase = 0.0

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.swell(self.frequency, self.lasts, rate, self.level, channels=self.channels, phase=self.phase)


class Bursts(SignalStep):
    """A sine that sounds for the first `on` of every `every`."""

    frequency: Hertz = Field(examples=["6 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    on: Seconds = Field(examples=["0.1 s"])
    every: Seconds = Field(examples=["1 s"])
    channels: Channels = "both"
    fade: Seconds = 0.002

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.bursts(
            self.frequency, self.lasts, rate, self.level, on_s=self.on, every_s=self.every, channels=self.channels,
            fade_s=self.fade,
        )  # fmt: skip


class Sweep(SignalStep):
    """A sine that glides from one frequency to another."""

    from_: Hertz = Field(alias="from", examples=["20 Hz"])
    to: Hertz = Field(examples=["20 kHz"])
    level: Level = Field(examples=["-18 dBFS"])
    channels: Channels = "both"
    fade: Seconds = 0.0

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.sweep(
            self.from_, self.to, self.lasts, rate, self.level, channels=self.channels, fade_s=self.fade
        )


class PinkNoise(SignalStep):
    """Pink noise; `level` is the rms level of each channel, `apart` makes the channels independent."""

    level: Level = Field(examples=["-20 dBFS"])
    channels: Channels | Literal["apart"] = "both"
    seed: int = 1
    from_: Hertz = Field(20.0, alias="from")
    to: Hertz = 20_000.0

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        from qc.testing import signals

        return signals.pink_noise(
            self.lasts, rate, self.level, channels=self.channels, seed=self.seed, from_hz=self.from_, to_hz=self.to
        )


class Music(SignalStep):
    """A synthetic song with its highest sample at `level`."""

    level: Level = Field(examples=["-1 dBFS"])
    seed: int = 1

    def made(self, rate: int) -> Samples:
        """Return the samples, (2, frames)."""
        return _song(self.lasts, rate, self.seed) * (self.level / 10.0 ** (-1.0 / 20.0))


@lru_cache(maxsize=4)
def _song(seconds: float, rate: int, seed: int) -> Samples:
    """Render a song, (2, frames), once for several cases; not to be written to."""
    from qc.testing.music import Song, song

    return song(Song(seconds, rate, seed))
