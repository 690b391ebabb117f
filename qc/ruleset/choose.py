"""The choice of a ruleset: the one that judges a delivery, and the one of every other disc."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from qc.delivery.model import Disc
from qc.delivery.reader import ReadDelivery
from qc.model.discs import DISCS, disc_name
from qc.model.errors import PluginError, RulesetError, SidegateError, UsageError
from qc.plugin_host.host import Host
from qc.ruleset.find import Available, find, is_path
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset, missing_requirements
from qc.ruleset.overrides import Change, changed
from qc.ruleset.read import is_abstract
from qc.text.sanitize import shown
from qc.text.suggest import meant


def choose(read: ReadDelivery, asked: str | None, host: Host, shelf: Shelf | None = None) -> Ruleset:
    """Find the ruleset: the one asked for, else the one the delivery names, else the one that serves its disc."""
    shelf, delivery = shelf or Shelf(host.ruleset_folders), read.delivery
    spec = asked or delivery.ruleset
    if asked is None and delivery.ruleset is not None and is_path(delivery.ruleset):
        raise RulesetError(
            f"{read.yaml_source.at(('ruleset',))}: a delivery names its ruleset as NAME@VERSION, not by a path; "
            "a ruleset file is given with --ruleset"
        )
    try:
        if spec is not None:
            there = find(spec, shelf.folders)
            _is_to_be_used(there, delivery.disc, shelf)
        else:
            assert delivery.disc is not None  # the delivery model asks for one of the two
            there = shelf.serving(delivery.disc.size, delivery.disc.speed)
    except RulesetError as error:
        if asked is None:
            where = read.yaml_source.at(("ruleset",) if delivery.ruleset else ("disc",))
            raise RulesetError(f"{where}: {error}") from None
        raise
    ruleset = loaded(there, host, shelf)
    disc = delivery.disc
    if disc is not None and ruleset.serves != (disc.size, disc.speed):
        size, speed = ruleset.serves
        raise RulesetError(
            f"{read.yaml_source.at(('disc',))}: the delivery is for {disc.size} at {disc.speed}, ruleset {ruleset.name}"
            f"@{ruleset.version} serves {size} at {speed}; correct the disc or choose another ruleset"
        )
    return ruleset


def _is_to_be_used(there: Available, disc: Disc | None, shelf: Shelf) -> None:
    """Refuse an abstract ruleset that was named; what a path leads to is refused by its line when it is loaded."""
    if not there.name or not is_abstract(shelf.read(there.path)):
        return
    try:
        example = f" such as {shelf.serving(*(DISCS[0] if disc is None else (disc.size, disc.speed))).name}"
    except RulesetError:  # none or several serve the disc
        example = ""
    otherwise = "give the disc" if disc is None else "none, and the disc finds its own"
    raise RulesetError(f"{there.name} is only there to be extended; name a ruleset{example}, or {otherwise}")


def for_disc(name: str, host: Host, shelf: Shelf) -> Ruleset:
    """Find the ruleset of a disc by its name, "12in-45"; raises UsageError when there is no such disc."""
    discs = {disc_name(*disc): disc for disc in DISCS}
    if name not in discs:
        raise UsageError(f"--disc {shown(name)}: there is no such disc; {meant(name, discs)}")
    return loaded(shelf.serving(*discs[name]), host, shelf)


def others(
    ruleset: Ruleset, changes: Sequence[Change], host: Host, shelf: Shelf
) -> Iterator[tuple[str, Ruleset | SidegateError]]:
    """Yield every other disc by name with the ruleset that serves it, or the error that loading it raised.

    Changes of the chain are made there too, but for those of the disc itself, which are of the planned disc alone.
    """
    for disc in DISCS:
        if disc == ruleset.serves:
            continue
        try:
            other = loaded(shelf.serving(*disc), host, shelf)
            yield disc_name(*disc), changed(other, [change for change in changes if change.section != "disc"])
        except SidegateError as error:
            yield disc_name(*disc), error


def loaded(there: Available, host: Host, shelf: Shelf) -> Ruleset:
    """Load a ruleset; raises PluginError when it requires what is not there."""
    ruleset = shelf.load(there)
    loaded = {plugin.package: plugin.version for plugin in host.plugins if plugin.error is None}
    if lacking := missing_requirements(ruleset, loaded):
        raise PluginError(lacking[0])
    return ruleset
