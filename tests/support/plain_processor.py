"""Judge a delivery and name every kernel whose code uses registers that not every processor has.

    NUMBA_CPU_NAME=generic SIDEGATE_CACHE=NOWHERE python tests/support/plain_processor.py DELIVERY REPORT.json

Prints the number of kernels that ran, the digest they are stored under, whether all were compiled before any plugin
was called and for how many argument types the envelopes were; then the names of those with vectors wider than 128 bits.
SIDEGATE_CACHE must be a place that cannot be written, so that all are compiled in this process: numba shows no code of
stored ones, and none is counted then. Used by tests/dsp/test_plain_processor.py.
"""

import re
import subprocess
import sys
from unittest import mock

from qc import api
from qc.cli.main import main
from qc.dsp.kernels.cache import digest, opened
from qc.groove.signal.sector_envelopes import envelopes
from qc.measure.precompile import precompile

WIDE = re.compile(r"%[yz]mm\d")


def compiled():
    """Yield every kernel of the project that ran in this process, with the assembly of all that it calls."""
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in {"qc", "qc_standard"}:
            for kernel in list(vars(module).values()):
                if hasattr(kernel, "inspect_asm"):
                    for signature, code in kernel.inspect_asm().items():
                        yield f"{kernel.__module__}.{kernel.__name__} {signature}", code


if __name__ == "__main__":
    delivery, report = sys.argv[1:]
    if not opened().persistent:
        with mock.patch.object(subprocess, "Popen", None):  # another process could not hand over what it compiled
            precompile(api.build_host())
    early = f"{opened().complete} {len(envelopes.signatures)}"
    code = main(["check", delivery, "--quiet", "--out", f"json={report}", "--workers", "1", "--no-cache"])
    assert code in {0, 1}, code
    kernels = {} if opened().persistent else dict(compiled())
    sys.stdout.write(f"{len(kernels)} {digest()} {early}\n")
    for name, code in sorted(kernels.items()):
        if WIDE.search(code):
            sys.stdout.write(f"{name}\n")
