"""Place of the store of measurements: a folder that was named, that of SIDEGATE_STORE, or the user's own cache folder.

Compiled kernels lie elsewhere (SIDEGATE_CACHE, or `kernels-*` in the same cache folder): see qc/dsp/kernels/cache.py.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from qc.model.errors import UsageError
from qc.text.sanitize import shown

VARIABLE = "SIDEGATE_STORE"
SENT = ".sidegate-cache"
"""Folder in a delivery where earlier versions kept their store; not used, for a sender may have filled it."""
HOMELESS = f"there is no cache folder of this user to store measurements in; name a folder with --cache or {VARIABLE}"
LONG = 200
"""Characters of a path in a sentence."""


@dataclass(frozen=True, slots=True)
class StorePlace:
    """The folder to store in, None for none; whether the user named it; and why there is none, in a sentence."""

    folder: Path | None
    named: bool = False
    why: str = ""


def place(option: str | None, environment: Mapping[str, str] = os.environ) -> StorePlace:
    """Return the folder of `--cache`, else of SIDEGATE_STORE, else the default one; raises UsageError."""
    if option is not None:
        if not option:
            raise UsageError("--cache: the folder has no name; name one, or say --no-cache")
        return StorePlace(Path(option), named=True)
    if named := environment.get(VARIABLE):
        if not Path(named).is_absolute():  # it would be another folder in each working folder, as in a delivery's
            raise UsageError(f"{VARIABLE}: {shown(named, LONG)} is relative; write the whole path of the folder")
        return StorePlace(Path(named), named=True)
    folder = _default()
    return StorePlace(folder, why="" if folder is not None else HOMELESS)


def outside(where: StorePlace, delivery: Path) -> StorePlace:
    """Refuse a folder that was named and lies in the delivery's own: its sender may have filled it.

    The default one is not refused, for a delivery may lie right in the user's home folder.
    """
    if where.folder is None or not where.named:
        return where
    if not Path(os.path.realpath(where.folder)).is_relative_to(os.path.realpath(delivery)):
        return where
    return StorePlace(
        None, named=True,
        why=f"{shown(str(where.folder), LONG)} lies in the delivery's folder, where its sender may have put "
        f"measurements; none are read or stored; name a folder elsewhere with --cache or {VARIABLE}",
    )  # fmt: skip


def sent(delivery: Path) -> str:
    """Return a sentence about the store that a delivery's folder holds; empty where it holds none."""
    folder = delivery / SENT
    if not os.path.lexists(folder):
        return ""
    return (
        f"{shown(str(folder), LONG)} came with the delivery, or an earlier version left it: nothing in it is used, "
        "and it may be deleted"
    )


def _default() -> Path | None:
    """Return the user's cache folder for measurements; None where the system names none."""
    import platformdirs  # not where a folder was named

    folder = platformdirs.user_cache_path("sidegate", appauthor=False) / "measurements"
    return folder if folder.is_absolute() else None
