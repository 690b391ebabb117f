"""PNG pictures, drawn with a packaged font: a machine without fonts would leave out every word."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

DRAWS, FONT = "resvg_py", "fontpkg_source_sans_3"
"""Packages of the extra `png`: the renderer, and the font that pictures use first."""
FILE = Path("files", "SourceSans3[wght].ttf")
FAMILY = "Source Sans 3"
LATIN, GREEK_AND_CYRILLIC, PUNCTUATION = range(0x0250), range(0x0370, 0x0530), range(0x2010, 0x2040)
"""Code points that the font has, or all but a few of."""


def available() -> bool:
    """Whether pictures can be drawn in pixels; nothing is imported."""
    return bool(find_spec(DRAWS)) and _font() is not None


def png(svg: str, scale: float) -> bytes:
    """Draw a picture `scale` pixels to its unit; raises ValueError where it is no SVG.

    Fonts of the machine are used only for letters that the packaged font lacks, so that all machines draw the same; a
    letter that no font has becomes a box.
    """
    import resvg_py  # an optional dependency

    return resvg_py.svg_to_bytes(
        svg_string=svg,
        zoom=scale,
        font_files=[str(_font())],
        font_family=FAMILY,
        sans_serif_family=FAMILY,
        skip_system_fonts=not _beyond(svg),
    )


def _beyond(svg: str) -> bool:
    """Whether a picture has letters that the packaged font may lack."""
    ranges = (LATIN, GREEK_AND_CYRILLIC, PUNCTUATION)
    return not svg.isascii() and not all(any(ord(char) in letters for letters in ranges) for char in set(svg))


def _font() -> Path | None:
    """Return the path of the font, without importing its package; None where it is not installed."""
    spec = find_spec(FONT)
    for folder in (spec.submodule_search_locations if spec else None) or ():
        if (path := Path(folder) / FILE).is_file():
            return path
    return None
