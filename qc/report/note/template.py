"""Templates of notes, shipped and custom: loading, a trial run, and their faults in a sentence."""

from __future__ import annotations

import re
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import jinja2
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from qc.files.bounded_read import UnreadableFileError, read_text
from qc.model.errors import UsageError
from qc.report.note.letter import Letter, ReceivedSide, Thing
from qc.text.markdown import plain
from qc.text.sanitize import shown

T = TypeVar("T")
LONGEST_NAME = 1000
"""Characters of the name of a template in a sentence."""

LONGEST = 128 << 10
"""Bytes of a custom template at the most."""
HTML = (".html", ".htm")
MARKDOWN = (".md", ".markdown")
WORDS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
ENDINGS = (".j2", ".jinja", ".jinja2")
"""Suffixes that may follow that of the note."""


@dataclass(frozen=True)
class Template:
    """A compiled template; `path` is the file of a custom template, None for a shipped one."""

    inner: jinja2.Template
    path: Path | None = None

    def written(self, note: Letter) -> str:
        """Write a note; raises UsageError for a fault of a custom template."""
        if self.path is None:
            return self.inner.render(note=note)
        return _sound(self.path, lambda: self.inner.render(note=note))


def shipped(*, html: bool) -> Template:
    """Return the shipped template."""
    return Template(_environment(None, html=html).get_template(f"sidegate/{_shipped(html=html)}"))


def own(path: Path, *, html: bool) -> Template:
    """Load a custom template and try it; raises UsageError with file and line if it has a fault.

    It may begin with {% extends "sidegate/note.md" %} (or note.html), and include files of its folder.
    """
    name = shown(str(path), LONGEST_NAME)
    suffix = _suffix(path)
    if suffix in (MARKDOWN if html else HTML):
        kind, other = ("HTML", "Markdown") if html else ("Markdown", "HTML")
        raise UsageError(f"--note-template {name}: the note is {kind} and this is {other}; give both the same suffix")
    try:
        text = read_text(path, LONGEST)
    except UnreadableFileError as fault:
        place = name if fault.line is None else f"{name}:{fault.line}"
        raise UsageError(f"--note-template {place}: {fault.sentence('note template')}") from None
    environment = _environment(path, html=html)
    template = Template(_sound(path, lambda: _compiled(environment, text, path)), path)
    for sample in SAMPLES:
        template.written(sample)
    return template


def _compiled(environment: jinja2.Environment, text: str, path: Path) -> jinja2.Template:
    code = environment.compile(text, path.name, str(path))
    return jinja2.Template.from_code(environment, code, environment.make_globals(None))


def _suffix(path: Path) -> str:
    parts = [part.lower() for part in path.suffixes]
    return next((part for part in reversed(parts) if part not in ENDINGS), "")


def _shipped(*, html: bool) -> str:
    return "note.html" if html else "note.md"


def _environment(path: Path | None, *, html: bool) -> jinja2.Environment:
    """Build a sandboxed environment that escapes every value, for HTML or for Markdown."""
    loaders: dict[str, jinja2.BaseLoader] = {"sidegate": jinja2.PackageLoader("qc.report.note", "templates")}
    folder = [] if path is None else [jinja2.FileSystemLoader(path.parent)]
    environment = ImmutableSandboxedEnvironment(
        loader=jinja2.ChoiceLoader([jinja2.PrefixLoader(loaders), *folder]),
        autoescape=True, finalize=None if html else _markdown, undefined=jinja2.StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    environment.filters["in_words"] = in_words
    return environment


def in_words(count: int) -> str:
    """Write a small count as a word with a capital: "Two"."""
    return WORDS[count] if 0 <= count < len(WORDS) else str(count)


def _markdown(value: Any) -> Any:
    """Escape a value for Markdown; markup stays as it is."""
    if isinstance(value, (Markup, jinja2.Undefined)):
        return value
    return Markup(plain(str(value)))  # noqa: S704 - nothing in it is HTML any more


def _sound(path: Path, call: Callable[[], T]) -> T:
    """Call a function of a custom template; raises UsageError for any exception, since the template caused it."""
    name = shown(str(path), LONGEST_NAME)
    try:
        return call()
    except jinja2.TemplateSyntaxError as why:  # the fault may be in an included file
        file = name if why.filename is None else shown(str(why.filename), LONGEST_NAME)
        raise _fault(f"{file}:{why.lineno}", str(why.message)) from None
    except RecursionError:
        raise _fault(name, "it includes or extends itself") from None
    except Exception as why:  # an expression of a template may raise anything
        raise _fault(f"{name}{_line(why, path)}", str(why) or type(why).__name__) from None


def _line(why: BaseException, path: Path) -> str:
    """Return ":LINE" of the last frame in the template; empty where there is none."""
    frames = traceback.extract_tb(why.__traceback__)
    lines = [frame.lineno for frame in frames if frame.filename == str(path)]
    return f":{lines[-1]}" if lines else ""


def _fault(where: str, why: str) -> UsageError:
    sentence = re.sub(r"^'qc\.report\.[\w.]+ object'", "what is named here", " ".join(why.split()))
    return UsageError(f"--note-template {where}: {shown(sentence, 300).rstrip('.')}; correct the template")


_THING = Thing("Name", "What it means.", "What we ask.", ("side A, track 1: at 0:10",), 1, ("a fact.",))
SAMPLES = (
    Letter("Title", "", "good"),
    Letter(
        "Title", "CAT-1", "mend",
        (ReceivedSide("A", "a.wav", "1 minute 5 seconds", 1), ReceivedSide("B", "b.wav", "", 0)),
        (_THING,), (_THING,), ("Name (side A)",), "Side A is", ("Side A: 2 places come near.",),
        details=("side A, 0:10: detail.",), broke=True, judged_at="-6.0 dB (side A)",
    ),
    Letter("Title", "CAT-1", "weigh", (ReceivedSide("A", "a.wav", "1 minute 5 seconds", 1),), (), (_THING, _THING)),
)  # fmt: skip
"""Notes with all variables set and with none, on which a custom template is tried before any audio is read."""
