"""A plugin as a house might write it: the greatest sample in plain numpy, and a limit on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from qc.groove.level.side_at_level import UNITS
from qc.plugin_api import (
    Analysis,
    At,
    Judged,
    Limit,
    LimitCheck,
    Model,
    Quantity,
)
from qc.plugin_host.host import Host


@dataclass(frozen=True)
class Loudest(Analysis[float]):
    """The greatest sample, in plain numpy."""

    id: ClassVar[str] = "house.loudest"
    publishes: ClassVar[Mapping[str, str]] = {"house.loudest": "1"}

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls()

    def start(self, stream):
        return Listening(stream)

    def publish(self, result):
        value, frame, rate = result
        return {"house.loudest": Quantity(value=value, unit="1", at=At(start_s=frame / rate))}


class Listening:
    def __init__(self, stream):
        self.rate, self.value, self.frame = stream.rate, 0.0, 0

    def push(self, block):
        if block.samples.shape[1]:
            loud = np.abs(block.samples).max(axis=0)
            if loud.max() > self.value:
                self.value, self.frame = float(loud.max()), block.start + int(loud.argmax())

    def finish(self):
        return self.value, self.frame, self.rate


class Most(Model):
    most: Limit


class TooLoud(LimitCheck[Most]):
    id, title, why, how, remedy = "house.too-loud", "Too loud", "It is.", "The greatest sample.", "Turn it down."
    Limits = Most
    judges: ClassVar[Mapping[str, Judged]] = {"most": Judged("house.loudest", "<=", "the greatest sample")}


def built(*extra, found=None):
    return Host.build(found, extra=extra, core=UNITS, formats=("json", "text"))
