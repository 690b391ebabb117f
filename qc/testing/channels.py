"""Names for the channels of a signal and of a fault."""

from __future__ import annotations

from typing import Literal

Channels = Literal["both", "opposed", "left", "right"]
"""Equal channels, the right one inverted, or one channel alone."""
Where = Literal["both", "left", "right"]
