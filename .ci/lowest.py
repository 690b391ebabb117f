"""The lowest versions that pyproject.toml allows, as pip's constraints; `--installed` compares what is installed."""

import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

from packaging.requirements import Requirement
from packaging.version import Version

project = tomllib.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))["project"]
TESTED = ("test", *(name for name in project["optional-dependencies"] if name not in {"test", "dev"}))
lines = [*project["dependencies"], *(line for name in TESTED for line in project["optional-dependencies"][name])]
requirements = [Requirement(line) for line in lines]
floors: dict[str, str] = {}
for found in requirements:
    if found.name == project["name"] or (found.marker is not None and not found.marker.evaluate()):
        continue
    lowest = [one.version for one in found.specifier if one.operator in {">=", "=="}]
    assert len(lowest) == 1, f"{found}: name one lowest version"
    floors[found.name] = lowest[0]

if "--installed" in sys.argv:
    other = {name: version(name) for name, lowest in floors.items() if Version(version(name)) != Version(lowest)}
    assert not other, f"installed in other versions than the lowest: {other}"
else:
    print("\n".join(f"{name}=={lowest}" for name, lowest in sorted(floors.items())))
