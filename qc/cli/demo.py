"""`sidegate demo`: make a small delivery by code, judge it, and show its faults and commands to try next."""

from __future__ import annotations

import argparse
import shlex
import sys
from pathlib import Path

from qc import api
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.progress import Progress
from qc.cli.streams import emit, say
from qc.demo.folder import refuse
from qc.demo.planted import Planted, findings
from qc.measure.precompile import precompile
from qc.model.errors import UsageError
from qc.model.quantity import minutes
from qc.plugin_base import Report
from qc.report.text.report import first_line
from qc.text.sanitize import shown

NEXT = (
    ("check {}", "what to fix, the most serious first"),
    ("check {} --out html=report.html", "pictures and all, on one page"),
    ("check {} --out sheet=sheet.html", "a page a side, for the desk at the lathe"),
    ("check {} --out json=report.json", "everything, numbers unrounded"),
    ("explain level.clipped", "what a check finds, and why"),
)
"""Commands to try after the demo, {} the folder, and what each is for."""


def demo(words: argparse.Namespace) -> int:
    """Run the command; return 0 if each planted fault was found, 3 if one was missed or something failed."""
    if not words.folder:
        raise UsageError("demo: the folder has no name; name one that is empty or not there yet")
    folder = Path(words.folder)
    host = host_of(words)
    refuse(folder)
    say(f"making a 7-inch single by code in {folder}")
    precompile(host)
    with Progress(sys.stderr) as progress:
        result = api.demo(folder, api.Options(progress=progress.update), host)
    say_failures(result.report.plugin_failures, result.report.plugin_warnings)
    missed = [fault for fault in result.planted if not findings(fault, result.report)]
    for fault in missed:
        say(f"the planted fault was not found on side {fault.side}: {fault.what} ({fault.check})")
    emit(("\n".join(lines(words.folder, result.report, result.planted)) + "\n").encode("utf-8", "replace"))
    return 3 if missed or result.report.verdict == "error" else 0


def lines(folder: str, report: Report, planted: tuple[Planted, ...]) -> list[str]:
    """Return the lines of the demo: its verdict, its planted faults with their places, and commands to try next."""
    name = f"{report.delivery.catalogue} {report.delivery.title}"
    out = [first_line(report), f"{name}, judged by {report.ruleset.name}@{report.ruleset.version}", ""]
    out += [f"Made in {shown(folder)}. Side A is good; side B was spoiled on purpose:"]
    widest = max(len(fault.what) for fault in planted)
    out += [f"  {_where(fault):12}  {fault.what:{widest}}  {fault.check}" for fault in planted]
    out += ["Next:"]
    commands = [shown(f"sidegate {words.format(shlex.quote(folder))}") for words, _ in NEXT]
    widest = max(map(len, commands))
    return out + [f"  {command:{widest}}  {what}" for command, (_, what) in zip(commands, NEXT, strict=True)]


def _where(fault: Planted) -> str:
    """Write where a fault lies, in whole seconds."""
    if fault.start is None or fault.end is None:
        return f"{fault.side} all of it"
    start, end = minutes(int(fault.start)), minutes(int(fault.end))
    return f"{fault.side} {start}-{end}" if start != end else f"{fault.side} {start}"
