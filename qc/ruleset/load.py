"""A ruleset loaded: the chain in SI, the limits as they are written with their lines, every source looked up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, NamedTuple

from packaging.version import InvalidVersion

import qc
from qc.delivery.fields import InputModel
from qc.files.yaml_source import Loc, YamlSource
from qc.groove.level.rows import EDGE, LevelPolicy
from qc.model.cutting_chain import Chain, Cut, DiscGeometry, NamedTip, Playback, Signal
from qc.model.errors import RulesetError
from qc.ruleset.ancestry import Read
from qc.ruleset.find import Available
from qc.ruleset.inheritance import Generation, generations
from qc.ruleset.level import policy_of, rows_of
from qc.ruleset.merge import Document, both, joined
from qc.ruleset.model import AbstractFile, ChainEntry, Entry, LimitEntry, ParameterEntry, RulesetFile, RulesetHead
from qc.ruleset.read import read_file
from qc.ruleset.released import digest, is_released
from qc.ruleset.sources import Sources
from qc.ruleset.tips import tip_rows, tips_of
from qc.ruleset.value_types import Between, Sourced
from qc.ruleset.versions import read_specifier, read_version


@dataclass(frozen=True, slots=True)
class RawLimit:
    """A limit as it is written, with the line it is written on."""

    warn: str | None
    fail: str | None
    source: str
    sets_level: Literal["warn", "fail"] | None = None
    origin: str = ""
    """"disc-12in-33/1.0.0.yaml:57" """
    path: Path | None = field(default=None, compare=False)
    """the file that holds it"""


@dataclass(frozen=True, slots=True)
class RawParameter:
    """A parameter of a check as it is written, with the line it is written on."""

    value: str
    source: str
    origin: str = ""
    """"disc-12in-33/1.0.0.yaml:57" """


@dataclass(frozen=True, slots=True)
class RawMeasure:
    """A measurement with limits and no code, as it is written."""

    measure: str
    title: str
    why: str
    remedy: str
    limits: Mapping[str, RawLimit]
    """"at_least", "at_most" -> limit"""
    origin: str = ""
    measured_at: str = ""
    """"FILE:LINE" of the measurement's name"""


class Extended(NamedTuple):
    """A ruleset that another extends, by the digest that its own reports name."""

    name: str
    version: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Ruleset:
    """The chain and the limits that a side is judged by."""

    name: str
    version: str
    sha256: str
    """of its file; where it extends another one, over that and the other's digest"""
    path: Path
    serves: tuple[str, str]
    """size, speed"""
    chain: Chain
    chain_rows: Mapping[str, Mapping[str, Mapping[str, str]]]
    """section -> name -> {"value": as written, "source": ...}; with "was" where it was changed for one run"""
    limits: Mapping[str, Mapping[str, RawLimit]]
    """check id -> limit key -> limit; every check that it names is here, also one without limits"""
    off: Mapping[str, str]
    """check id -> reason"""
    requires: Mapping[str, str]
    """distribution -> versions"""
    needs_tool: str | None
    origins: Mapping[str, str]
    """check id -> "FILE:LINE" of its entry under limits"""
    off_origins: Mapping[str, str]
    """check id -> "FILE:LINE" of its entry under off"""
    parameters: Mapping[str, Mapping[str, RawParameter]] = field(default_factory=dict)
    """check id -> parameter key -> parameter"""
    measures: Mapping[str, RawMeasure] = field(default_factory=dict)
    """check id -> measurement with limits and no code"""
    extends: tuple[Extended, ...] = ()
    """nearest first"""
    level_rows: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """"policy", "margin" -> {"value": as written, "source": ...}, as far as they are stated"""
    policy: LevelPolicy = EDGE
    """where the recommended level lies"""
    tips: tuple[NamedTip, ...] = ()
    """replay tips that it names"""
    tip_rows: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """name of a tip -> {"value": "8 x 18 um", "source": ...}"""

    @property
    def full_name(self) -> str:
        """Name and version as a delivery pins them."""
        return f"{self.name}@{self.version}"

    @property
    def all_limits(self) -> Mapping[str, Mapping[str, RawLimit]]:
        """The limits of every check, also of its measurements without code: check id -> limit key -> limit."""
        return {**self.limits, **{check: measure.limits for check, measure in self.measures.items()}}

    def entries(self, check: str) -> dict[str, RawLimit | RawParameter]:
        """Return the limits and the parameters of a check by key; empty where its file has none."""
        return {**self.all_limits.get(check, {}), **self.parameters.get(check, {})}

    def origin(self, check: str, key: str = "") -> str:
        """Return "FILE:LINE" of a limit or parameter, or of the check's entry where it is not written."""
        entries = self.entries(check)
        if key in entries:
            return entries[key].origin
        return self.measures[check].origin if check in self.measures else self.origins.get(check, "")


class _Lineage(NamedTuple):
    """The part of a ruleset that comes from those it extends and is not merged value by value."""

    extends: tuple[Extended, ...]
    """nearest first"""
    requires: Mapping[str, str]
    needs_tool: str | None
    sized: tuple[str, str] | None
    """full name and size of the nearest that serves a disc"""


def load_ruleset(found: Available | Path, sources: Sources, read: Read = read_file) -> Ruleset:
    """Load a ruleset file, which `read` reads, with all that it extends among the folders of the sources.

    Raises RulesetError with one sentence, "FILE:LINE: ...", also for a ruleset that is only there to be extended.
    """
    found = found if isinstance(found, Available) else Available(Path(found))
    lineage = _Lineage((), {}, None, None)
    ruleset: Ruleset | None = None
    for generation in generations(found, sources.folders, read):
        _is_sound(generation, sources, lineage)
        sha256 = digest(generation.document.files[0].sha256, lineage.extends[0].sha256 if lineage.extends else None)
        ruleset = _loaded(generation, generation.file, sha256, lineage)
        lineage = _with(generation.file, sha256, lineage)
    if ruleset is None:  # the last generation is the file itself
        own = generation.document.files[0]
        raise RulesetError(
            f"{own.at(('abstract',))}: {generation.file.name} is abstract: it can only be extended, not used by "
            "itself; name one of those that extend it, or the disc"
        )
    return ruleset


def _is_sound(generation: Generation, sources: Sources, lineage: _Lineage) -> None:
    """Refuse a file that is not what it is named, an unknown source, and the diameters of another size of disc."""
    there, document, file = generation
    own = document.files[0]
    _is_what_it_is_named(own, file, there)
    if not is_released(there.path, own.sha256):
        _every_source_is_there(document, file, sources)
    if lineage.sized is not None and file.serves is not None:
        _says_its_own_diameters(own, file.serves.size, *lineage.sized)


def _with(file: RulesetFile | AbstractFile, sha256: str, lineage: _Lineage) -> _Lineage:
    """Add one generation to a lineage."""
    return _Lineage(
        (Extended(file.name, file.version, sha256), *lineage.extends),
        joined(file.requires, lineage.requires),
        both(file.needs_tool, lineage.needs_tool),
        lineage.sized if file.serves is None else (f"{file.name}@{file.version}", file.serves.size),
    )


def _loaded(generation: Generation, file: RulesetFile | AbstractFile, sha256: str, lineage: _Lineage) -> Ruleset | None:
    """Load one generation; None for one that is only there to be extended."""
    if isinstance(file, AbstractFile):
        return None
    document = generation.document
    return Ruleset(
        name=file.name,
        version=file.version,
        sha256=sha256,
        path=generation.there.path,
        serves=(file.serves.size, file.serves.speed),
        chain=chain_of(file.chain, file.serves.size, file.serves.speed),
        chain_rows=file.chain.model_dump(),
        limits={check: _raw(document, ("limits", check), entries) for check, entries in file.limits.items()},
        off=dict(file.off),
        requires=joined(file.requires, lineage.requires),
        needs_tool=both(file.needs_tool, lineage.needs_tool),
        origins={check: document.origin(("limits", check)) for check in file.limits},
        off_origins={check: document.origin(("off", check)) for check in file.off},
        parameters={check: _parameters(document, check, entries) for check, entries in file.limits.items()},
        measures=_measures(document, file),
        extends=lineage.extends,
        level_rows=rows_of(file.level),
        policy=policy_of(file.level),
        tips=tips_of(file.tips),
        tip_rows=tip_rows(file.tips),
    )


def _parameters(document: Document, check: str, entries: Mapping[str, Entry]) -> dict[str, RawParameter]:
    return {
        key: RawParameter(entry.value, entry.source, document.origin(("limits", check, key)))
        for key, entry in entries.items()
        if isinstance(entry, ParameterEntry)
    }


def _raw(document: Document, loc: Loc, entries: Mapping[str, Entry]) -> dict[str, RawLimit]:
    return {
        key: RawLimit(
            limit.warn,
            limit.fail,
            limit.source,
            limit.sets_level,
            document.origin((*loc, key)),
            document.holder((*loc, key)).path,
        )
        for key, limit in entries.items()
        if isinstance(limit, LimitEntry)
    }


def _measures(document: Document, file: RulesetFile) -> dict[str, RawMeasure]:
    return {
        check: RawMeasure(
            entry.measure, entry.title or "", entry.why, entry.remedy,
            limits=_raw(document, ("measures", check), entry.limits), origin=document.origin(("measures", check)),
            measured_at=document.origin(("measures", check, "measure")),
        )
        for check, entry in file.measures.items()
    }  # fmt: skip


def missing_requirements(ruleset: Ruleset, installed: Mapping[str, str]) -> list[str]:
    """Return a sentence for each requirement that `installed` (distribution -> version) does not fulfil.

    The tool itself is always there.
    """
    if not ruleset.requires:
        return []
    there = {"sidegate": qc.__version__, **installed}
    missing = []
    for name, wanted in ruleset.requires.items():
        version = there.get(name) or _otherwise_written(name, there)
        needs = f"{ruleset.name}@{ruleset.version} requires {name} {wanted}"
        if version is None:
            missing.append(f"{needs}, which is not installed; install it, or name another ruleset")
        elif not _is_within(version, wanted):
            missing.append(f"{needs}, and {version} is installed; install such a version, or name another ruleset")
    return missing


def _otherwise_written(name: str, there: Mapping[str, str]) -> str | None:
    """Return the version of a distribution whose name is written in another way, as lowtide.rules for lowtide-rules."""
    from packaging.utils import canonicalize_name  # only here: it looks the whole machine over

    return {canonicalize_name(other): version for other, version in there.items()}.get(canonicalize_name(name))


def _is_within(version: str, wanted: str) -> bool:
    try:
        return read_specifier(wanted).contains(read_version(version), prereleases=True)
    except InvalidVersion:  # a distribution may call itself anything
        return False


def _is_what_it_is_named(yaml_source: YamlSource, file: RulesetHead, found: Available) -> None:
    """Refuse a file that says another name or version than its place says."""
    if found.name and file.name != found.name:
        raise RulesetError(
            f'{yaml_source.at(("name",))}: the name is "{file.name}", and the folder is called "{found.name}"; '
            "they must be the same"
        )
    if found.version and read_version(file.version) != read_version(found.version):
        raise RulesetError(
            f"{yaml_source.at(('version',))}: the version is {file.version}, and the file is named for "
            f"{found.version}; they must be the same"
        )


def _says_its_own_diameters(own: YamlSource, size: str, parent: str, size_of_parent: str) -> None:
    """Refuse a disc of another size whose diameters would be those of the size that it was taken from."""
    if size == size_of_parent:
        return
    disc = (own.data.get("chain") or {}).get("disc") or {}
    if lacking := [f"chain.disc.{name}" for name in ("outer", "finishing") if name not in disc]:
        raise RulesetError(
            f"{own.at(('serves',))}: {parent} is for a {size_of_parent} disc, and a {size} "
            f"disc has diameters of its own; add {' and '.join(lacking)}"
        )


def _every_source_is_there(document: Document, file: RulesetFile | AbstractFile, sources: Sources) -> None:
    for loc, source in _cited(file):
        fault = sources.fault(source)
        if fault is not None:
            raise RulesetError(f"{document.at((*loc, 'source'))}: {fault}")


def _cited(file: RulesetFile | AbstractFile) -> Iterator[tuple[Loc, str]]:
    for section, part in _sections(file.chain):
        for name, entry in _entries(part):
            yield ("chain", section, name), entry.source
    for name, row in rows_of(file.level).items():
        yield ("level", name), row["source"]
    for name, row in tip_rows(file.tips).items():
        yield ("tips", name), row["source"]
    for check, limits in file.limits.items():
        for key, limit in limits.items():
            yield ("limits", check, key), limit.source
    for check, measure in file.measures.items():
        for key, limit in measure.limits.items():
            yield ("measures", check, key), limit.source


def _sections(chain: ChainEntry | Mapping[str, Mapping[str, Sourced]]) -> Iterator[tuple[str, Any]]:
    if isinstance(chain, Mapping):
        yield from chain.items()
    else:
        yield from ((name, getattr(chain, name)) for name in ChainEntry.model_fields)


def _entries(part: InputModel | Mapping[str, Sourced]) -> Iterator[tuple[str, Sourced]]:
    if isinstance(part, Mapping):
        yield from part.items()
    else:
        yield from ((name, getattr(part, name)) for name in type(part).model_fields)


def chain_of(chain: ChainEntry, size: str, speed: str) -> Chain:
    """Return a chain in SI, for a disc of a size and speed."""
    return Chain(
        signal=Signal(**_values(chain.signal)),
        cut=Cut(**_values(chain.cut)),
        disc=DiscGeometry(size=size, speed=speed, **_values(chain.disc)),
        playback=Playback(**_values(chain.playback)),
    )


def _values(part: InputModel) -> dict[str, Any]:
    """Return a section in SI, by the units that its model states; words stay words."""
    values: dict[str, Any] = {}
    for name, entry in _entries(part):
        bounds = [bound for bound in type(part).model_fields[name].metadata if isinstance(bound, Between)]
        values[name] = bounds[0].in_si(entry) if bounds else entry.value
    return values
