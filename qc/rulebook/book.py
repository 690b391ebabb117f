"""The material of the pages: the checks of a host, the rulesets chosen, and the sources they cite."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from qc import api
from qc.judge.bind import bind
from qc.model.errors import PluginError
from qc.plugin_host.host import Host
from qc.rulebook.markdown import anchors, code, link, text
from qc.rulebook.words import meanings
from qc.ruleset.find import Available, available, find
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset
from qc.ruleset.meanings import MEANINGS
from qc.ruleset.read import is_abstract
from qc.ruleset.sources import Sources, keys_of

INDEX, SOURCES, MEASUREMENTS, CHAIN, LIMITS = "README.md", "sources.md", "measurements.md", "chain.md", "limits.md"
CHECKS = "checks/"
TITLES = {
    INDEX: "Rulebook", SOURCES: "Sources", MEASUREMENTS: "Measurements", CHAIN: "The chain", LIMITS: "Limits",
}  # fmt: skip
OWN_WORDS = "In a house's own words"


class Citation(NamedTuple):
    """A source as one place of a ruleset cites it."""

    key: str
    check: str
    """id, empty for a value of the chain"""
    place: str
    """limit, or key of the chain"""


@dataclass(frozen=True)
class Book:
    """Everything that is on the pages, read once."""

    host: Host
    rulesets: tuple[Ruleset, ...]
    sources: Sources
    units: Mapping[str, str]
    """measurement name -> unit"""
    meanings: Mapping[str, str]
    """measurement name -> sentence"""

    @classmethod
    def of(cls, host: Host, rulesets: Sequence[str] = ()) -> Book:
        """Read the rulesets named (none named: the newest of each name), and bind them to the checks.

        Raises RulesetError or PluginError, one sentence: a page that left something out would not say so.
        """
        if host.failures:
            raise PluginError(f"{host.failures[0].message}; without it the rulebook would not be whole")
        shelf = Shelf(host.ruleset_folders)
        chosen = [find(spec, shelf.folders) for spec in rulesets] or _newest(shelf)
        loaded = tuple({there.path.resolve(): shelf.load(there) for there in chosen}.values())
        units = api.units(host.needs)
        for ruleset in loaded:
            bind(ruleset, host.checks, units, (), host.runner, api.of_groove(host.needs))
        return cls(host, loaded, shelf.sources, units, meanings(host))

    def cited(self) -> Iterator[Citation]:
        """Yield every source of every chain value, limit and parameter."""
        for ruleset in self.rulesets:
            for section, values in ruleset.chain_rows.items():
                for name, row in values.items():
                    yield from (Citation(key, "", f"{section}.{name}") for key in keys_of(row["source"]))
            for check in ruleset.limits:
                for name, entry in ruleset.entries(check).items():
                    yield from (Citation(key, check, name) for key in keys_of(entry.source))

    def link_sources(self, keys: Iterable[str], up: str = "") -> str:
        """Link keys to their sources; `up` is the way to the folder of that page."""
        return ", ".join(dict.fromkeys(self._linked(key, up) for key in keys))

    def link_measurement(self, name: str, up: str = "") -> str:
        """Link a measurement."""
        return link(code(name), f"{up}{MEASUREMENTS}#{self._measurement_anchors[name]}")

    def link_value(self, key: str, page: str = CHAIN) -> str:
        """Link a value of the chain; `page` is empty on its own page."""
        return link(code(key), f"{page}#{self._value_anchors[key]}")

    def _linked(self, key: str, up: str) -> str:
        return link(text(key), f"{up}{SOURCES}#{self._source_anchors[key]}") if key in self.sources else text(key)

    @cached_property
    def _source_anchors(self) -> Mapping[str, str]:
        return anchors([TITLES[SOURCES], *self.sources])

    @cached_property
    def _measurement_anchors(self) -> Mapping[str, str]:
        return anchors([TITLES[MEASUREMENTS], *headings(by_area(self.units))])

    @cached_property
    def _value_anchors(self) -> Mapping[str, str]:
        return anchors([TITLES[CHAIN], *headings(by_area(MEANINGS, in_order=True))])


def _newest(shelf: Shelf) -> list[Available]:
    newest = {there.name: there for there in available(shelf.folders) if there.released}
    found = (newest[name] for name in sorted(newest))
    return [there for there in found if not is_abstract(shelf.read(there.path))]


def link_check(check: str, folder: str = CHECKS) -> str:
    """Link the page of a check; `folder` is the way to it, with its slash."""
    return link(code(check), f"{folder}{check}.md")


def by_area(names: Iterable[str], *, in_order: bool = False) -> Mapping[str, Sequence[str]]:
    """Group names by the part before their first dot; sorted, or in the order in which they come."""
    found: dict[str, list[str]] = {}
    for name in names if in_order else sorted(names):
        found.setdefault(name.partition(".")[0], []).append(name)
    return found


def headings(areas: Mapping[str, Sequence[str]]) -> list[str]:
    """Return the headings of a page about names: each area, then its names."""
    return [heading for part, names in areas.items() for heading in (part, *names)]
