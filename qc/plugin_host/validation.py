"""Results of hooks: each function accepts what one hook returned, or refuses it in a sentence."""

from __future__ import annotations

import contextlib
import inspect
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from qc.model.names import CHECK_ID, FORMAT_NAME, limit_key
from qc.plugin_host.places import place_of
from qc.text.sanitize import shown
from qc.text.suggest import meant

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from qc.model.parameters import ParameterType
    from qc.plugin_base import Check, Model, Need, Renderer

_TEXTS = ("title", "why", "how", "remedy")
SCOPES = ("side", "delivery")
SUBJECTS = ("programme", "groove", "paperwork")
OPS = ("<=", ">=")


class RefusedError(Exception):
    """A result of a plugin that cannot be used; the text says why, and where what is refused is defined."""

    def __init__(self, sentence: str, place: str = "") -> None:
        super().__init__(f"{sentence} ({place})" if place else sentence)
        self.placed = bool(place)


@contextlib.contextmanager
def about(subject: object) -> Iterator[None]:
    """Add to each RefusedError, unless it has a place, the file and line of the class or function that it is about."""
    try:
        yield
    except RefusedError as why:
        if why.placed or not (place := place_of(subject)):
            raise
        raise RefusedError(str(why), place) from None


def checks(result: object) -> tuple[type[Check[Any]], ...]:
    """Return the result of qc_checks, classes of Check with an id, texts and Limits; raises RefusedError."""
    from qc.plugin_base import Check

    found = _classes(result, Check, "qc_checks")
    for check in found:
        with about(check):
            _check(check)
    return found


def _check(check: type[Check[Any]]) -> None:
    from qc.plugin_base import ForClient, Model

    name = _worded(check, "id", check.__name__)
    if CHECK_ID.fullmatch(name) is None:
        raise RefusedError(f'the check id "{name}" is not area.plain-words, such as "groove.cut-too-deep"')
    for text in _TEXTS:
        _worded(check, text, name)
    for text in ("blind_to", "sensitivity"):
        if type(_plain(check, text)) is not str:
            raise RefusedError(f'the check "{name}" has a "{text}" that is no text')
    _chosen(check, name, "scope", SCOPES)
    if _plain(check, "subject") is not None:
        _chosen(check, name, "subject", SUBJECTS)
    if type(_plain(check, "waivable")) is not bool:
        raise RefusedError(f'the check "{name}" has a "waivable" that is neither True nor False')
    _explains(check, name)
    if check.client is not None and not isinstance(_plain(check, "client"), ForClient):
        raise RefusedError(f'the check "{name}" has {_described(check.client)} as its client, and not a ForClient')
    limits = _plain(check, "Limits")
    if not (isinstance(limits, type) and issubclass(limits, Model)):
        raise RefusedError(f'the check "{name}" has no Limits, a class made from Model')
    _can_be_written(limits, name)
    for need in _needs(check, name):
        with about(need):
            _need(need)
    _judges(check, name, limits)


def _chosen(check: type[Check[Any]], name: str, choice: str, choices: tuple[str, ...]) -> None:
    """Refuse an attribute that is none of its choices."""
    if (chosen := _plain(check, choice)) not in choices:
        raise RefusedError(f'the check "{name}" has the {choice} "{shown(str(chosen))}"; {meant("", choices)}')


def _explains(check: type[Check[Any]], name: str) -> None:
    for other, kinds in _kept(check, "explains", name).items():
        if type(other) is not str or type(kinds) is not tuple or any(type(kind) is not str for kind in kinds):
            raise RefusedError(f'the check "{name}" has "explains" that is no check id with a tuple of texts')


def _judges(check: type[Check[Any]], name: str, limits: type[Model]) -> None:
    from qc.model.parameters import is_limit
    from qc.plugin_base import Judged

    for key, judged in _kept(check, "judges", name).items():
        if not isinstance(judged, Judged):
            raise RefusedError(f'the check "{name}" judges "{key}" by {_described(judged)}, and not by a Judged')
        if limit_key(key) not in limits.model_fields:
            hint = meant(key, limits.model_fields)
            raise RefusedError(f'the check "{name}" judges "{key}", which is not in its Limits; {hint}')
        if not is_limit(limits.model_fields[limit_key(key)]):
            raise RefusedError(f'the check "{name}" judges "{key}", which is a parameter and no Limit')
        if judged.op not in OPS:
            raise RefusedError(
                f'the check "{name}" judges "{key}" with the operator "{shown(str(judged.op))}"; write "<=" for a '
                'maximum or ">=" for a minimum'
            )
        if type(judged.measure) is not str or type(judged.of) is not str:
            raise RefusedError(f'the check "{name}" judges "{key}" by a measurement that is no text')


def _needs(check: type[Check[Any]], name: str) -> tuple[type[Need[Any]], ...]:
    from qc.plugin_base import Need

    needs = _plain(check, "needs")
    if not isinstance(needs, tuple | list):
        raise RefusedError(f'the check "{name}" needs {_described(needs)}, and not a tuple of classes made from Need')
    for need in needs:
        if not (isinstance(need, type) and issubclass(need, Need)):
            raise RefusedError(f'the check "{name}" needs {_described(need)}, and not a class made from Need')
    return tuple(needs)


def _can_be_written(limits: type[Model], name: str) -> None:
    """Refuse a field of a check's Limits that no ruleset can write, and a parameter without a description."""
    from qc.model.parameters import is_limit, parameter_type

    if not limits.__pydantic_fields_complete__:
        limits.model_rebuild(raise_errors=False)  # a type that is defined further down in its module
    for key, info in limits.model_fields.items():
        if is_limit(info):
            continue
        parameter = parameter_type(info)
        if parameter is None:
            kinds = "a Limit, str, bool, int, float, a Pattern, a Literal or an Enum"
            raise RefusedError(f'the check "{name}" has "{key}" in its Limits with a type that is not {kinds}')
        if alike := parameter.written_alike:
            raise RefusedError(f'the check "{name}" has two choices for "{key}" that a ruleset writes as {alike}')
        _default(info, parameter, f'the check "{name}" has for "{key}"')
        if not (info.description or "").strip():
            raise RefusedError(
                f'the check "{name}" has the parameter "{key}" without a description; write Field(description=...)'
            )


def _default(info: FieldInfo, parameter: ParameterType, begin: str) -> None:
    """Refuse a default of a parameter that is of another type than its field."""
    from qc.model.parameters import may_be_none

    if info.is_required():
        return
    default = info.get_default(call_default_factory=True)
    if not (parameter.may_be(default) or (default is None and may_be_none(info))):
        raise RefusedError(f"{begin} {_described(default)} as the default of a parameter; it must be {parameter.words}")


def measures(result: object) -> tuple[type[Need[Any]], ...]:
    """Return the result of qc_measures, classes of Need with an id and published names; raises RefusedError."""
    from qc.plugin_base import Need

    found = _classes(result, Need, "qc_measures")
    for need in found:
        with about(need):
            _need(need)
    return found


def _need(need: type[Need[Any]]) -> None:
    name = _worded(need, "id", need.__name__)
    for measurement, unit in _kept(need, "publishes", name).items():
        if type(measurement) is not str:
            raise RefusedError(f'"{name}" publishes {_described(measurement)} as a name, and not a text')
        _unit(unit, f'the measurement "{measurement}" of "{name}"')
    for curve, unit in _kept(need, "curve_units", name).items():
        if type(curve) is not str:
            raise RefusedError(f'"{name}" has {_described(curve)} as the name of a curve, and not a text')
        _unit(unit, f'the curve "{curve}" of "{name}"')
    for measurement, sentence in _kept(need, "meanings", name).items():
        if type(measurement) is not str or type(sentence) is not str:
            raise RefusedError(f'"{name}" has a meaning that is no text')
    parameters = getattr(need, "__dataclass_params__", None)
    if not (parameters is not None and parameters.frozen and parameters.eq) and not _is_ours(need):
        raise RefusedError(
            f'"{name}" is no frozen dataclass; write @dataclass(frozen=True) above the class {need.__name__}: a need '
            "is a key, and equal ones are measured once"
        )


def renderers(result: object) -> tuple[type[Renderer], ...]:
    """Return the result of qc_renderers, classes of Renderer with a name; raises RefusedError."""
    from qc.plugin_base import Renderer

    found = _classes(result, Renderer, "qc_renderers")
    for renderer in found:
        with about(renderer):
            _renderer(renderer)
    return found


def _renderer(renderer: type[Renderer]) -> None:
    from qc.plugin_base import FolderRenderer

    name = _worded(renderer, "name", renderer.__name__)
    if not FORMAT_NAME.fullmatch(name):
        raise RefusedError(f'a format cannot be called "{shown(name, 60)}"; use letters, digits, ".", "_" and "-"')
    if not _are_suffixes(_plain(renderer, "suffixes")):
        raise RefusedError(f'the "suffixes" of the format "{name}" are no tuple of endings such as ".txt"')
    if not isinstance(renderer.__doc__, str | None):
        raise RefusedError(f'the docstring of the format "{name}" is no text')
    if type(_plain(renderer, "draws")) is not bool:
        raise RefusedError(f'the format "{name}" has a "draws" that is neither True nor False')
    if _plain(renderer, "folder") != issubclass(renderer, FolderRenderer):
        raise RefusedError(f'the format "{name}" writes a folder if and only if it is made from FolderRenderer')


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


def _unit(unit: object, what: str) -> None:
    from qc.model.quantity import require_unit

    try:
        require_unit(unit, what)
    except ValueError as why:
        raise RefusedError(str(why)) from None


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
    value = _plain(owner, text)
    if type(value) is not str or not value.strip():
        raise RefusedError(f'{owner.__name__} ("{name}") has no {text}; write it as a text')
    return value


def _plain(owner: type[Any], attribute: str) -> Any:
    """Return an attribute of a class; raises RefusedError where code computes it, which would run at any time."""
    value = getattr(owner, attribute, None)
    if inspect.getattr_static(owner, attribute, None) is not value:
        raise RefusedError(f'{owner.__name__} computes its "{attribute}"; write the value itself')
    return value


def _kept(owner: type[Any], attribute: str, name: str) -> Mapping[Any, Any]:
    """Return a mapping of a class, which from now on cannot be changed; raises RefusedError where it is none."""
    value = _plain(owner, attribute)
    if type(value) not in {dict, MappingProxyType}:
        raise RefusedError(f'"{name}" has as its "{attribute}" {_described(value)}, and not a dict')
    kept = MappingProxyType(dict(value))
    if not _is_ours(owner):
        setattr(owner, attribute, kept)
    return kept


def _is_ours(kind: type[Any]) -> bool:
    """Whether a class belongs to the core, whose needs a check may name."""
    return kind.__module__.partition(".")[0] == "qc"


def _described(result: object) -> str:
    if isinstance(result, type):
        return f"the class {result.__name__}"
    return "nothing" if result is None else f"a value of type {type(result).__name__}"
