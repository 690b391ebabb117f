"""A report format and a hook of plugins, explained on a page."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from itertools import groupby

from qc.plugin_host import spec
from qc.plugin_host.host import Host
from qc.report.registry import ReportFormat
from qc.text.page import Page

LABEL = 12


def write_format(page: Page, format_: ReportFormat, host: Host) -> None:
    """Write what a report format is, where it is written to, and which plugin brings it."""
    owner = host.renderer_owner.get(format_.name)
    page.say(f"{format_.name}, a report format", body="bold")
    page.blank()
    ends = " or ".join(format_.endings)
    place = "a folder, which it writes whole" if format_.folder else f"a file{f', usually {ends}' if ends else ''}"
    path = "FOLDER" if format_.folder else "report" + next(iter(format_.endings), "")
    example = f"--out {format_.name}={path}"
    others = (("plan", format_.plan), ("rulesets diff", format_.rulesets), ("where", format_.where))
    commands = ["check", *(command for command, writer in others if writer)]
    for label, words in (
        ("is", format_.about),
        ("writes", place),
        ("asked by", f"{example}, of sidegate {', '.join(commands)}"),
        ("needs", f"for .{format_.extra} files: {format_.install}" if format_.extra else ""),
        ("brought by", f"the plugin {owner}" if owner else "sidegate itself"),
    ):
        if words:
            page.say(words, label=label.ljust(LABEL), style="bold", indent=LABEL)


def write_hook(page: Page, name: str, host: Host) -> None:
    """Write the signature and the text of a hook, and which plugins answer it."""
    function = getattr(spec, name)
    page.say(f"{name}, a hook of plugins", body="bold")
    page.blank()
    signature = str(inspect.signature(function)).replace("'", "")  # annotations are texts
    page.say(f"def {name}{signature}", label="  ", indent=6)
    page.blank()
    for indent, words in _paragraphs(inspect.getdoc(function) or ""):
        if words:
            page.say(words, label=" " * indent)
        else:
            page.blank()
    page.blank()
    answering = [plugin.name for plugin in host.plugins if plugin.error is None and name in (plugin.hooks or ())]
    words = f"the plugin{'s' * (len(answering) > 1)} {', '.join(answering)}" if answering else "no plugin here"
    page.say(words, label="answered by ".ljust(LABEL), style="bold", indent=LABEL)
    page.say("sidegate docs hooks", label="all hooks".ljust(LABEL), style="bold", indent=LABEL)


def _paragraphs(text: str) -> Iterator[tuple[int, str]]:
    """Yield the indentation and the words of each paragraph; no words for an empty line.

    Lines of one indentation are joined; a heading stays apart, since a line of dashes follows it.
    """
    for (indent, dashes), lines in groupby(text.splitlines(), key=lambda line: (_indent(line), not line.strip("-"))):
        joined = [line.strip() for line in lines]
        if not dashes:
            yield indent, " ".join(joined)
        elif joined[0]:
            yield indent, joined[0]
        else:
            yield 0, ""


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())
