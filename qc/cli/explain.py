"""`sidegate explain`: what a check finds and by which limits, what any other name of the tool means."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

from qc import api
from qc.cli import chain_value
from qc.cli.explained_plugin_parts import write_format, write_hook
from qc.cli.plugin_host import host_of
from qc.cli.streams import emit
from qc.cli.terminal import colour, width
from qc.judge.bind import bind
from qc.judge.bound_limits import bound_limits
from qc.judge.left_out import LeftOutPlugins
from qc.judge.parameters import bound_parameters
from qc.judge.yaml_checks import made, owners
from qc.model.errors import UsageError
from qc.model.names import limit_key
from qc.model.quantity import with_unit
from qc.model.report import HeldLimit, ParameterFacts
from qc.plugin_base import Check, Limit
from qc.plugin_host.host import Host
from qc.plugin_host.spec import HOOKS
from qc.report.registry import with_plugins
from qc.report.text.report import LEAST, MOST
from qc.rulebook.words import SILENT, finds, judging, meanings, publisher, side_of, trust
from qc.ruleset.choose import named
from qc.ruleset.library import Shelf
from qc.ruleset.load import Ruleset
from qc.ruleset.meanings import MEANINGS as MEANINGS_OF_CHAIN
from qc.ruleset.meanings import OF_LEVEL
from qc.ruleset.sources import HOUSE, Sources, keys_of
from qc.text.numbers import both, parameter_text
from qc.text.page import Page
from qc.text.sanitize import shown

LABEL = 12
OTHERS = "Other discs may have other limits: --ruleset disc-7in-45 shows those; sidegate rulesets lists all."


def explain(words: argparse.Namespace) -> int:
    """Explain a check, a measurement, a value of the chain, a format or a hook; raises UsageError for another name."""
    host = host_of(words)
    page = Page(min(max(width(), LEAST), MOST), colour=colour(), ascii_only=words.ascii)
    formats = with_plugins(host.renderers)
    if words.name in HOOKS or words.name in formats:
        if words.name in HOOKS:
            write_hook(page, words.name, host)
        else:
            write_format(page, formats[words.name], host)
        emit(page.text.encode("utf-8", "replace"))
        return 0
    shelf = Shelf.of(host)
    ruleset = shelf.load(named(words.ruleset, host, shelf) if words.ruleset else shelf.serving("12in", "33"))
    sources, left_out = shelf.sources_of(ruleset.path), LeftOutPlugins(host, ruleset, api.units(host.needs))
    left_out.refuse_switched_off()
    lost = (*left_out.checks, *left_out.off)
    host = _with_its_own(host, ruleset, lost)
    published = dict(api.units(host.needs))
    name = words.name.partition("/")[0]  # reports name a limit as CHECK/LIMIT
    if name not in host.checks and name not in {*published, *MEANINGS_OF_CHAIN, *OF_LEVEL}:
        near = _near(name, host, [*published, *MEANINGS_OF_CHAIN, *OF_LEVEL, *formats, *HOOKS])
        what = "no check, measurement, value of the chain, format or hook"
        raise UsageError(f'explain: {what} is called "{shown(name)}"; {near}')
    installed = {check: kind for check, kind in host.checks.items() if check not in ruleset.measures}
    groove = api.of_groove(host.needs)
    whole = bind(ruleset, installed, api.units(host.needs), lost, host.runner, groove)
    bound = {check.id: check for check in whole.checks}
    if name in MEANINGS_OF_CHAIN:
        _sources(page, chain_value.write_value(page, name, ruleset), sources)
    elif name in OF_LEVEL:
        _sources(page, chain_value.write_policy(page, name, ruleset), sources)
    elif name in host.checks:
        _check(page, host, host.checks[name], ruleset, bound.get(name), sources)
    else:
        _measurement(page, host, name, published[name], ruleset, bound_limits(bound.values()))
    emit(page.text.encode("utf-8", "replace"))
    return 0


def names(host: Host) -> list[str]:
    """Return all names that can be explained, sorted."""
    chain = {*MEANINGS_OF_CHAIN, *OF_LEVEL}
    return sorted({*host.checks, *api.units(host.needs), *chain, *with_plugins(host.renderers), *HOOKS})


def _near(name: str, host: Host, published: Iterable[str]) -> str:
    """Suggest similar names, and names that contain the word."""
    valid = sorted({*host.checks, *published})
    word = name.casefold().replace("_", "-").strip()
    folded = {valid_name.replace("_", "-"): valid_name for valid_name in valid}
    ends = {spelling.partition(".")[2]: spelling for spelling in folded}
    holding = [spelling for spelling in folded if len(word) > 2 and word in spelling]
    alike = sorted(holding, key=lambda spelling: folded[spelling] not in host.checks)
    alike += difflib.get_close_matches(word, folded, n=3, cutoff=0.6)
    alike += [ends[end] for end in difflib.get_close_matches(word, ends, n=2, cutoff=0.7)]
    nearest = [folded[spelling] for spelling in dict.fromkeys(alike)][:4]
    if nearest:
        return f"did you mean {' or '.join(nearest)}?"
    areas = sorted({valid_name.partition(".")[0] for valid_name in valid if "." in valid_name})
    return f"names begin with {', '.join(f'{area}.' for area in areas)}; sidegate completion --list names gives all"


def _with_its_own(host: Host, ruleset: Ruleset, lost: Collection[str]) -> Host:
    """Return the host with the checks that a ruleset defines without code, but for those `lost` with a plugin."""
    own = made(ruleset, host.checks, api.units(host.needs), lost)
    return replace(host, checks={**host.checks, **own}, owner={**host.owner, **owners(ruleset)})


def _check(
    page: Page, host: Host, kind: type[Check[Any]], ruleset: Ruleset, check: Check[Any] | None, sources: Sources
) -> None:
    page.say(f"{kind.id}: {kind.title}", body="bold")
    page.blank()
    for label, words in (
        ("finds", finds(kind)),
        ("why", kind.why),
        ("how", kind.how),
        ("cannot see", kind.blind_to),
        ("finds from", kind.sensitivity),
        ("remedy", kind.remedy),
        ("brought by", _owner(host.owner[kind.id])),
    ):
        if words:
            page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)
    page.blank()
    where = f"{ruleset.name}@{ruleset.version}"
    if check is None:
        off = ruleset.off.get(kind.id)
        why = f"is off, {ruleset.off_origins[kind.id]}: {off}" if off else "does not name it; it is not judged"
        page.say(f"{where} {why}", label="limits".ljust(LABEL), style="bold")
        return
    limits = {key: getattr(check.limits, key) for key in type(check.limits).model_fields}
    bound = {key: limit for key, limit in limits.items() if isinstance(limit, Limit)}
    page.say(f"as {where} sets them" if bound else f"none, in {where}", label="limits".ljust(LABEL), style="bold")
    if bound:
        page.say(OTHERS, indent=LABEL, label=" " * LABEL, body="dim")
    for key, limit in bound.items():
        _limit(page, check, key, limit)
    parameters = bound_parameters([check], ruleset)
    _parameters(page, check, parameters)
    cited = [limit.source for limit in bound.values()] + [facts.source for facts in parameters.values() if facts.origin]
    _sources(page, [key for source in cited for key in keys_of(source)], sources)


def _owner(owner: str) -> str:
    return f"the {owner}" if owner.startswith("ruleset ") else f"the plugin {owner}"


def _limit(page: Page, check: Check[Any], key: str, limit: Limit) -> None:
    page.say(f"{key}: {_values(limit)}", label="  ", indent=4)
    for name, judged in check.judges.items():
        if limit_key(name) == key:
            of = f", {judged.of}" if judged.of else ""
            page.say(f"{side_of(judged)}, compared with {judged.measure}{of}", label="      ")
    level = f"; {limit.sets_level} sets the cut level" if limit.sets_level else ""
    page.say(f"source {limit.source}{level}; set in {limit.origin}", label="      ", body="dim")


def _parameters(page: Page, check: Check[Any], parameters: Mapping[str, ParameterFacts]) -> None:
    """Write the value of each parameter, what it is, and where it is set."""
    fields = type(check.limits).model_fields
    for index, (name, facts) in enumerate(parameters.items()):
        key = name.partition("/")[2]
        if not index:
            page.say("as the ruleset or the check sets them", label="parameters".ljust(LABEL), style="bold")
        page.say(f"{key}: {parameter_text(facts)}", label="  ", indent=4)
        page.say(fields[key].description or "", label="      ")
        page.say(
            f"source {facts.source}; set in {facts.origin}" if facts.origin else facts.source,
            label="      ",
            body="dim",
        )


def _values(limit: Limit) -> str:
    values = (("warn", limit.warn), ("fail", limit.fail))
    return ", ".join(f"{word} {with_unit(f'{value:.6g}', limit.unit)}" for word, value in values if value is not None)


def _sources(page: Page, keys: Iterable[str], sources: Sources) -> None:
    """Write each source once: title, figure and confidence."""
    for index, key in enumerate(dict.fromkeys(keys)):
        label = ("sources" if not index else "").ljust(LABEL)
        if key.startswith(HOUSE) or key not in sources:
            page.say(key, label=label, style="bold", indent=LABEL)
            continue
        source = sources[key]
        words = f"{key}: {source.title}: {source.figure} (confidence: {trust(source)})"
        page.say(words, label=label, style="bold", indent=LABEL)


def _measurement(
    page: Page, host: Host, name: str, unit: str, ruleset: Ruleset, limits: Mapping[str, HeldLimit]
) -> None:
    """Write the unit, meaning, publisher and checks of a measurement."""
    page.say(f"{name}, {'a plain number' if unit == '1' else f'in {unit}'}", body="bold")
    page.blank()
    page.say(meanings(host).get(name, SILENT), label="is".ljust(LABEL), style="bold", indent=LABEL)
    page.say(publisher(host, name), label="from".ljust(LABEL), style="bold", indent=LABEL)
    checks = {check: host.checks[check] for check, _, _ in judging(host, name)}
    if not checks:
        page.say("no check; it is in every report", label="judged by".ljust(LABEL), style="bold", indent=LABEL)
    for index, (check, kind) in enumerate(checks.items()):
        page.say(
            f"{check}: {kind.title}", label=("" if index else "judged by").ljust(LABEL), style="bold", indent=LABEL
        )
        for key, limit in limits.items():
            if limit.measure == name and key.startswith(f"{check}/"):
                words = f"{key.partition('/')[2]}: warn/fail {both(limit)} in {ruleset.name}@{ruleset.version}"
                page.say(f"{words}, set in {limit.origin}", label=" " * (LABEL + 2), indent=LABEL + 4)
