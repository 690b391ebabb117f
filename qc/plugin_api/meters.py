"""Compiled meters and filters for an `Analysis`: each takes blocks of any size and gives the same in total."""

from qc.dsp.filters import biquad
from qc.dsp.filters.decimator import Decimator
from qc.dsp.meters.channel_sums import ChannelSums
from qc.dsp.meters.flat_tops import FlatRuns
from qc.dsp.meters.fourier import TwoSpectra
from qc.dsp.meters.kweighted import KWeightedSums
from qc.dsp.meters.lowband import LowBandSums
from qc.dsp.meters.overs import Over, OverSweep
from qc.dsp.meters.peaks import Peak, PeakSweep
from qc.dsp.meters.runs import Runs
from qc.dsp.meters.windows import part_frames, sliding

__all__ = [
    "ChannelSums", "Decimator", "FlatRuns", "KWeightedSums", "LowBandSums", "Over", "OverSweep", "Peak", "PeakSweep",
    "Runs", "TwoSpectra", "biquad", "part_frames", "sliding",
]  # fmt: skip
