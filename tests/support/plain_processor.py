"""Judge a delivery and name every kernel whose code uses registers that not every processor has.

    NUMBA_CPU_NAME=generic python tests/support/plain_processor.py DELIVERY REPORT.json

Prints the number of kernels that ran, then the names of those with vectors wider than 128 bits. Used by
tests/dsp/test_plain_processor.py.
"""

import re
import sys

from qc.cli.main import main
from qc.dsp.kernels import cache as kernel_cache
from qc.dsp.kernels import compiler, kernel, linked

WIDE = re.compile(r"%[yz]mm\d")


def compiled():
    """Yield every kernel of the house that ran in this process, with the assembly of all that is linked of it."""
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in {"qc", "qc_standard"}:
            for thing in list(vars(module).values()):
                if isinstance(thing, kernel.Kernel):
                    for kinds, made in list(thing.made.items()):
                        assert isinstance(made, linked.Linked), f"{thing.name} runs by numba"
                        yield f"{thing.name} {linked.key(kinds)}", compiler.assembly_of(thing, kinds)


if __name__ == "__main__":
    delivery, report = sys.argv[1:]
    code = main(["check", delivery, "--quiet", "--out", f"json={report}", "--workers", "1", "--no-cache"])
    assert code in {0, 1}, code
    kernels = dict(compiled())
    sys.stdout.write(f"{len(kernels)} {kernel_cache.CACHE.name}\n")
    for name, code in sorted(kernels.items()):
        if WIDE.search(code):
            sys.stdout.write(f"{name}\n")
