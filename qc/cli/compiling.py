"""What is compiled before a command hears anything for the first time on a machine."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from qc.contract import Need
from qc.dsp import jit
from qc.patience import PATIENCE_S


def compile_first(needs: Iterable[type[Need[Any]]], patience: float = PATIENCE_S) -> None:
    """Compile all that measures, in two processes, and say so, when no pass has run on this machine yet.

    The other process is left when it takes longer than this one and `patience`, s, on top.
    """
    if jit.announce():
        from qc.warming import warm  # nobody else needs another process

        warm(needs, patience)
