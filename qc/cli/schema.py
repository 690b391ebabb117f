"""`sidegate schema`: print the JSON Schema of a report or an input file."""

from __future__ import annotations

from importlib.resources import files

from qc.cli.streams import emit


def schema(model: str) -> int:
    """Print the schema of a file that is read or written, by the name that the command line offers."""
    emit((files("qc") / "schemas" / f"{model}.json").read_bytes())
    return 0
