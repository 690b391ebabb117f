"""Results of hooks: each function accepts what one hook returned, or refuses it in a sentence."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.model.names import CHECK_ID, FORMAT_NAME
from qc.text.sanitize import shown
from qc.text.suggest import meant

if TYPE_CHECKING:
    from qc.plugin_base import Check, Model, Need, Renderer

_TEXTS = ("title", "why", "how", "remedy")


class RefusedError(Exception):
    """A result of a plugin that cannot be used; the text says why."""


def checks(result: object) -> tuple[type[Check[Any]], ...]:
    """Return the result of qc_checks, classes of Check with an id, texts and Limits; raises RefusedError."""
    from qc.model.parameters import is_limit
    from qc.plugin_base import Check, ForClient, Judged, Model

    found = _classes(result, Check, "qc_checks")
    for check in found:
        name = _worded(check, "id", check.__name__)
        if CHECK_ID.fullmatch(name) is None:
            raise RefusedError(f'the check id "{name}" is not area.plain-words, such as "groove.cut-too-deep"')
        for text in _TEXTS:
            _worded(check, text, name)
        if check.client is not None and not isinstance(check.client, ForClient):
            raise RefusedError(f'the check "{name}" has {_described(check.client)} as its client, and not a ForClient')
        limits = getattr(check, "Limits", None)
        if not (isinstance(limits, type) and issubclass(limits, Model)):
            raise RefusedError(f'the check "{name}" has no Limits, a class made from Model')
        _can_be_written(limits, name)
        for key, judged in check.judges.items():
            if not isinstance(judged, Judged):
                raise RefusedError(f'the check "{name}" judges "{key}" by {_described(judged)}, and not by a Judged')
            if key.partition(".")[0] not in limits.model_fields:
                hint = meant(key, limits.model_fields)
                raise RefusedError(f'the check "{name}" judges "{key}", which is not in its Limits; {hint}')
            if not is_limit(limits.model_fields[key.partition(".")[0]]):
                raise RefusedError(f'the check "{name}" judges "{key}", which is a parameter and no Limit')
    return found


def _can_be_written(limits: type[Model], name: str) -> None:
    """Refuse a field of a check's Limits that no ruleset can write, and a parameter without a description."""
    from qc.model.parameters import is_limit, parameter_type

    if not limits.__pydantic_fields_complete__:
        limits.model_rebuild(raise_errors=False)  # a type that is defined further down in its module
    for key, info in limits.model_fields.items():
        if is_limit(info):
            continue
        if parameter_type(info) is None:
            kinds = "a Limit, str, bool, int, float, a Pattern, a Literal or an Enum"
            raise RefusedError(f'the check "{name}" has "{key}" in its Limits with a type that is not {kinds}')
        if not (info.description or "").strip():
            raise RefusedError(
                f'the check "{name}" has the parameter "{key}" without a description; write Field(description=...)'
            )


def measures(result: object) -> tuple[type[Need[Any]], ...]:
    """Return the result of qc_measures, classes of Need with an id and published names; raises RefusedError."""
    from qc.plugin_base import Need

    found = _classes(result, Need, "qc_measures")
    for need in found:
        name = _worded(need, "id", need.__name__)
        if not isinstance(need.publishes, Mapping):
            raise RefusedError(f'"{name}" publishes no mapping of measurement names to units')
        for measurement, unit in need.publishes.items():
            _is_unit(unit, f'the measurement "{measurement}" of "{name}"')
    return found


def renderers(result: object) -> tuple[type[Renderer], ...]:
    """Return the result of qc_renderers, classes of Renderer with a name; raises RefusedError."""
    from qc.plugin_base import FolderRenderer, Renderer

    found = _classes(result, Renderer, "qc_renderers")
    for renderer in found:
        name = _worded(renderer, "name", renderer.__name__)
        if not FORMAT_NAME.fullmatch(name):
            raise RefusedError(f'a format cannot be called "{shown(name, 60)}"; use letters, digits, ".", "_" and "-"')
        if not _are_suffixes(renderer.suffixes):
            raise RefusedError(f'the "suffixes" of the format "{name}" are no tuple of endings such as ".txt"')
        if not isinstance(renderer.__doc__, str | None):
            raise RefusedError(f'the docstring of the format "{name}" is no text')
        if renderer.folder != issubclass(renderer, FolderRenderer):
            raise RefusedError(f'the format "{name}" writes a folder if and only if it is made from FolderRenderer')
    return found


def _are_suffixes(value: object) -> bool:
    return isinstance(value, list | tuple) and all(isinstance(end, str) and end.startswith(".") for end in value)


def folders(result: object) -> tuple[Path, ...]:
    """Return the result of qc_rulesets, one existing folder or several; raises RefusedError."""
    several = result if isinstance(result, list | tuple) else [result]
    found = []
    for folder in several:
        # A folder from importlib.resources is a path unless the package lies in an archive.
        if not isinstance(folder, str | Path):
            raise RefusedError(f"qc_rulesets gave {_described(folder)}, and not the path of a folder on disk")
        path = Path(folder)
        if not path.is_dir():
            raise RefusedError(f"qc_rulesets gave {path}, which is no folder")
        found.append(path)
    return tuple(found)


def refuse_taken_names(names: Iterable[str], taken: Mapping[str, str], what: str) -> None:
    """Raise RefusedError for a name that is given twice or is in `taken`, name -> the plugin that has it."""
    seen: set[str] = set()
    for name in names:
        if name in taken:
            raise RefusedError(f'{what} "{name}" is already given by {taken[name]}; choose another name')
        if name in seen:
            raise RefusedError(f'{what} "{name}" is given twice; choose another name for one of them')
        seen.add(name)


def _is_unit(unit: object, what: str) -> None:
    from qc.model.quantity import parse

    try:
        parse("0" if unit == "1" else f"0 {unit}")
    except ValueError as why:
        raise RefusedError(f"{what} has no known unit: {why}") from None


def _classes(result: object, base: type[Any], hook: str) -> tuple[type[Any], ...]:
    if not isinstance(result, list | tuple):
        raise RefusedError(f"{hook} gave {_described(result)}, and not a list of classes made from {base.__name__}")
    for item in result:
        if not (isinstance(item, type) and issubclass(item, base)):
            raise RefusedError(f"{hook} gave {_described(item)} in its list, and not a class made from {base.__name__}")
        if inspect.isabstract(item):
            lacks = ", ".join(sorted(getattr(item, "__abstractmethods__", ())))
            raise RefusedError(f"{hook} gave {item.__name__}, which does not define {lacks}")
    return tuple(result)


def _worded(owner: type[Any], text: str, name: str) -> str:
    value = getattr(owner, text, None)
    if not isinstance(value, str) or not value.strip():
        raise RefusedError(f'{owner.__name__} ("{name}") has no {text}; write it as a text')
    return value


def _described(result: object) -> str:
    if isinstance(result, type):
        return f"the class {result.__name__}"
    return "nothing" if result is None else f"a value of type {type(result).__name__}"
