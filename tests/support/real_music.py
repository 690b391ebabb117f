"""Real music of Debian's wesnoth-1.16-music. Without it a test is skipped, or fails with SIDEGATE_MUSIC_REQUIRED."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

MUSIC = Path("/usr/share/games/wesnoth/1.16/data/core/music")


def needed(there, what):
    """Skip without what a test needs; where it must be there, fail."""
    if there:
        return
    if os.environ.get("SIDEGATE_MUSIC_REQUIRED"):
        pytest.fail(f"{what}, and SIDEGATE_MUSIC_REQUIRED is set")
    pytest.skip(what)
