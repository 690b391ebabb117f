"""`python -m qc`: the same as the `sidegate` command."""

from __future__ import annotations

from qc.cli.main import run

run()
