"""Pictures as SVG: built from elements, shown inside the page in its colours, or written as a file of their own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from markupsafe import Markup, escape

from qc.report.html.safe import harmless

Box = tuple[float, float, float, float]
"""Left, top, width and height of the view box."""
ROOM, HEAD = 14.0, 40.0
"""Margin of a picture in a file of its own, and height of its heading, in pixels."""
MOST = 60
"""Characters of the subject in a heading."""


@dataclass(frozen=True)
class Figure:
    """A picture of a size in its own units, with a title and a description for screen readers."""

    name: str
    """unique on the page, fit for a file name and an id"""
    title: str
    description: str
    width: float
    height: float
    body: Markup
    classes: str = ""

    @property
    def markup(self) -> Markup:
        """The picture as an element of a page that has `figure.css`."""
        return self._written(self.body, (0.0, 0.0, self.width, self.height), "")

    @property
    def standalone(self) -> str:
        """The picture as a file: in the light colours, with a size in pixels and without links to a page."""
        return self._file((0.0, 0.0, self.width, self.height), Markup(""))

    def framed(self, subject: str) -> str:
        """Return the picture as a file with a margin, below its title and, where there is room, its subject."""
        right, head = self.width - 8.0 * min(len(subject), MOST), 16.0 - HEAD
        words = text(0.0, head, self.title, class_="strong")
        if right > 8.0 * len(self.title):
            words += text(self.width, head, subject[:MOST], class_="dim end")
        return self._file((-ROOM, -HEAD, self.width + 2.0 * ROOM, self.height + HEAD + ROOM), words)

    def _file(self, box: Box, more: Markup) -> str:
        x, y, width, height = box
        size = f' xmlns="http://www.w3.org/2000/svg" width="{num(width)}" height="{num(height)}"'
        page = element("rect", class_="page", x=x, y=y, width=width, height=height)
        style = Markup("<style>") + Markup(file_style()) + Markup("</style>")  # noqa: S704 - our own file
        return str(self._written(style + page + more + _unlinked(self.body), box, size))

    def _written(self, body: Markup, box: Box, more: str) -> Markup:
        role = "group" if "<a " in body else "img"  # an image hides its links from screen readers
        return Markup(
            '<svg{more} class="figure {classes}" viewBox="{box}" role="{role}" '
            'aria-labelledby="{name}-title {name}-says">'
            '<title id="{name}-title">{title}</title><desc id="{name}-says">{says}</desc>{body}</svg>'
        ).format(
            more=Markup(more), classes=self.classes, box=" ".join(map(num, box)), name=self.name,  # noqa: S704 - numbers alone
            title=harmless(self.title), says=harmless(self.description), body=body, role=role,
        )  # fmt: skip


@cache
def file_style() -> str:
    """Return the style sheet of a picture in a file, without variables, which some viewers do not support."""
    style = files("qc.report.html").joinpath("templates", "figure.css").read_text(encoding="utf-8")
    named, _, rules = style.partition("}")
    colours = dict(re.findall(r"(--[a-z]+): (#[0-9a-f]{6})", named))
    return re.sub(r"var\((--[a-z]+)\)", lambda variable: colours[variable[1]], rules).strip()


def _unlinked(body: Markup) -> Markup:
    """Turn links into groups; text is escaped, so nothing else looks like a link."""
    unlinked = re.sub(r'<a href="#[^"]*" tabindex="-1"', "<g", str(body)).replace("</a>", "</g>")
    return Markup(unlinked)  # noqa: S704 - markup before too


def num(value: float, places: int = 2) -> str:
    """Write a number with at most so many decimal places, without trailing zeros."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def element(tag: str, *inside: Markup | str, **attributes: object) -> Markup:
    """Write an element: text is escaped and harmless, `class_` is class, `stroke_width` is stroke-width."""
    written = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{num(value) if isinstance(value, float) else escape(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    content = "".join(part if isinstance(part, Markup) else escape(harmless(part)) for part in inside)
    return Markup(f"<{tag}{written}>{content}</{tag}>")  # noqa: S704 - each part is escaped, or our own


def text(x: float, y: float, *inside: Markup | str, **attributes: object) -> Markup:
    """Write a text at a place."""
    return element("text", *inside, x=x, y=y, **attributes)


def group(parts: Iterable[Markup], **attributes: object) -> Markup:
    """Write a group of elements."""
    return element("g", *parts, **attributes)


def path(points: Iterable[tuple[float, float]], *, close: bool = False, places: int = 1) -> str:
    """Write a line through points as path data, each step from the one before, in few characters."""
    scale = 10**places
    steps: list[str] = []
    last_x = last_y = 0
    for x, y in points:
        at_x, at_y = round(x * scale), round(y * scale)
        down = _short(at_y - last_y, scale)
        steps.append(f"{_short(at_x - last_x, scale)}{'' if down[0] == '-' else ' '}{down}")
        last_x, last_y = at_x, at_y
    return f"m{'l'.join(steps)}{'z' if close else ''}"


@cache
def _short(step: int, scale: int) -> str:
    """Write a step; few differ, hence the cache."""
    return f"{step / scale:.10g}"
