"""The choice of a ruleset: the one that judges a delivery, and the one of every other disc."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from qc.delivery.model import Disc
from qc.delivery.reader import ReadDelivery
from qc.model.discs import DISCS, disc_name
from qc.model.errors import MissingRulesetError, PluginError, RulesetError, SidegateError, UsageError
from qc.model.report import PluginFailure
from qc.plugin_host.host import Host, Plugin
from qc.ruleset.find import Available, is_path
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset, missing_requirements
from qc.ruleset.overrides import Change, changed
from qc.ruleset.read import is_abstract
from qc.text.sanitize import shown
from qc.text.suggest import meant


class Chosen(NamedTuple):
    """The ruleset that judges, and why it is not the one asked for: a failure of each plugin that may have that one."""

    ruleset: Ruleset
    failures: tuple[PluginFailure, ...] = ()


def chosen(read: ReadDelivery, asked: str | None, host: Host, shelf: Shelf) -> Chosen:
    """Choose as `choose` does, and judge by the ruleset of the disc where a plugin that has another did not load.

    Raises PluginError, which names the plugin, where no other ruleset can be chosen.
    """
    try:
        return Chosen(_chosen(read, asked, host, shelf))
    except MissingRulesetError as error:
        suspects, spec, disc = _suspects(host, error), asked or read.delivery.ruleset, read.delivery.disc
        if spec is None or is_path(spec) or disc is None:
            raise _of_plugin(suspects, error) from None
    try:
        ruleset = loaded(shelf.serving(disc.size, disc.speed), host, shelf)
    except MissingRulesetError as error:
        raise _of_plugin(suspects, error) from None
    message = (
        f'the ruleset "{shown(spec)}" is not there, and may be one of this plugin, which did not load; judged by '
        f"{ruleset.full_name} instead, which serves the disc"
    )
    return Chosen(
        ruleset, tuple(PluginFailure(plugin=plugin.name, stage="qc_rulesets", message=message) for plugin in suspects)
    )


def choose(read: ReadDelivery, asked: str | None, host: Host, shelf: Shelf | None = None) -> Ruleset:
    """Find the ruleset: the one asked for, else the one the delivery names, else the one that serves its disc.

    Raises RulesetError, or PluginError where a plugin that did not load may have it.
    """
    try:
        return _chosen(read, asked, host, shelf or Shelf.of(host))
    except MissingRulesetError as error:
        raise _of_plugin(_suspects(host, error), error) from None


def named(spec: str, host: Host, shelf: Shelf) -> Available:
    """Find the ruleset of a name or path.

    Raises RulesetError, or PluginError where a plugin that did not load may have it.
    """
    try:
        return shelf.find(spec)
    except MissingRulesetError as error:
        raise _of_plugin(_suspects(host, error), error) from None


def _suspects(host: Host, error: MissingRulesetError) -> tuple[Plugin, ...]:
    """Return the plugins that did not load and may have a missing ruleset; raises the error where there is none.

    Raises UsageError where a plugin that was switched off may have it.
    """
    for plugin in host.without:
        if plugin.may_answer("qc_rulesets"):
            raise needed_without(plugin.name, f"it may have what is missing ({error})")
    suspects = tuple(plugin for plugin in host.left_out if plugin.folders is None)
    if not suspects:
        raise error
    return suspects


def _of_plugin(suspects: Sequence[Plugin], error: MissingRulesetError) -> PluginError:
    return PluginError(f"{suspects[0].error}; this plugin may have what is missing: {error}")


def needed_without(plugin: str, why: str) -> UsageError:
    """Return the error of a plugin that was switched off and is needed."""
    off = f'the plugin "{shown(plugin)}" is switched off by --without or SIDEGATE_WITHOUT'
    return UsageError(f"{off}, and this run needs it: {why}; leave it on")


def _chosen(read: ReadDelivery, asked: str | None, host: Host, shelf: Shelf) -> Ruleset:
    delivery = read.delivery
    spec = asked or delivery.ruleset
    if asked is None and delivery.ruleset is not None and is_path(delivery.ruleset):
        raise RulesetError(
            f"{read.yaml_source.at(('ruleset',))}: a delivery names its ruleset as NAME@VERSION, not by a path; "
            "a ruleset file is given with --ruleset"
        )
    try:
        if spec is not None:
            there = shelf.find(spec)
            _is_to_be_used(there, delivery.disc, shelf)
        else:
            assert delivery.disc is not None  # the delivery model asks for one of the two
            there = shelf.serving(delivery.disc.size, delivery.disc.speed)
    except RulesetError as error:
        if asked is None:
            where = read.yaml_source.at(("ruleset",) if delivery.ruleset else ("disc",))
            raise type(error)(f"{where}: {error}") from None
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
    """Load a ruleset; raises PluginError when it requires what is not installed.

    A required plugin that is installed and did not load is reported as a failure, and the others judge.
    """
    ruleset = shelf.load(there)
    installed = {plugin.package: plugin.version for plugin in (*host.plugins, *host.without)}
    if lacking := missing_requirements(ruleset, installed):
        raise PluginError(lacking[0])
    return ruleset
