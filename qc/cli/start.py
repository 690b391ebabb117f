"""Entry point of the command: signals are handled before anything large is imported."""

from __future__ import annotations

from qc.cli import stopping


def run() -> None:
    """Run the command and end the process."""
    stopping.at_once()
    from qc.cli.main import run as run_main

    run_main()
