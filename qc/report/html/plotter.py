"""The plotting script of the timelines: one file of an installed package, taken only when it is the one we know."""

from __future__ import annotations

import hashlib
from importlib.util import find_spec
from pathlib import Path

PACKAGE, FILE = "youplot", Path("vendor", "uplot.iife.min.js")
SHA256 = "2d27e8ad3d228164525ce213f9dc716f39b4e3aee0cc773fb3491c96cf4921a2"
"""uPlot 1.6.31, dist/uPlot.iife.min.js, byte for byte as its makers published it on npm."""


def plotter() -> str:
    """Give the script; empty where the package is missing or holds another, and the pictures stand still then.

    The package is looked up and never imported.
    """
    spec = find_spec(PACKAGE)
    for folder in (spec.submodule_search_locations if spec else None) or ():
        path = Path(folder) / FILE
        if path.is_file() and hashlib.sha256(held := path.read_bytes()).hexdigest() == SHA256:
            return held.decode("utf-8")
    return ""
