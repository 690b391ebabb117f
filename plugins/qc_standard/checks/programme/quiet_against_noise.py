"""Quiet passages that the noise of the disc would cover."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from qc.plugin_api import Check, CheckContext, Finding, ForClient, Model, Need, NotApplicableError, Quantity
from qc_standard.noise.disc import QuietAgainstDisc, QuietResult
from qc_standard.own_limits import MostPercent


class QuietAgainstNoiseLimits(Model):
    """Greatest part of the programme that may lie near the noise of the disc."""

    share: MostPercent


class QuietAgainstNoise(Check[QuietAgainstNoiseLimits]):
    """Much of the programme lies near the noise of the disc."""

    id = "programme.quiet-against-noise"
    title = "Quiet passages lie near the noise of the disc"
    why = (
        "A pressing has a noise of its own, some 50 to 60 dB below a tone of 5 cm/s. A passage that is not louder "
        "than that is heard through a veil of noise, however clean the master is."
    )
    how = (
        "The level of every 10 s, 20 Hz to the top and unweighted, against the noise of a usual pressing, -55 dB "
        "against 5 cm/s, at the level the side is judged at. Passages within 10 dB of it are added up and compared "
        "with all that sounds on the side; each is a finding."
    )
    remedy = (
        "Have the passages raised where the music allows it, or cut hotter: a shorter side, or one whose loudest "
        "moments are eased, takes a higher level. Or agree with the client that it is meant so."
    )
    client = ForClient(
        name="Passages as quiet as the record's own noise",
        means=(
            "Every record has a soft noise of its own. Here the music is so quiet that this noise will be nearly as "
            "loud as the music."
        ),
        asks=(
            "Please tell us whether you accept that, or have these passages made louder. A shorter side helps too, "
            "since it can be cut louder as a whole."
        ),
    )
    blind_to = (
        "The noise of the pressing to come, which no file shows; the figure is for no radius. Quiet passages of less "
        "than 10 s, and a passage as steady as noise."
    )
    sensitivity = (
        "Of ten second tracks of 14 s whose level was lowered, 7 were found from an rms of -46 dBFS on and all from "
        "-49 dBFS, at a cut level of -20 dB, where the noise of the disc is -56 dBFS."
    )
    needs: ClassVar[tuple[type[Need[QuietResult]], ...]] = (QuietAgainstDisc,)
    Limits = QuietAgainstNoiseLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge the share, and place it at each passage; raises NotApplicableError where no 10 s sound."""
        quiet = ctx[QuietAgainstDisc]
        if quiet.quietest is None and not quiet.passages:
            raise NotApplicableError("no 10 s of the side have programme")
        for passage in quiet.passages:
            place = f"{passage.above:.0f} dB above" if passage.above >= 0.0 else f"{-passage.above:.0f} dB below"
            of = f"the part of the programme near the noise of the disc, here {place} it,"
            share = Quantity(value=quiet.share, unit="%", at=passage.at())
            yield from ctx.hold(share, self.limits.share, op="<=", of=of)
