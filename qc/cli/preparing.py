"""What a command does before it hears anything: how memory is shared out, and what is compiled the first time."""

from __future__ import annotations

from qc.audio.memory import few_arenas
from qc.dsp.kernels import cache as kernel_cache
from qc.plugin_host.host import Host


def prepare(host: Host) -> None:
    """Compile all that measures, in two processes, and say so, when no pass has run on this machine yet."""
    few_arenas()
    if kernel_cache.announce():
        # nobody else needs another process; and what the compiler hides from others while it is imported is hidden now
        from qc.dsp.kernels import compiler  # noqa: F401
        from qc.measure.warm_up import warm

        warm(host)
