"""The standard measurements and checks: a plugin like any other, whose modules are imported on first use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from qc.plugin_api import hookimpl

if TYPE_CHECKING:
    from qc.plugin_api import Check, Need


@hookimpl
def qc_checks() -> list[type[Check[Any]]]:
    """Return the check classes, one module each in qc_standard.checks."""
    from qc_standard.checks import every_check

    return every_check()


@hookimpl
def qc_measures() -> list[type[Need[Any]]]:
    """Return the measurements of the programme; the core measures the groove."""
    from qc_standard.azimuth.delay import ChannelDelay
    from qc_standard.bits.low_bits import LowBits
    from qc_standard.bits.tails import Tails
    from qc_standard.channels.balance import Balance
    from qc_standard.channels.octave_correlation import OctaveCorrelation
    from qc_standard.documents.octave_balance import OctaveBalance
    from qc_standard.documents.track_loudness import TrackLoudness
    from qc_standard.edges.starts_and_ends import Edges
    from qc_standard.lossy.traces import LossyTraces
    from qc_standard.loudness import Loudness, ProgrammeLoudness
    from qc_standard.noise.disc import QuietAgainstDisc
    from qc_standard.noise.floor import NoiseFloor
    from qc_standard.noise.print_through import PrintThrough
    from qc_standard.overs import Overs
    from qc_standard.peaks import Peaks
    from qc_standard.relation import Relation
    from qc_standard.spectrum.hum import Hum
    from qc_standard.spectrum.outside import OutsideTheBand
    from qc_standard.spectrum.recording_curve import RecordingCurve
    from qc_standard.spectrum.steady import SteadyLines
    from qc_standard.spectrum.upsampled import RaisedRate
    from qc_standard.stereo import LowCorrelation, Stereo
    from qc_standard.time_faults.analysis import FaultsInTime

    return [
        Loudness, ProgrammeLoudness, TrackLoudness, Peaks, Overs, Stereo, LowCorrelation, Relation, Edges, Hum,
        SteadyLines, RaisedRate, OutsideTheBand, OctaveBalance, FaultsInTime, LowBits, Tails, ChannelDelay,
        NoiseFloor, QuietAgainstDisc, PrintThrough, Balance, OctaveCorrelation, LossyTraces,
        RecordingCurve,
    ]  # fmt: skip
