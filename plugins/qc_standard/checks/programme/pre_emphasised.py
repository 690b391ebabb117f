"""A file that has the recording curve already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Judged, Limit, Model, Need, NotApplicableError
from qc_standard.spectrum.recording_curve import CurveFit, RecordingCurve


class PreEmphasisedLimits(Model):
    """Greatest part of the recording curve that may lie on the spectrum."""

    part: Limit


class PreEmphasised(Check[PreEmphasisedLimits]):
    """The spectrum is that of music with the recording curve of discs on it."""

    id = "programme.pre-emphasised"
    title = "Suspected: the recording curve is already in the file"
    why = (
        "The cutting amplifier adds the recording curve: 19 dB less bass and 20 dB more treble. A file that has it "
        "already, from a disc that was played without its correction or a plugin that was left on, is cut with it "
        "twice, and the treble burns the cutter before anyone hears it."
    )
    how = (
        "The mean spectrum of the loud seconds by octave from 63 Hz to 16 kHz, against that of music: which part of "
        "the recording curve fits best, where octaves that differ little from piece to piece count most, and how far "
        "the octaves lie off music with the curve and without it. It must be like music, to 9 dB rms, with or without."
    )
    remedy = (
        "Listen to the file as it is: thin and sharp means the curve is on it. Have it taken off, or ask for another."
    )
    client = ForClient(
        name="A file that may be prepared for cutting already",
        means=(
            "The file has far less bass and far more treble than music has, by the amounts that are added when a "
            "record is cut. If that was done to the file already, it would be done twice."
        ),
        asks="Please check that no correction for records was applied, and send the master as it is meant to be heard.",
    )
    blind_to = (
        "The curve on dull music, which looks like bright music then. Tape curves, of which two differ by 3 dB, and "
        "emphasis of 50/15 us, 9 dB at the top: bright music is brighter by more, and only another copy can tell."
    )
    sensitivity = (
        "Of ten pieces with the recording curve put on, half a minute each, 5 were found with all of it, 100 %, and 4 "
        "with 80 %; the others are dull music, and pieces of hits that are loud for less than 20 s. Ten clean sides "
        "measure -7 to 67 %. Emphasis of 50/15 us adds some 22 %, and is found in none."
    )
    needs: ClassVar[tuple[type[Need[CurveFit | None]], ...]] = (RecordingCurve,)
    Limits = PreEmphasisedLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "part": Judged("spectrum.recording_curve", "<=", "the part of the recording curve that lies on the sound")
    }

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the part; raises NotApplicableError where the sound is too short or not like music."""
        fit = ctx[RecordingCurve]
        if fit is None:
            raise NotApplicableError("fewer than 20 s are loud, or the spectrum is not like music")
        of = (
            f"the part of the recording curve on the sound, which lies {fit.with_db:.1f} dB rms by octave off music as "
            f"it is and {fit.without_db:.1f} dB without the curve,"
        )
        yield from ctx.judge("spectrum.recording_curve", self.limits.part, op="<=", of=of)
