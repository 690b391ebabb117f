"""How a signal comes into two channels, and which of them a fault is in: the words that the kit uses."""

from __future__ import annotations

from typing import Literal

Channels = Literal["both", "opposed", "left", "right"]
"""the same in both, the right one turned round, or in one channel alone"""
Where = Literal["both", "left", "right"]
