"""Models of the faults in a case file, with their parameters and units."""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from qc.delivery.fields import Day, InputModel
from qc.testing.channels import Channels, Where
from qc.testing.written import Hertz, Level, Part, Seconds

if TYPE_CHECKING:
    from pathlib import Path

    from qc.plugin_base import Samples


class FaultStep(InputModel):
    """A fault of samples, which is applied to all previous steps."""

    @abstractmethod
    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples of `x`, (2, frames)."""


class Clip(FaultStep):
    """Samples beyond `level` are clipped."""

    level: Level = Field(examples=["-1 dBFS"])

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.clipped(x, self.level)


class FlatTops(FaultStep):
    """`runs` runs of four equal samples at `level`, from `at` on, one every 20 frames."""

    at: Seconds = Field(examples=["2 s"])
    runs: Annotated[int, Field(ge=1, examples=["3"])]
    level: Level = Field(examples=["-0.05 dBFS"])
    channel: Where = "left"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.flat_tops(x, rate, at_s=self.at, runs=self.runs, peak=self.level, channel=self.channel)


class DcOffset(FaultStep):
    """Direct current in a channel, or in both."""

    level: Level = Field(examples=["-40 dBFS"])
    channel: Where = "both"

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.dc_offset(x, self.level, channel=self.channel)


class Dropout(FaultStep):
    """A stretch is silent; the sound stops and returns abruptly, or fades out before it and in after it."""

    at: Seconds = Field(examples=["2 s"])
    lasts: Seconds = Field(examples=["0.1 s"])
    channel: Where = "both"
    fade: Seconds = 0.0

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.dropout(x, rate, at_s=self.at, seconds=self.lasts, channel=self.channel, fade_s=self.fade)


class Gap(FaultStep):
    """Silence is inserted and delays the rest; with `fade` the sound fades out before and in after it."""

    at: Seconds = Field(examples=["2 s"])
    lasts: Seconds = Field(examples=["1 s"])
    fade: Seconds = 0.0

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.gap(x, rate, at_s=self.at, seconds=self.lasts, fade_s=self.fade)


class Stutter(FaultStep):
    """The stretch before `at` is played again, once or some times, and delays the rest."""

    at: Seconds = Field(examples=["2 s"])
    lasts: Seconds = Field(examples=["50 ms"])
    times: Annotated[int, Field(ge=1, examples=["1"])] = 1

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.stuttered(x, rate, at_s=self.at, seconds=self.lasts, times=self.times)


class Shift(FaultStep):
    """The whole side is delayed, or with a negative time advanced."""

    by: Seconds = Field(examples=["0.5 s"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.shifted(x, rate, seconds=self.by)


class Invert(FaultStep):
    """The polarity of a channel is inverted."""

    channel: Where = "right"

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.inverted(x, channel=self.channel)


class LateChannel(FaultStep):
    """A channel is late by any time, parts of a sample too; what leaves the end comes in at the start."""

    by: Seconds = Field(examples=["20 us"])
    channel: Where = "right"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.late(x, rate, seconds=self.by, channel=self.channel)


class SwapChannels(FaultStep):
    """Left and right are exchanged; it has no parameters: {}."""

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.swapped(x)


class BassOutOfPhase(FaultStep):
    """The right channel is inverted below a frequency."""

    below: Hertz = Field(examples=["150 Hz"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.bass_out_of_phase(x, rate, below_hz=self.below)


class MissingBand(FaultStep):
    """A band is left out of both channels for `lasts` from given seconds on, as a lossy coder leaves it out."""

    at: tuple[Seconds, ...] = Field(examples=["[2 s, 3.5 s]"])
    lasts: Seconds = Field(examples=["25 ms"])
    from_: Hertz = Field(alias="from", examples=["12 kHz"])
    to: Hertz = Field(examples=["13 kHz"])

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.missing_band(x, rate, at_s=self.at, seconds=self.lasts, from_hz=self.from_, to_hz=self.to)


class Clicks(FaultStep):
    """Single samples of `level` are added at given seconds."""

    at: tuple[Seconds, ...] = Field(examples=["[2 s, 3.5 s]"])
    level: Level = Field(examples=["-6 dBFS"])
    channel: Where = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.clicks(x, rate, at_s=self.at, peak=self.level, channel=self.channel)


class Sibilants(FaultStep):
    """Hisses like an s are added, with their middles at given seconds."""

    at: tuple[Seconds, ...] = Field(examples=["[2 s, 3.5 s]"])
    level: Level = Field(examples=["-6 dBFS"])
    frequency: Hertz = 7_000.0
    lasts: Seconds = 0.09
    channels: Channels = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.sibilants(
            x, rate, at_s=self.at, peak=self.level, hz=self.frequency, seconds=self.lasts, channels=self.channels
        )


class Hum(FaultStep):
    """A steady tone is added to the whole side."""

    frequency: Hertz = Field(examples=["50 Hz"])
    level: Level = Field(examples=["-60 dBFS"])
    channels: Channels = "both"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.hum(x, rate, hz=self.frequency, peak=self.level, channels=self.channels)


class OneSample(FaultStep):
    """One sample has an unusable value: a level, "infinite" or "not a number"."""

    at: Seconds = Field(examples=["2 s"])
    value: Literal["infinite", "not a number", "+60 dBFS"] = Field(examples=["infinite"])
    channel: Where = "left"

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        value = {"infinite": float("inf"), "not a number": float("nan"), "+60 dBFS": 1_000.0}[self.value]
        return faults.one_sample(x, rate, at_s=self.at, value=value, channel=self.channel)


class RecordingCurve(FaultStep):
    """A part of the recording curve of discs is applied; the peak stays as it was."""

    part: Part = 1.0

    def done(self, x: Samples, rate: int) -> Samples:
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.recording_curve(x, rate, part=self.part)


class Requantise(FaultStep):
    """Samples are rounded to fewer bits, with dither where `dither` is given."""

    bits: Annotated[int, Field(ge=2, le=24, examples=["16"])]
    dither: bool = False

    def done(self, x: Samples, rate: int) -> Samples:  # noqa: ARG002
        """Return the faulty samples."""
        from qc.testing import faults

        return faults.requantised(x, self.bits, dither=self.dither)


class FileFaults(InputModel):
    """Changes to the written file, and the checksum that the delivery states."""

    becomes: Literal[
        "missing", "empty", "text", "folder", "damaged", "length left open", "length understated", "other md5"
    ] | None = None  # fmt: skip
    """"damaged" inverts one bit in the middle; with "length understated" a WAV or FLAC header states half the length,
    with "other md5" a FLAC header states the MD5 of other samples"""
    keeps: Part | None = None
    """part of the bytes that is kept; the rest is cut off"""
    checksum: Literal["right", "wrong"] | None = None
    """SHA-256 stated in the delivery: that of the file before its change, or another one"""
    last_changed: Day | None = None
    """modification date of the file, 2026-03-02"""

    def do(self, file: Path) -> None:
        """Apply the changes to the file."""
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
                "length understated": faults.understate_length,
                "other md5": faults.restate_md5,
            }
            acts[self.becomes](file)
