"""The public surface of plugins, a line a name and signature; run as a program it writes the list for the test."""

from __future__ import annotations

from pathlib import Path

from qc import plugin_api
from qc.plugin_host import spec
from qc.rulebook.project.members import described, function

LIST = Path(__file__).resolve().parents[1] / "plugin_host" / "surface.txt"


def surface() -> str:
    """Return every public name with its signature, below it those of its members, then the hooks."""
    lines = []
    for name in sorted(plugin_api.__all__):
        docs = described(plugin_api, name)
        lines += [docs.signature, *(f"    {member.signature}" for member in docs.members)]
    lines += ["hookimpl", *(function(spec, name).signature for name in spec.HOOKS)]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    LIST.write_text(surface(), encoding="utf-8")
