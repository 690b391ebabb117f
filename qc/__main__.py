"""`python -m qc`: the same as the `sidegate` command."""

from __future__ import annotations

from qc.cli.start import run

run()
