"""Names of tags that writers choose freely, as Vorbis comments and the described frames of ID3 have them."""

from __future__ import annotations

from qc.audio.tags.model import About

_NAMES: dict[str, About] = {
    "TITLE": "title", "ALBUM": "album", "ISRC": "isrc", "TRACKNUMBER": "track", "TRACK": "track", "DISCNUMBER": "disc",
    "SIDE": "side", "VINYLSIDE": "side", "MEDIASIDE": "side", "CATALOGNUMBER": "catalogue", "CATALOG": "catalogue",
    "CATALOGUE": "catalogue", "CATALOGUENUMBER": "catalogue", "LABELNO": "catalogue", "COMMENT": "text",
    "DESCRIPTION": "text", "DATE": "",
}  # fmt: skip


def about_name(key: str) -> About:
    """Return the subject of a tag by its name, whatever its capitals, spaces and hyphens."""
    return _NAMES.get("".join(char for char in key.upper() if char.isalnum()), "")
