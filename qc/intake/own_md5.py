"""The MD5 that a FLAC file states of its own samples, against that of what was decoded."""

from __future__ import annotations

from qc.audio.container.streaminfo import StreamInfo
from qc.audio.received import AudioFault
from qc.model.report import OwnMd5

_WIDTHS = (16, 24)
"""Bits a sample of the FLAC files that are decoded."""


def sample_bits(flac: StreamInfo | None) -> int | None:
    """Return the bits of the samples whose MD5 a FLAC file states, or None without a stated MD5."""
    return None if flac is None or flac.md5 is None or flac.bits not in _WIDTHS else flac.bits


def compared(flac: StreamInfo | None, named: str, found: str | None) -> tuple[OwnMd5 | None, list[AudioFault]]:
    """Compare the stated MD5 with the one `found`, None where the file was not decoded to its end."""
    if flac is None:
        return None, []
    if flac.md5 is None:
        return "not stated", []
    if found is None or found == flac.md5:
        return (None if found is None else "agrees"), []
    fault = AudioFault(
        kind="sample md5",
        message=f"{named} states MD5 {flac.md5[:12]}… of its samples, those that it holds have {found[:12]}…",
        remedy="Ask for the file again, encoded anew from the master: it does not hold what was encoded.",
        at=None,
    )
    return "disagrees", [fault]
