"""The folder of stored measurements: results by the sound they were heard in, and the digests of files.

Whatever goes wrong with it costs a run time and nothing else: what cannot be read is heard again, what cannot be
written is left, and each is said once, in a sentence.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from qc.contract import Analysis, Need
from qc.stored import entry
from qc.stored.entry import DamagedError
from qc.stored.forms import Array, Form, UnknownFormError, form_of
from qc.stored.keys import Sound, key_of, key_of_further, look_at, result_of
from qc.wording import shown

NAME = ".sidegate-cache"
"""The folder, beside a delivery file, when nobody names another one."""
DAY = 86_400.0
UNUSED = 30 * DAY
"""s after which what nobody used is taken away."""
LEFT = DAY
"""s after which a file that was never finished is taken away."""
NOTE = """\
Signature: 8a477f597d28d172789f06886806bc55
# What sidegate measured of the audio beside this folder, so that it need not hear it again.
# Everything in here may be deleted at any time.
"""
LONG = 200
"""Characters of a path in a sentence."""
_SUFFIX = ".kept"
_FILES = "files"
_SOUND = re.compile(r"[0-9a-f]{32}")

T = TypeVar("T")
State = tuple[int, ...]
"""What tells one state of a file from another: size, time of change, inode, device ..."""


@dataclass(frozen=True, slots=True)
class _Remembered:
    """The digests of a file in one state."""

    path: str
    state: State
    digests: tuple[tuple[str, str], ...]


class Store:
    """A folder of stored measurements; made when there is something to store.

    Parameters
    ----------
    folder
        Where they lie.
    verify
        Whether the digests that are remembered count for nothing, so that every file is hashed again.
    told
        Told each sentence about what cannot be read or written.
    versions
        Outermost package of a plugin -> its distribution with the version.
    """

    def __init__(
        self, folder: Path, *, verify: bool = False, told: Callable[[str], None] | None = None,
        versions: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self._folder, self._verify, self._told = folder, verify, told or (lambda _: None)
        self._versions = versions or {}
        self._said: set[str] = set()
        self._written = False
        self._new: set[str] = set()

    # -- the digests of files ----------------------------------------------------------------------------------

    def digests(self, path: Path, state: State, names: Iterable[str]) -> dict[str, str] | None:
        """Give the digests of a file that was seen in this very state before, if all of `names` are known."""
        if self._verify:
            return None
        place = os.path.realpath(path)
        found = self._read(self._record(place, state), _digest(place), form_of(_Remembered))
        if not found or (found[0].path, found[0].state) != (place, state):
            return None
        digests = dict(found[0].digests)
        return digests if digests.keys() >= set(names) else None

    def resembles(self, state: State) -> bool:
        """Whether an earlier run heard a file of the same size, so that the digest may save hearing this one."""
        with contextlib.suppress(OSError):
            there = set(os.listdir(self._folder / _FILES))  # noqa: PTH208
            return any(name.startswith(f"{state[0]}-") for name in there - self._new)
        return False

    def remember(self, path: Path, state: State, digests: Mapping[str, str]) -> None:
        """Remember the digests of a file in a state."""
        place = os.path.realpath(path)
        held = _Remembered(place, state, tuple(sorted(digests.items())))
        record = self._record(place, state)
        self._new.add(record.name)
        self._write(record, _digest(place), form_of(_Remembered), held)

    def _record(self, place: str, state: State) -> Path:
        return self._folder / _FILES / f"{state[0]}-{_digest(place)[:32]}{_SUFFIX}"

    # -- results -----------------------------------------------------------------------------------------------

    def results(self, sound: Sound | None, analyses: Iterable[Analysis[Any]]) -> dict[Need[Any], Any]:
        """Give what is stored of some analyses, nothing where the sound is not known yet; arrays are read-only.

        The sources are looked at now in any case: an edit while the audio is heard must not go with its results.
        """
        found: dict[Need[Any], Any] = {}
        if sound is None:
            look_at(analyses)
            return found
        for analysis in analyses:
            with contextlib.suppress(UnknownFormError):
                form, key = form_of(result_of(type(analysis))), key_of(analysis, sound, self._versions)
                for result in self._read(self._place(sound, analysis, key), key, form):
                    found[analysis] = result
        return found

    def keep(self, sound: Sound, results: Mapping[Analysis[Any], Any]) -> None:
        """Store results; those of a type that is not known are left out."""
        for analysis, result in results.items():
            with contextlib.suppress(UnknownFormError):
                form, key = form_of(result_of(type(analysis))), key_of(analysis, sound, self._versions)
                self._write(self._place(sound, analysis, key), key, form, result)

    def recall(self, sound: Sound, analysis: Analysis[Any], on: Any, kind: type[T]) -> T | None:
        """Give what was worked out from an analysis' result before, `on` being all that it hangs on besides."""
        with contextlib.suppress(UnknownFormError):
            key = key_of_further(analysis, sound, self._versions, on)
            for found in self._read(self._named(sound, f"{analysis.id}.further", key), key, form_of(kind)):
                further: T = found
                return further
        return None

    def note(self, sound: Sound, analysis: Analysis[Any], on: Any, further: Any) -> None:
        """Store what `recall` gives the next time, in the place of what it gave before."""
        with contextlib.suppress(UnknownFormError):
            key = key_of_further(analysis, sound, self._versions, on)
            self._write(self._named(sound, f"{analysis.id}.further", key), key, form_of(type(further)), further)

    def _place(self, sound: Sound, analysis: Analysis[Any], key: str) -> Path:
        return self._named(sound, analysis.id, key)

    def _named(self, sound: Sound, name: str, key: str) -> Path:
        name = re.sub(r"[^a-z0-9.-]", "_", name.lower())[:60]
        return self._folder / sound.digest / f"{name}-{key[:32]}{_SUFFIX}"

    def tidy(self) -> None:
        """Take away what nobody used for long, once everything of this run is read; nothing if nothing was stored."""
        if self._written:
            sweep(self._folder)

    # -- files -------------------------------------------------------------------------------------------------

    def _read(self, path: Path, key: str, form: Form) -> tuple[Any, ...]:
        """Give what is stored in a place, nothing when there is none that can be used."""
        try:
            value = entry.read(path, key, form)
        except (FileNotFoundError, NotADirectoryError):
            return ()
        except DamagedError:
            self._say(f"what is stored in {shown(str(path), LONG)} is damaged; it is measured again")
            return ()
        except OSError as why:
            self._say(f"what is stored in {self._shown} cannot be read ({why.strerror}); it is measured again")
            return ()
        _touch(path)
        return (value,)

    def _write(self, path: Path, key: str, form: Form, value: Any) -> None:
        try:
            self._make(path.parent)
            entry.write(path, key, form, value)
            self._written = True
        except OSError as why:
            self._say(
                f"measurements are not stored in {self._shown} ({why.strerror}); the next run hears the audio again, "
                "unless --cache names another folder"
            )

    def _make(self, folder: Path) -> None:
        """Make a folder of the store; the store's own is marked as one that nobody needs to keep."""
        if folder.is_dir():
            return
        if not self._folder.is_dir() or not any(self._folder.iterdir()):
            self._folder.mkdir(parents=True, exist_ok=True)
            for name, text in (("CACHEDIR.TAG", NOTE), (".gitignore", "*\n")):
                (self._folder / name).write_text(text, encoding="utf-8")
        folder.mkdir(exist_ok=True)

    @property
    def _shown(self) -> str:
        return shown(str(self._folder), LONG)

    def _say(self, sentence: str) -> None:
        """Say a sentence, one of a kind."""
        kind = sentence.partition(" (")[0] if "damaged" not in sentence else "damaged"
        if kind not in self._said:
            self._said.add(kind)
            self._told(sentence)


def seal(results: Mapping[Need[Any], Any]) -> None:
    """Close the arrays of results that can be stored against writing, as they are when they come from the store."""
    for need, result in results.items():
        arrays: list[Array] = []
        with contextlib.suppress(UnknownFormError):
            form_of(result_of(type(need))).put(result, arrays)
            for array in arrays:
                array.flags.writeable = False


def sweep(folder: Path) -> None:
    """Take away what was not used for long, and what was never finished; nothing that is not the store's own."""
    now, gone = time.time(), set()
    for path in _own_files(folder):
        unfinished = path.name.startswith(entry.BESIDE)
        with contextlib.suppress(OSError):
            if now - path.lstat().st_mtime > (LEFT if unfinished else UNUSED):
                path.unlink()
                gone.add(path.parent)
    for inside in gone:
        with contextlib.suppress(OSError):  # what is not empty stays
            inside.rmdir()


def _own_files(folder: Path) -> Iterator[Path]:
    with contextlib.suppress(OSError):
        for inside in os.scandir(folder):
            if inside.is_dir(follow_symlinks=False) and (inside.name == _FILES or _SOUND.fullmatch(inside.name)):
                for one in os.scandir(inside):
                    if one.name.startswith(entry.BESIDE) or one.name.endswith(_SUFFIX):
                        yield Path(one.path)


def _touch(path: Path) -> None:
    """Note that something was used, once a day."""
    with contextlib.suppress(OSError):
        if time.time() - path.stat().st_mtime > DAY:
            os.utime(path)


def _digest(text: str) -> str:
    return hashlib.blake2b(os.fsencode(text), digest_size=32).hexdigest()
