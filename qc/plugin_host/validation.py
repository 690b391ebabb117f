"""Results of hooks: each function accepts what one hook returned, or refuses it in a sentence."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.model.names import CHECK_ID
from qc.text.suggest import meant

if TYPE_CHECKING:
    from qc.plugin_api import Check, Need, Renderer

_TEXTS = ("title", "why", "how", "remedy")


class RefusedError(Exception):
    """A result of a plugin that cannot be used; the text says why."""


def checks(given: object) -> tuple[type[Check[Any]], ...]:
    """Take what qc_checks gave: classes of Check with an id, the words and their Limits."""
    from qc.plugin_api import Check, ForClient, Judged, Model

    found = _classes(given, Check, "qc_checks")
    for check in found:
        name = _worded(check, "id", check.__name__)
        if CHECK_ID.fullmatch(name) is None:
            raise RefusedError(f'the check id "{name}" is not area.plain-words, such as "groove.cut-too-deep"')
        for text in _TEXTS:
            _worded(check, text, name)
        if check.client is not None and not isinstance(check.client, ForClient):
            raise RefusedError(f'the check "{name}" has {_what(check.client)} as its client, and not a ForClient')
        limits = getattr(check, "Limits", None)
        if not (isinstance(limits, type) and issubclass(limits, Model)):
            raise RefusedError(f'the check "{name}" has no Limits, a class made from Model')
        for key, judged in check.judges.items():
            if not isinstance(judged, Judged):
                raise RefusedError(f'the check "{name}" judges "{key}" by {_what(judged)}, and not by a Judged')
            if key.partition(".")[0] not in limits.model_fields:
                hint = meant(key, limits.model_fields)
                raise RefusedError(f'the check "{name}" judges "{key}", which is not in its Limits; {hint}')
    return found


def measures(given: object) -> tuple[type[Need[Any]], ...]:
    """Take what qc_measures gave: classes of Analysis or Derived with an id and the names they publish."""
    from qc.plugin_api import Need

    found = _classes(given, Need, "qc_measures")
    for need in found:
        name = _worded(need, "id", need.__name__)
        if not isinstance(need.publishes, Mapping):
            raise RefusedError(f'"{name}" publishes no mapping of measurement names to units')
        for measurement, unit in need.publishes.items():
            _is_unit(unit, f'the measurement "{measurement}" of "{name}"')
    return found


def renderers(given: object) -> tuple[type[Renderer], ...]:
    """Take what qc_renderers gave: classes of Renderer with a name."""
    from qc.plugin_api import FolderRenderer, Renderer

    found = _classes(given, Renderer, "qc_renderers")
    for renderer in found:
        name = _worded(renderer, "name", renderer.__name__)
        if renderer.folder != issubclass(renderer, FolderRenderer):
            raise RefusedError(f'the format "{name}" writes a folder if and only if it is made from FolderRenderer')
    return found


def folders(given: object) -> tuple[Path, ...]:
    """Take what qc_rulesets gave: one folder or several, that are there."""
    several = given if isinstance(given, list | tuple) else [given]
    found = []
    for folder in several:
        # A folder from importlib.resources is a path unless the package lies in an archive.
        if not isinstance(folder, str | Path):
            raise RefusedError(f"qc_rulesets gave {_what(folder)}, and not the path of a folder on disk")
        path = Path(folder)
        if not path.is_dir():
            raise RefusedError(f"qc_rulesets gave {path}, which is no folder")
        found.append(path)
    return tuple(found)


def names_of_its_own(names: Iterable[str], taken: Mapping[str, str], what: str) -> None:
    """Refuse a name that is given twice, or that another plugin (name -> who) already has."""
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


def _classes(given: object, base: type[Any], hook: str) -> tuple[type[Any], ...]:
    if not isinstance(given, list | tuple):
        raise RefusedError(f"{hook} gave {_what(given)}, and not a list of classes made from {base.__name__}")
    for one in given:
        if not (isinstance(one, type) and issubclass(one, base)):
            raise RefusedError(f"{hook} gave {_what(one)} in its list, and not a class made from {base.__name__}")
        if inspect.isabstract(one):
            lacks = ", ".join(sorted(getattr(one, "__abstractmethods__", ())))
            raise RefusedError(f"{hook} gave {one.__name__}, which does not define {lacks}")
    return tuple(given)


def _worded(owner: type[Any], text: str, name: str) -> str:
    value = getattr(owner, text, None)
    if not isinstance(value, str) or not value.strip():
        raise RefusedError(f'{owner.__name__} ("{name}") has no {text}; write it as a text')
    return value


def _what(given: object) -> str:
    if isinstance(given, type):
        return f"the class {given.__name__}"
    return "nothing" if given is None else f"a value of type {type(given).__name__}"
