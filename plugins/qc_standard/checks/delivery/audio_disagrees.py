"""The audio file compared with its declaration in the delivery."""

from __future__ import annotations

from collections.abc import Iterable

from qc.plugin_api import AsReceived, Check, CheckContext, Finding, ForClient, Model


class AudioDisagreesLimits(Model):
    """No limits: faults that could lose or shift frames fail, wrong figures alone warn."""


class AudioDisagrees(Check[AudioDisagreesLimits]):
    """The audio file is not what the delivery says, or cannot be used."""

    id = "delivery.audio-disagrees"
    title = "The audio is not what its documents say"
    why = (
        "A file that is missing, damaged, cut off or a different one must not be cut, and nothing "
        "that was measured on it would mean anything."
    )
    how = (
        "Header, length and digests, a FLAC's own MD5 too, are compared with the delivery, lists of checksums, the "
        "bytes and what is decoded; every sample must be a usable number. What could lose or shift audio fails, as "
        "does a file that changes meanwhile; a wrong byte rate, frame count or bytes behind the audio warn."
    )
    remedy = "Ask for the file again, or correct the delivery file."
    client = ForClient(
        name="A file is not quite what we expected",
        means=(
            "Before anything is cut we make sure that every file is whole, and that it is the one your documents name. "
            "Here something does not fit, so we cannot be sure that we have your music as you meant it."
        ),
        asks="Please look at what we noted here, and send the file again or tell us what is right.",
    )
    blind_to = (
        "A wrong version of the music that fits the documents, when they state no digest; a sample rate or a coding "
        "of the same width that was changed in the header together with all that states it."
    )
    needs = (AsReceived,)
    waivable = False
    Limits = AudioDisagreesLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Report every fault of the file, each with its own remedy."""
        received = ctx[AsReceived]
        for name in received.facts.without_md5:
            ctx.note(f"{name} states no MD5 of its samples, so only its frames' checksums show damage")
        for fault in received.faults:
            field = fault.field or _field(ctx, None if fault.at is None else fault.at.track)
            yield ctx.found(
                fault.severity, fault.message, measured=fault.kind, at=fault.at, field=field, remedy=fault.remedy
            )


def _field(ctx: CheckContext, number: int | None) -> tuple[str | int, ...]:
    """Return the key of the delivery that names the file: the side's, or that of a track with its own file."""
    for i, track in enumerate(ctx.declared.get("tracks", ())):
        if track["number"] == number and "audio" in track:
            return ("tracks", i, "audio")
    return ("audio",)
