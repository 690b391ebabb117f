"""`sidegate init`: draft a delivery.yaml from audio files, to be reviewed by the user."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from qc.cli.progress import Progress
from qc.cli.streams import say
from qc.draft.cue import read_cue
from qc.draft.delivery import Given, draft
from qc.files.atomic_write import put_file
from qc.model.errors import UsageError
from qc.model.names import SIDE_ID
from qc.text.sanitize import shown

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
NAME = "delivery.yaml"


def init(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    sides = _sides(words.audio, words.side)
    file = _place(words.out, [path for side in sides for path in side.files])
    sheet = None if words.cue is None else read_cue(Path(words.cue))
    with Progress(sys.stderr) as progress:
        drafted = draft(sides, file, sheet, progress.update)
    put_file(file, drafted.text.encode(), str(file), fresh=True)
    count = f"{len(sides)} side{'s'[: len(sides) - 1]}, {drafted.tracks} track{'s'[: drafted.tracks - 1]}"
    say(f"wrote {file}: {count}; look through it, fill in what it marks, then run sidegate check {file}")
    return 0


def _sides(audio: Sequence[str], named: Sequence[str]) -> list[Given]:
    """Return the sides: files in order as A, B ..., or those that --side names; raises UsageError for bad names."""
    if bool(audio) == bool(named):
        raise UsageError(
            "init: give the audio files, one a side, or --side ID=FILE,FILE... for one file a track, not both"
        )
    if len(audio) > len(LETTERS):
        raise UsageError(f"init: {len(audio)} files are more sides than there are letters; draft them disc by disc")
    if audio:
        sides = [Given(letter, (Path(name),)) for letter, name in zip(LETTERS, audio, strict=False)]
    else:
        sides = [_named(word) for word in named]
    ids = [side.id.casefold() for side in sides]
    files = [path for side in sides for path in side.files]
    for side in sides:
        if ids.count(side.id.casefold()) > 1:
            raise UsageError(f"--side {side.id}: the side is given twice; name every side differently")
    for path in files:
        if path.is_dir():
            raise UsageError(f"init: {shown(str(path))} is a folder; name the audio files in it, one a side")
        if files.count(path) > 1:
            raise UsageError(f"init: {shown(str(path))} is given twice; name every file once")
    return sides


def _named(word: str) -> Given:
    """Parse ID=FILE,FILE...; raises UsageError for another form."""
    side, equals, names = word.partition("=")
    files = tuple(Path(name) for name in names.split(",") if name)
    if not equals or not files or SIDE_ID.fullmatch(side) is None:
        raise UsageError(f"--side {shown(word)}: write it as ID=FILE,FILE..., for example A=a1.wav,a2.wav")
    return Given(side, files, one_a_track=True)


def _place(out: str | None, audio: Sequence[Path]) -> Path:
    """Return the path to write, by default delivery.yaml in the folder of all audio; raises UsageError if it exists."""
    if out is None:
        parents = [os.path.realpath(path.parent) for path in audio]
        file = Path(os.path.relpath(os.path.commonpath(parents))) / NAME
    else:
        file = Path(out)
        if file.is_dir() or file.suffix.lower() not in {".yaml", ".yml"}:
            file /= NAME
    if not file.parent.is_dir():
        raise UsageError(f"init: there is no folder {shown(str(file.parent))}; make it first")
    if os.path.lexists(file):
        raise UsageError(f"init: {shown(str(file))} is there already and is left as it is; name another with --out")
    if not os.access(file.parent, os.W_OK):
        raise UsageError(f"init: the folder {shown(str(file.parent))} may not be written; name another with --out")
    return file
