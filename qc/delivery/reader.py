"""Reads a delivery: a YAML file, or the folder that holds delivery.yaml. Missing audio is judged later."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.delivery.checksum_files import places
from qc.delivery.model import FOUR, Delivery
from qc.files.yaml_source import Loc, YamlSource, load_yaml, parse_yaml, validate
from qc.model.errors import DeliveryError
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from collections.abc import Iterator

_NAME = "delivery.yaml"
_PLANNED = {
    "fold_down": 'fold-downs are not judged yet; deliver two channels and leave "fold_down" out',
    "reference": 'reference files are not compared yet; leave "reference" out',
    "lineup": 'line-up tones are not measured yet; leave "lineup" out',
}


@dataclass(frozen=True, slots=True)
class ReadDelivery:
    """A delivery as it was read, with its folder, the digest of its file and its lines."""

    delivery: Delivery
    folder: Path
    file: Path
    sha256: str
    audio: Mapping[str, Path]
    """side id -> where its one file should be, links resolved; nothing says that a file is there"""
    yaml_source: YamlSource
    track_audio: Mapping[str, tuple[Path, ...]] = field(default_factory=dict)
    """side id -> where its files, one a track, should be"""

    @property
    def files(self) -> tuple[Path, ...]:
        """All files of the delivery: the delivery file, its audio, and its lists of digests."""
        named = [(side.audio, *(track.audio for track in side.tracks)) for side in self.delivery.sides]
        lists = [path for names in named for name in names if name for path in places(self.folder, name)]
        tracks = [path for paths in self.track_audio.values() for path in paths]
        return (self.file, *self.audio.values(), *tracks, *lists)

    def line(self, loc: Loc) -> int:
        """Return the line, counted from 1, of the deepest part of `loc` that is in the file."""
        return self.yaml_source.line(loc)


def read_delivery(path: Path) -> ReadDelivery:
    """Read a delivery file, or the delivery.yaml of a folder.

    Raises DeliveryError with one sentence, "FILE:LINE: ...", for whatever cannot be used. An audio file that
    is missing or odd is no error here.
    """
    path = Path(path)
    name = shown(str(path), longest=500)
    if not os.path.lexists(path):
        raise DeliveryError(f"{name}: there is no such file or folder; give a delivery file, or the folder of {_NAME}")
    if path.is_dir():
        if not os.path.lexists(path / _NAME):
            raise DeliveryError(f"{name}: the folder holds no {_NAME}; add it, or name the delivery file itself")
        path = path / _NAME
    return _checked(load_yaml(path, "delivery", DeliveryError), path, path.parent)


def parse_delivery(text: bytes, file: Path, folder: Path) -> ReadDelivery:
    """Read a delivery from the text of its YAML; `file` is where it comes from, `folder` holds the audio."""
    name = shown(str(file), longest=500)
    return _checked(parse_yaml(text, name, "delivery", DeliveryError, path=file), file, folder)


def _checked(yaml_source: YamlSource, file: Path, folder: Path) -> ReadDelivery:
    # unsupported keys are reported first, before faults in a file that will be rejected anyway
    for loc, sentence in _not_built_yet(yaml_source.data):
        raise DeliveryError(f"{yaml_source.at(loc)}: {sentence}")
    delivery = validate(yaml_source, Delivery, DeliveryError)
    audio, track_audio = {}, {}
    for i, side in enumerate(delivery.sides):
        if side.audio is not None:
            audio[side.id] = _inside(yaml_source, folder, side.audio, ("sides", i, "audio"))
        else:
            track_audio[side.id] = tuple(
                _inside(yaml_source, folder, str(track.audio), ("sides", i, "tracks", j, "audio"))
                for j, track in enumerate(side.tracks)
            )
    return ReadDelivery(delivery, folder, file, yaml_source.sha256, audio, yaml_source, track_audio)


def _not_built_yet(data: Mapping[str, Any]) -> Iterator[tuple[Loc, str]]:
    """Find what the schema plans and nothing judges yet, in the raw data and in its order."""
    for i, side in _mappings(data.get("sides")):
        for key, value in side.items():
            at = ("sides", i, key)
            if key in _PLANNED:
                yield at, _PLANNED[key]
            if key == "channels" and isinstance(value, list) and (len(value) == len(FOUR) or set(FOUR) & _words(value)):
                yield (
                    at,
                    "four-channel sources are not judged yet; deliver the two channels that are to be cut",
                )


def _mappings(items: Any) -> Iterator[tuple[int, Mapping[str, Any]]]:
    if isinstance(items, list):
        yield from ((i, item) for i, item in enumerate(items) if isinstance(item, Mapping))


def _words(items: list[Any]) -> set[str]:
    return {item for item in items if isinstance(item, str)}


def _inside(yaml_source: YamlSource, folder: Path, name: str, loc: Loc) -> Path:
    """Resolve links, and refuse a file that one of them takes out of the folder."""
    home, real = Path(os.path.realpath(folder)), Path(os.path.realpath(folder / name))
    if not real.is_relative_to(home):
        what = f'"{shown(name)}" leads through a link out of the delivery\'s folder'
        raise DeliveryError(f"{yaml_source.at(loc)}: {what}; put the file itself there")
    return real
