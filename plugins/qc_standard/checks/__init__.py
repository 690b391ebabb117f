"""All standard checks, one a file; folder and file name are the check's id."""

from __future__ import annotations

from typing import Any

from qc.plugin_api import Check
from qc_standard.checks.delivery.audio_disagrees import AudioDisagrees
from qc_standard.checks.delivery.number_or_isrc import NumberOrIsrc
from qc_standard.checks.delivery.papers_disagree import PapersDisagree
from qc_standard.checks.delivery.same_audio_twice import SameAudioTwice
from qc_standard.checks.delivery.sample_rates_differ import SampleRatesDiffer
from qc_standard.checks.delivery.sides_exchanged import SidesExchanged
from qc_standard.checks.delivery.tracks_exchanged import TracksExchanged
from qc_standard.checks.file.inter_sample_overs import InterSampleOvers
from qc_standard.checks.file.lossy_origin import LossyOrigin
from qc_standard.checks.file.says_otherwise import SaysOtherwise
from qc_standard.checks.file.truncated_fade import TruncatedFade
from qc_standard.checks.file.unused_bits import UnusedBits
from qc_standard.checks.file.upsampled import Upsampled
from qc_standard.checks.groove.curvature_too_tight import CurvatureTooTight
from qc_standard.checks.groove.cut_too_deep import CutTooDeep
from qc_standard.checks.groove.drive_too_high import DriveTooHigh
from qc_standard.checks.groove.excursion_too_wide import ExcursionTooWide
from qc_standard.checks.groove.last_diameter_too_small import LastDiameterTooSmall
from qc_standard.checks.groove.level_above_recommended import LevelAboveRecommended
from qc_standard.checks.groove.level_on_disc_too_low import LevelOnDiscTooLow
from qc_standard.checks.groove.playback_distorted import PlaybackDistorted
from qc_standard.checks.groove.slope_too_steep import SlopeTooSteep
from qc_standard.checks.groove.too_little_land import TooLittleLand
from qc_standard.checks.groove.top_width_too_narrow import TopWidthTooNarrow
from qc_standard.checks.hf.sibilance_or_cymbals_too_strong import SibilanceOrCymbalsTooStrong
from qc_standard.checks.layout.gap_disagrees import GapDisagrees
from qc_standard.checks.layout.gap_too_short import GapTooShort
from qc_standard.checks.layout.lead_in_silence import LeadInSilence
from qc_standard.checks.layout.lead_out_room import LeadOutRoom
from qc_standard.checks.layout.lead_out_silence import LeadOutSilence
from qc_standard.checks.layout.loudest_or_brightest_last import LoudestOrBrightestLast
from qc_standard.checks.layout.side_too_long import SideTooLong
from qc_standard.checks.layout.side_too_short import SideTooShort
from qc_standard.checks.layout.track_times_disagree import TrackTimesDisagree
from qc_standard.checks.level.clipped import Clipped
from qc_standard.checks.level.true_peak_too_high import TruePeakTooHigh
from qc_standard.checks.loudness.outside_range import OutsideRange
from qc_standard.checks.loudness.sides_unequal import SidesUnequal
from qc_standard.checks.programme.channels_exchanged import ChannelsExchanged
from qc_standard.checks.programme.channels_out_of_time import ChannelsOutOfTime
from qc_standard.checks.programme.channels_unbalanced import ChannelsUnbalanced
from qc_standard.checks.programme.click import Click
from qc_standard.checks.programme.dc_offset import DcOffset
from qc_standard.checks.programme.dead_channel import DeadChannel
from qc_standard.checks.programme.dropout import Dropout
from qc_standard.checks.programme.fade_cut_off import FadeCutOff
from qc_standard.checks.programme.hard_end import HardEnd
from qc_standard.checks.programme.hard_start import HardStart
from qc_standard.checks.programme.hum import Hum
from qc_standard.checks.programme.identical_channels import IdenticalChannels
from qc_standard.checks.programme.noise_after_end import NoiseAfterEnd
from qc_standard.checks.programme.polarity_reversed import PolarityReversed
from qc_standard.checks.programme.pre_emphasised import PreEmphasised
from qc_standard.checks.programme.quiet_against_noise import QuietAgainstNoise
from qc_standard.checks.programme.repeated_or_skipped import RepeatedOrSkipped
from qc_standard.checks.programme.speed import Speed
from qc_standard.checks.programme.steady_line import SteadyLine
from qc_standard.checks.programme.subsonic import Subsonic
from qc_standard.checks.programme.ultrasonic import Ultrasonic
from qc_standard.checks.stereo.low_end_out_of_phase import LowEndOutOfPhase


def every_check() -> list[type[Check[Any]]]:
    """Return the classes of all checks."""
    return [
        AudioDisagrees,
        NumberOrIsrc,
        PapersDisagree,
        SameAudioTwice,
        SampleRatesDiffer,
        SidesExchanged,
        TracksExchanged,
        LossyOrigin,
        InterSampleOvers,
        SaysOtherwise,
        TruncatedFade,
        UnusedBits,
        Upsampled,
        CurvatureTooTight,
        CutTooDeep,
        DriveTooHigh,
        ExcursionTooWide,
        LastDiameterTooSmall,
        LevelAboveRecommended,
        LevelOnDiscTooLow,
        PlaybackDistorted,
        SlopeTooSteep,
        TooLittleLand,
        TopWidthTooNarrow,
        SibilanceOrCymbalsTooStrong,
        GapDisagrees,
        GapTooShort,
        LeadInSilence,
        LeadOutRoom,
        LeadOutSilence,
        LoudestOrBrightestLast,
        SideTooLong,
        SideTooShort,
        TrackTimesDisagree,
        Clipped,
        TruePeakTooHigh,
        OutsideRange,
        SidesUnequal,
        ChannelsExchanged,
        ChannelsOutOfTime,
        ChannelsUnbalanced,
        Click,
        DcOffset,
        DeadChannel,
        FadeCutOff,
        HardEnd,
        HardStart,
        Dropout,
        Hum,
        IdenticalChannels,
        NoiseAfterEnd,
        PolarityReversed,
        PreEmphasised,
        RepeatedOrSkipped,
        QuietAgainstNoise,
        Speed,
        SteadyLine,
        Subsonic,
        Ultrasonic,
        LowEndOutOfPhase,
    ]
