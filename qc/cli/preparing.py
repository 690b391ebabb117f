"""What a command does before it hears anything: how memory is shared out, and what is compiled the first time."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from qc.audio.memory import few_arenas
from qc.dsp.kernels import cache as kernel_cache
from qc.plugin_api import Need
from qc.plugin_host.time_out import PATIENCE_S


def prepare(needs: Iterable[type[Need[Any]]], patience: float = PATIENCE_S) -> None:
    """Compile all that measures, in two processes, and say so, when no pass has run on this machine yet.

    The other process is left when it takes longer than this one and `patience`, s, on top.
    """
    few_arenas()
    if kernel_cache.announce():
        # nobody else needs another process; and what the compiler hides from others while it is imported is hidden now
        from qc.dsp.kernels import compiler  # noqa: F401
        from qc.measure.warm_up import warm

        warm(needs, patience)
