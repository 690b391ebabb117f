"""Judge a delivery and name every kernel whose code uses registers that not every processor has.

    NUMBA_CPU_NAME=generic SIDEGATE_CACHE=EMPTY python tests/plain_processor.py DELIVERY REPORT.json

Run with an empty cache: code that was loaded from one cannot be read. Prints the number of kernels compiled, then the
names of those with vectors wider than 128 bits. Used by test_plain_processor.py.
"""

import re
import sys

from qc.cli.main import main
from qc.dsp import jit

WIDE = re.compile(r"%[yz]mm\d")


def compiled():
    """Yield every kernel of the house that was compiled in this process, with its code."""
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in {"qc", "qc_standard"}:
            for thing in list(vars(module).values()):
                if getattr(thing, "signatures", None) and hasattr(thing, "inspect_asm"):
                    yield f"{thing.py_func.__module__}.{thing.py_func.__name__}", thing.inspect_asm()


if __name__ == "__main__":
    delivery, report = sys.argv[1:]
    code = main(["check", delivery, "--quiet", "--out", f"json={report}", "--workers", "1", "--no-cache"])
    assert code in {0, 1}, code
    kernels = dict(compiled())
    sys.stdout.write(f"{len(kernels)} {jit.CACHE.name}\n")
    for name, versions in sorted(kernels.items()):
        if any(WIDE.search(code) for code in versions.values()):
            sys.stdout.write(f"{name}\n")
