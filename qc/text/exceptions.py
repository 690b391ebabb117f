"""Exceptions of plugin code on one line; what they say is put into words once, and kept with the exception."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from qc.model.errors import FAULTS, NoExceptionError, TimedOutError
from qc.text.sanitize import plain_fault, shown

if TYPE_CHECKING:
    from pydantic import BaseModel

LONGEST = 300
"""Most characters of the text of an exception."""
_LINE, _TEXT = "_sidegate_line", "_sidegate_text"
"""Attributes of an exception in which its line and its text are kept."""


def describe(error: BaseException, place: str = "", *, by_name: bool = False) -> None:
    """Put an exception into words and keep them; `place` is the file and line of the plugin where it was raised.

    Its text is code of a plugin too, so the runner calls this inside the timed call; `by_name` does without it.
    """
    kept = vars(error)
    if _LINE not in kept:
        kept[_TEXT] = "" if by_name else _text(error)
        kept[_LINE] = _line(error, kept[_TEXT]) + (f" ({place})" if place else "")


def exception_line(error: BaseException) -> str:
    """Describe an exception of a plugin on one line, even if its own text cannot be built."""
    describe(error)
    return str(vars(error)[_LINE])


def reason_of(error: BaseException) -> str:
    """Return the text of an exception that states a reason; empty where it has none."""
    describe(error)
    return str(vars(error)[_TEXT])


def no_exception(error: BaseException) -> NoExceptionError:
    """Return an exception with the words of one that is no Exception, to be raised in its place."""
    instead = NoExceptionError(exception_line(error))
    vars(instead).update({key: vars(error)[key] for key in (_LINE, _TEXT)})
    instead.__cause__ = error
    return instead


def _text(error: BaseException) -> str:
    try:
        return str(error)
    except FAULTS:
        return ""


def _line(error: BaseException, text: str) -> str:
    if isinstance(error, TimedOutError):
        return text  # already a sentence
    name = type(error).__name__
    if type(error).__module__.startswith("pydantic"):
        name, text = _of_library(error)
    text = shown(" ".join(text.split()), LONGEST)
    return f"{name}: {text}" if text else name


def _of_library(error: BaseException) -> tuple[str, str]:
    """Return name and words for an exception of the library of the models, whose own wording means nothing here."""
    from pydantic import ValidationError

    if isinstance(error, ValidationError):
        return error.title, plain_fault(error.errors(include_url=False)[0], _model(error.title))
    return "a class made from Model has a field that it cannot have, or a value that is not of its field", ""


def _model(name: str) -> type[BaseModel]:
    """Return the model of a name, or the base of all where there is none."""
    from qc.model.quantity import Model

    return next((model for model in _below(Model) if model.__name__ == name), Model)


def _below(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for below in model.__subclasses__():
        yield below
        yield from _below(below)
