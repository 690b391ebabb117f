"""`sidegate listen`: write a passage as the disc will play it, with the master."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from qc import api
from qc.cli.delivery_run import delivery_path, run_options
from qc.cli.plugin_host import host_of
from qc.cli.streams import emit, say
from qc.listen.imperfections import OPTIONS
from qc.listen.request import ListenRequest
from qc.listen.screen import listen_table
from qc.model.errors import UsageError
from qc.text.sanitize import shown


def listen(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    path = delivery_path(words)
    imperfections = {name: getattr(words, name.replace("-", "_")) for name in OPTIONS}
    request = ListenRequest.parse(words.side, words.at, words.level, words.radius, words.tip, imperfections)
    folder = _free(words.out)
    host = host_of(words)
    read = api.read_any(path, host)
    asked = api.Options(words.ruleset, (words.side,), chain=tuple(words.chain))
    with run_options(asked, words, host, read) as options:
        files = api.listen(path, request, options, host, read)
    files.write(_free(words.out))
    emit(listen_table(files.report).encode())
    say(f"wrote {len(files.sounds)} sound files and listen.json to {shown(str(folder))}")
    return 0


def _free(out: str) -> Path:
    """Return a folder that nothing lies in yet, or that can be made; raises UsageError."""
    folder, name = Path(os.path.realpath(out)), shown(out)
    if not out:
        raise UsageError("--out: the folder has no name; name one that is empty or not there yet")
    try:
        taken = os.path.lexists(folder) and not (folder.is_dir() and not any(folder.iterdir()))
    except OSError as why:
        raise UsageError(f"--out {name}: the folder cannot be read ({why.strerror}); name another") from None
    if taken:
        raise UsageError(f"--out {name}: it is there already and is left as it is; name an empty folder, or a new one")
    if not folder.parent.is_dir():
        raise UsageError(f"--out {name}: there is no folder {shown(str(folder.parent))}; make it first")
    if not os.access(folder.parent, os.W_OK | os.X_OK):
        raise UsageError(f"--out {name}: the folder {shown(str(folder.parent))} may not be written; name another")
    return folder
