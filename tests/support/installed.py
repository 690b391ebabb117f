"""Plugins that are installed for a test: a folder on the path, as pip would leave it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from qc.plugin_host import names


def install(folder, package, version, *lines):
    """Announce a package in a folder, with its entry points: "house = acme_house"."""
    info = folder / f"{package.replace('-', '_')}-{version}.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: {version}\n")
    (info / "entry_points.txt").write_text("\n".join([f"[{names.GROUP}]", *lines, "[other.group]", "x = y"]))


def environment(*folders):
    """The environment of a process that finds what is in some folders."""
    return os.environ | {"PYTHONPATH": os.pathsep.join(map(str, folders)), "PYTHONDONTWRITEBYTECODE": "1"}


def own_tests(package, site):
    """Run the tests that a package brings, installed in the folder `site`; gives what pytest says."""
    command = [sys.executable, "-m", "pytest", "-q", "-rs", "-p", "no:cacheprovider"]
    return subprocess.run(
        command, cwd=package, env=environment(site, Path(package) / "src"), capture_output=True, check=False, text=True,
        timeout=600,
    )  # fmt: skip
