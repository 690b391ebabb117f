"""The `sidegate` command: its parser, the modules of its commands, and the exit code."""

from __future__ import annotations

import argparse
import atexit
import contextlib
import functools
import gc
import importlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NoReturn

import qc
from qc.cli import stopping
from qc.cli.streams import LONGEST, apart, emit, flush, open_missing, say
from qc.model.errors import PluginError, SidegateError
from qc.report import registry
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

__all__ = ["emit", "main", "parser", "run", "say"]

EPILOG = """\
exit codes: 0 nothing failed, 1 a check failed (with --strict: or warned), 2 the command line, delivery file or
ruleset cannot be used, 3 a plugin or the tool failed"""

SIGNED = {"--level", "--surface-noise", "--vertical-angle-error"}
"""Options whose value may begin with a minus."""

GARBAGE = 400_000
"""Objects created before the garbage collector runs: a start creates many, all of which stay."""


class _Parser(argparse.ArgumentParser):
    """Reports a fault of the command line in one sentence."""

    def error(self, message: str) -> NoReturn:
        """End with exit code 2."""
        self.exit(2, f"{self.prog}: {shown(message, LONGEST)}; see {self.prog} --help\n")

    def print_help(self, file: SupportsWrite[str] | None = None) -> None:
        """Write the help; raises OutputError for a stdout that cannot be written, which argparse ignores."""
        if file is not None:
            super().print_help(file)
        else:
            emit(self.format_help().encode(sys.stdout.encoding or "utf-8", "replace"))


class _Version(argparse.Action):
    """Writes the version of the tool, and each plugin with its package and version, without loading them."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        """Write on stdout and end the process."""
        from qc.plugin_host.finder import find

        lines = [f"sidegate {qc.__version__}"]
        lines += [f"plugin {plugin.name} of {plugin.package} {plugin.version}".rstrip() for plugin in find()]
        emit("".join(f"{shown(line, LONGEST)}\n" for line in lines).encode())
        parser.exit()


COMMANDS = {
    "approve", "check", "completion", "demo", "docs", "explain", "init", "listen", "new-plugin", "plan", "rulesets",
    "store", "where",
}  # fmt: skip
"""Commands with a module of their own in qc.cli."""

MODULES = {"test": "qc.testing.command"}
"""Command -> its module where that is another one: the test kit imports the command, so it lies in a layer above."""


@functools.cache
def parser() -> argparse.ArgumentParser:
    """Build the parser of all commands."""
    top = _Parser(
        prog="sidegate",
        description="Computes the groove of a vinyl side from its master, before the first cut, and judges it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="show the version, and the plugins with theirs")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)

    check = commands.add_parser(
        "check", help="judge a delivery", description="Judge a delivery side by side.",
        epilog=f"formats of --out:\n{registry.described()}", formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    _delivery(check)
    check.add_argument("--ruleset", metavar="NAME[@VERSION]", help="judge by this ruleset (or a ruleset file)")
    check.add_argument("--side", metavar="ID", action="append", default=[], help="judge only this side; repeatable")
    check.add_argument(
        "--out", metavar="FORMAT=PATH", action="append", default=[],
        help=f"write a report ({registry.choices()}, or a plugin's format); - is stdout; repeatable; default text=-",
    )  # fmt: skip
    check.add_argument("--note-template", metavar="FILE", help="note: write it from this template of your own")
    detail = check.add_mutually_exclusive_group()
    detail.add_argument("--quiet", action="store_true", help="text: the verdict and what must be fixed, a line each")
    detail.add_argument(
        "--verbose",
        action="store_true",
        help="text: every finding, limit and measurement; on stderr why an analysis was measured again",
    )
    check.add_argument("--ascii", action="store_true", help="text: plain ASCII")
    check.add_argument("--strict", action="store_true", help="end with 1 on warnings too")
    check.add_argument("--waivers", metavar="FILE", help="a file of waivers, in addition to those of the delivery")
    check.add_argument(
        "--own-waivers", action="store_true",
        help="count only the waivers of --waivers; those in the delivery, which its sender wrote, are listed as not "
        "counted",
    )  # fmt: skip
    check.add_argument(
        "--baseline", metavar="REPORT", help="report what is new and what was fixed since an earlier JSON report"
    )
    check.add_argument(
        "--only-new", action="store_true", help="with --baseline: only new findings count for the exit code"
    )
    check.add_argument(
        "--approvals", metavar="FILE", help="list the approvals of this file too; no approval changes an outcome"
    )
    _level(check, "judge every side at")
    _reproducible(check)
    _chain(check)
    _processing(check)
    _stored(check)
    _approve(commands)
    _plan(commands)
    _listen(commands)
    _where(commands)

    demo = commands.add_parser(
        "demo", help="make a small delivery by code and judge it",
        description="Make a 7-inch single by code, its second side with faults on purpose, and judge it. "
        "Ends with 0 when the faults were found.",
    )  # fmt: skip
    demo.add_argument(
        "folder", metavar="FOLDER", nargs="?", default="sidegate-demo",
        help="an empty folder, or one to be made; default: sidegate-demo",
    )  # fmt: skip

    init = commands.add_parser(
        "init", help="draft a delivery.yaml from audio files",
        description="Draft a delivery.yaml from audio files: sides A, B ... in the order given, one file a side; "
        "tracks from a CUE sheet, or found from silences of 0.8 s and more; checksums; comments where "
        "something must be filled in. Files that are the tracks of one side are not guessed: name them with --side. "
        "Nothing is written over.",
    )  # fmt: skip
    init.add_argument("audio", metavar="AUDIO", nargs="*", help="one audio file a side")
    init.add_argument(
        "--side", metavar="ID=FILE,FILE...", action="append", default=[],
        help="a side in one file a track, in order; repeatable, instead of AUDIO",
    )  # fmt: skip
    init.add_argument("--cue", metavar="SHEET", help="take tracks, titles and ISRCs from this CUE sheet")
    init.add_argument(
        "--out", metavar="FOLDER|FILE",
        help="where to write; default: delivery.yaml in the folder that holds all the audio",
    )  # fmt: skip

    _rulesets(commands)
    _store(commands)
    _plugins(commands)
    schema = commands.add_parser("schema", help="print a JSON Schema")
    schema.add_argument(
        "model",
        choices=["report", "plan", "listen", "where", "delivery", "ruleset", "rulesets-diff", "waivers", "approvals"],
    )
    _explain(commands)
    completion = commands.add_parser("completion", help="print a completion script for a shell")
    completion.add_argument("shell", nargs="?", choices=["bash", "zsh", "fish"])
    completion.add_argument("--list", choices=["rulesets", "names", "chain", "plugins"], help=argparse.SUPPRESS)
    return top


def _plugins(commands: argparse._SubParsersAction[_Parser]) -> None:
    plugins = commands.add_parser(
        "plugins", help="list the plugins, what each brings, and what did not load",
        description="List the plugins with their packages and versions, the checks, measurements, rulesets and formats "
        "that each brings, and why one did not load. Ends with 3 where one did not.",
    )  # fmt: skip
    _without(plugins)
    docs = commands.add_parser(
        "docs", help="print a page for people who write plugins or rulesets",
        description="Print a page for people who write plugins or rulesets, in Markdown, and through a pager on a "
        "terminal; without PAGE list the pages.",
    )  # fmt: skip
    docs.add_argument("page", metavar="PAGE", nargs="?", choices=["plugins", "hooks", "rulesets", "cases"])
    new = commands.add_parser(
        "new-plugin", help="write a package with house rules to begin with",
        description="Write a package that brings checks with what they measure, a ruleset, and tests that it passes "
        "once it is installed. Nothing is written over.",
    )  # fmt: skip
    new.add_argument("name", metavar="NAME", help="small letters, digits and hyphens, such as harbour-rules")
    new.add_argument("--out", metavar="FOLDER", help="a folder that is not there yet; default: NAME")
    _test(commands)


def _explain(commands: argparse._SubParsersAction[_Parser]) -> None:
    explain = commands.add_parser(
        "explain", help="explain a check, a measurement, a report format or a hook",
        description="Explain what a check finds, why, how, by which limits and sources; or what a measurement is, a "
        "value of the chain, such as cut.land, a report format, or a hook of plugins.",
    )  # fmt: skip
    explain.add_argument("name", metavar="NAME", help="for example groove.drive-too-high, cut.land, sarif or qc_checks")
    explain.add_argument(
        "--ruleset", metavar="NAME[@VERSION]", help="show the limits of this ruleset (or a ruleset file)"
    )
    _without(explain)
    explain.add_argument("--ascii", action="store_true", help="plain ASCII")


def _delivery(command: argparse.ArgumentParser) -> None:
    command.add_argument("delivery", metavar="DELIVERY", help="a delivery file, or a folder holding delivery.yaml")


def _reproducible(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--reproducible", action="store_true",
        help="leave out the time and duration of the run, so that two runs write the same bytes",
    )  # fmt: skip


def _level(command: argparse.ArgumentParser, what: str) -> None:
    command.add_argument(
        "--level", metavar="VALUE",
        help=f"{what} this level, whatever the delivery requests: release (the lowest recommended level of the disc's "
        'sides), recommended (its own), clean (nothing warns), or a level such as "-6 dB"',
    )  # fmt: skip


def _chain(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--chain", metavar="KEY=VALUE", action="append", default=[],
        help='change a chain value for this run, as "cut.land=10um"; repeatable; the report says so',
    )  # fmt: skip


def _approve(commands: argparse._SubParsersAction[_Parser]) -> None:
    approve = commands.add_parser(
        "approve", help="judge a delivery and write down that you approve it",
        description="Judge a delivery and, where nothing fails, add an approval to approvals.yaml beside it, bound to "
        "the digests of audio, delivery file and ruleset, with the date and the verdict. What fails is approved only "
        "check by check, each with a reason. A later check lists the approvals and says what has changed since.",
        epilog="exit codes: 0 approved, 1 not approved since a check failed, 2 the command line, delivery file or file "
        "of approvals cannot be used, 3 a plugin or the tool failed",
    )  # fmt: skip
    _delivery(approve)
    approve.add_argument("--by", metavar="NAME", required=True, help="who approves it")
    approve.add_argument("--note", metavar="TEXT", help="a note, of one line")
    approve.add_argument(
        "--despite", metavar="CHECK", action="append", default=[],
        help="approve it although this check fails; repeatable, each followed by its --reason",
    )  # fmt: skip
    approve.add_argument("--reason", metavar="TEXT", action="append", default=[], help="why the check is accepted")
    approve.add_argument(
        "--approvals", metavar="FILE", help="add to this file; default: approvals.yaml in the delivery's folder"
    )
    approve.add_argument("--ruleset", metavar="NAME[@VERSION]", help="judge by this ruleset (or a ruleset file)")
    approve.add_argument("--waivers", metavar="FILE", help="a file of waivers, in addition to those of the delivery")
    approve.add_argument("--own-waivers", action="store_true", help="count only the waivers of --waivers")
    _level(approve, "judge every side at")
    _processing(approve)
    _stored(approve)


def _plan(commands: argparse._SubParsersAction[_Parser]) -> None:
    plan = commands.add_parser(
        "plan", help="compare discs, assumptions, side breaks and orders",
        description="Read each side once and compare every disc size and speed, the assumptions of the chain, and "
        "if asked the breaks into sides and the order of tracks. The exit code is 0 when the plan was "
        "made, whatever fits.",
    )  # fmt: skip
    _delivery(plan)
    disc = plan.add_mutually_exclusive_group()
    disc.add_argument("--ruleset", metavar="NAME[@VERSION]", help="plan by this ruleset (or a ruleset file)")
    disc.add_argument("--disc", metavar="SIZE-SPEED", help="plan for another disc than its own, as 12in-45")
    plan.add_argument("--side", metavar="ID", action="append", default=[], help="plan only this side; repeatable")
    plan.add_argument("--split", action="store_true", help="break the programme of all sides, in its order, into sides")
    plan.add_argument("--most", metavar="N", type=_sides, help="with --split: over N sides at the most")
    plan.add_argument("--reorder", action="store_true", help="suggest an order of tracks inside each side")
    _level(plan, "add the result of the planned disc at")
    _chain(plan)
    plan.add_argument(
        "--out", metavar="FORMAT=PATH", action="append", default=[],
        help=f"write the plan ({registry.choices('plan')}); - is stdout; repeatable; default text=-",
    )  # fmt: skip
    plan.add_argument("--ascii", action="store_true", help="text: plain ASCII")
    _reproducible(plan)
    _processing(plan)
    _stored(plan)


def _listen(commands: argparse._SubParsersAction[_Parser]) -> None:
    listen = commands.add_parser(
        "listen", help="play a passage as the disc will",
        description="Write a passage of a side as sound files: the master and, equally loud, what a tip plays of it at "
        "its own radius and at others, and what playback adds. The disc is measured first, for level and radius. "
        "Nothing is written over.",
    )  # fmt: skip
    _delivery(listen)
    listen.add_argument("--side", metavar="ID", required=True, help="the side")
    listen.add_argument("--at", metavar="START-END", required=True, help="the passage in file time, as 4:02-4:06")
    listen.add_argument(
        "--level", metavar="VALUE", action="append", default=[],
        help='cut it at this level: release, recommended, clean, or a level such as "-6 dB"; repeatable; default: the '
        "level that the side is judged at",
    )  # fmt: skip
    listen.add_argument(
        "--radius", metavar="RADIUS", action="append", default=[],
        help="play it at this radius too, as 60mm; repeatable",
    )  # fmt: skip
    listen.add_argument(
        "--tip", metavar="TIP", action="append", default=[],
        help="play it with this tip too: 18um, 8x18um along and across the groove, or a name of the ruleset, such as "
        "spherical; repeatable",
    )  # fmt: skip
    _imperfections(listen)
    listen.add_argument("--out", metavar="FOLDER", required=True, help="a folder that is empty or not there yet")
    listen.add_argument("--ruleset", metavar="NAME[@VERSION]", help="cut by this ruleset (or a ruleset file)")
    _chain(listen)
    _processing(listen)
    _stored(listen)


def _where(commands: argparse._SubParsersAction[_Parser]) -> None:
    where = commands.add_parser(
        "where", help="find a place on a side, by radius, time or turn",
        description="Find a place on a side by its radius, its time or its turn: the other two, the track, the seconds "
        "of the turns next to it, and what the groove does there. Angle 0 is where the programme's first turn begins; "
        "a disc does not show it, so find it by a sound of which you have the second. Angles grow the way the stylus "
        "runs: on a disc that lies under the stylus, against the clock. A lathe controls its pitch in its own way: the "
        "same place with the least possible travel is given too.",
        epilog=f"formats of --out:\n{registry.described('where')}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    _delivery(where)
    where.add_argument("--side", metavar="ID", required=True, help="the side")
    where.add_argument(
        "--radius", metavar="RADIUS", help="of the middle of the groove from the middle of the disc, as 71.6mm"
    )
    where.add_argument("--time", metavar="TIME", help="in the side's audio, as 9:43")
    where.add_argument("--turn", metavar="N", help="counted from 1, the turn in which the programme begins")
    where.add_argument("--angle", metavar="ANGLE", help="with --turn: as 120deg; default: where the turn begins")
    where.add_argument(
        "--level", metavar="VALUE",
        help='the side as cut at this level: release, recommended, clean, or a level such as "-6 dB"; default: the '
        "level that the side is judged at",
    )  # fmt: skip
    where.add_argument(
        "--out", metavar="FORMAT=PATH", action="append", default=[],
        help=f"write the place ({registry.choices('where')}); - is stdout; repeatable; default text=-",
    )  # fmt: skip
    where.add_argument("--ascii", action="store_true", help="text: plain ASCII")
    where.add_argument("--ruleset", metavar="NAME[@VERSION]", help="cut by this ruleset (or a ruleset file)")
    _chain(where)
    _processing(where)
    _stored(where)


def _imperfections(listen: argparse.ArgumentParser) -> None:
    """Add the imperfections of a disc and a pickup, each with its source."""
    group = listen.add_argument_group(
        "imperfections", "Of the disc and the pickup; none unless asked for. The keys of their sources are in brackets."
    )  # fmt: skip
    group.add_argument(
        "--vertical-angle-error", metavar="ANGLE",
        help="the pickup's vertical tracking angle exceeds the cutter's by this much, as 3deg (P-3, from memory)",
    )  # fmt: skip
    group.add_argument(
        "--off-centre",
        metavar="LENGTH",
        help="the hole is off the centre by this much, as 0.2mm: wow once a turn (P-7)",
    )
    group.add_argument(
        "--surface-noise", metavar="LEVEL",
        help='noise of the surface in each channel, re 5 cm/s peak lateral at 1 kHz, as "-55 dB" (P-15, from memory; '
        "its spectrum, white in velocity, is assumed)",
    )  # fmt: skip
    group.add_argument(
        "--burnishing-facet", metavar="LENGTH",
        help="length along the groove that the cutter's burnishing facet smooths, as 5um (C-5, a weak source)",
    )  # fmt: skip


def _stored(command: argparse.ArgumentParser) -> None:
    where = command.add_mutually_exclusive_group()
    where.add_argument(
        "--cache", metavar="FOLDER",
        help="where to store what was measured, so that unchanged audio is not measured again; default: the folder "
        "that SIDEGATE_STORE names, else one in the user's cache folder (see sidegate store)",
    )  # fmt: skip
    where.add_argument("--no-cache", action="store_true", help="measure everything, and store nothing of it")
    command.add_argument(
        "--verify", action="store_true",
        help="measure everything again; what is stored and differs is replaced, and stderr says so",
    )  # fmt: skip


def _store(commands: argparse._SubParsersAction[_Parser]) -> None:
    store = commands.add_parser(
        "store", help="show where measurements are stored, or delete them",
        description="Show where measurements are stored, how many and how large they are (show), or delete all of "
        "them (clear). Only files that sidegate stored are deleted.",
    )  # fmt: skip
    store.add_argument("what", nargs="?", choices=["show", "clear"], default="show", help="default: show")
    store.add_argument(
        "--cache", metavar="FOLDER", help="this store instead of that of SIDEGATE_STORE or in the user's cache folder"
    )


def _test(commands: argparse._SubParsersAction[_Parser]) -> None:
    test = commands.add_parser(
        "test", help="run the case files of a house",
        description="Make the delivery of each case file, CHECK/OUTCOME-why.yaml, judge it, and report each case that "
        "does not hold, with what was expected and what was found. A ruleset file next to the cases judges them.",
        epilog="exit codes: 0 all cases hold, 1 one does not, 2 none was found or can be used, 3 a plugin failed",
    )  # fmt: skip
    test.add_argument("folders", metavar="FOLDER", nargs="+", help="a folder of cases, or a case file")
    test.add_argument(
        "--ruleset", metavar="NAME[@VERSION]", help="judge cases that name no ruleset by this one (or a ruleset file)"
    )
    test.add_argument(
        "--only", metavar="TEXT", action="append", default=[],
        help="run only cases with this in their name, CHECK/OUTCOME-why; repeatable",
    )  # fmt: skip
    test.add_argument("--junit", metavar="FILE", help="write the results as JUnit XML too, for build servers")
    test.add_argument("--verbose", action="store_true", help="a line for each case that holds too")
    _without(test)
    _time_out(test)


def _rulesets(commands: argparse._SubParsersAction[_Parser]) -> None:
    rulesets = commands.add_parser(
        "rulesets", help="list the installed rulesets, or compare two",
        description="List the installed rulesets: the disc each is for, and the digest that reports name.",
    )  # fmt: skip
    what = rulesets.add_subparsers(dest="what", metavar="diff", parser_class=_Parser)
    diff = what.add_parser(
        "diff", help="compare two rulesets",
        description="Compare two rulesets: chain, limits, checks, and the kind of release that the changes amount to. "
        "Ends with 0 when the comparison was made, whatever differs.",
    )  # fmt: skip
    diff.add_argument("before", metavar="A", help="NAME[@VERSION], or a ruleset file")
    diff.add_argument("after", metavar="B", help="NAME[@VERSION], or a ruleset file")
    diff.add_argument(
        "--on", metavar="DELIVERY|REPORT.json",
        help="judge this delivery by both, or the measurements of this report by A, and list the outcomes that differ",
    )  # fmt: skip
    diff.add_argument(
        "--out", metavar="FORMAT=PATH", action="append", default=[],
        help=f"write the comparison ({registry.choices('rulesets')}); - is stdout; repeatable; default text=-",
    )  # fmt: skip
    diff.add_argument("--ascii", action="store_true", help="text: plain ASCII")
    _processing(diff)
    _stored(diff)


def _without(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--without", metavar="PLUGIN", action="append", default=[],
        help="leave out this plugin, as SIDEGATE_WITHOUT=PLUGIN,PLUGIN does for every command; repeatable",
    )  # fmt: skip


def _processing(command: argparse.ArgumentParser) -> None:
    _without(command)
    command.add_argument("--workers", metavar="N", type=_count, help="threads to use; default: one for each core")
    _time_out(command)


def _time_out(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--patience", metavar="SECONDS", type=_seconds,
        help="time-out of a call of a plugin, for 1.4 s of audio or anything else; default: 120",
    )  # fmt: skip


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.1 <= value <= 86_400.0:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number of seconds from 0.1 to 86400")
    return value


def _sides(text: str) -> int:
    value = int(text) if text.isascii() and text.isdigit() and len(text) <= 2 else 0
    if not value:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number of sides from 1 to 99")
    return value


def _count(text: str) -> int:
    value = int(text) if text.isascii() and text.isdigit() and len(text) <= 2 else 0
    if not 1 <= value <= 64:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number of threads from 1 to 64")
    return value


def main(argv: list[str] | None = None) -> int:
    """Run a command and return its exit code; each error is one sentence on stderr."""
    try:
        return _run(parser().parse_args(_signed_joined(sys.argv[1:] if argv is None else argv)))
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    except KeyboardInterrupt as stopped:
        say(stopping.SENTENCE)
        return stopped.exit_code if isinstance(stopped, stopping.StoppedError) else 130
    except Exception as error:  # a fault of the tool itself
        if (number := stopping.received()) is not None:  # a module being imported changed the exception
            say(stopping.SENTENCE)
            return 128 + number
        if os.environ.get("SIDEGATE_DEBUG"):
            raise
        text = " ".join(str(error).split())
        say(f"the tool itself failed ({type(error).__name__}: {text}); please report it; SIDEGATE_DEBUG=1 shows where")
        return 3


def _signed_joined(argv: Sequence[str]) -> list[str]:
    """Join `--level -6dB` to `--level=-6dB` and the like: a value with a leading minus looks like an option."""
    joined: list[str] = []
    for index, word in enumerate(argv):
        if word == "--":
            return [*joined, *argv[index:]]
        if joined and joined[-1] in SIGNED and re.match(r"-[0-9.]", word):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _run(words: argparse.Namespace) -> int:
    """Run the named command; only the command line itself may end the process, no code that a command calls."""
    try:
        return _run_named(words)
    except SystemExit as ended:
        raise PluginError(
            f"a plugin ended the command ({type(ended).__name__}), and nothing more was written; run "
            '"sidegate plugins" to see which are installed, and remove the one at fault'
        ) from None


def _run_named(words: argparse.Namespace) -> int:
    """Run the named command, importing only its module."""
    if words.command in COMMANDS | MODULES.keys():
        command: Callable[[argparse.Namespace], int]
        name = words.command.replace("-", "_")
        command = getattr(importlib.import_module(MODULES.get(name, f"qc.cli.{name}")), name)
        stopping.by_unwinding()
        with contextlib.nullcontext() if words.command == "docs" else apart():
            return command(words)
    if words.command == "schema":
        from qc.cli.schema import schema

        return schema(words.model)
    from qc.cli.listing import plugins

    return plugins(words)


def run() -> NoReturn:
    """Run the command of the process, and end the process."""
    end = _End()
    atexit.register(end)  # the first to be registered, so it is called last
    stopping.at_once()
    gc.set_threshold(GARBAGE)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no kernel uses the threads of numpy's linear algebra
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # the search for plugins is slow
    open_missing()
    code: str | int | None
    try:
        code = main()
    except SystemExit as ended:  # help, the version, an unusable command line
        code = ended.code
    except KeyboardInterrupt as stopped:  # a signal during the handling of another one
        code = stopped.exit_code if isinstance(stopped, stopping.StoppedError) else 130
    stopping.at_once()
    _leave(_flushed(code), end)


def _flushed(code: str | int | None) -> str | int | None:
    """Flush stdout and return the exit code, which is not 0 or 1 if the output could not be written."""
    try:
        flush()
    except SidegateError as error:
        say(str(error))
        return error.exit_code if code in {None, 0, 1} else code
    return code


class _End:
    """Ends the process once every other exit handler was called.

    To take down the modules, numba's and the compiler's among them, takes 50 ms, and nothing is left to be done there.
    """

    def __init__(self) -> None:
        self.code = 1
        """exit code of the process; 1 as long as an error that is not handled may end it"""

    def __call__(self) -> NoReturn:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError, AttributeError):  # AttributeError: there is no such stream
                stream.flush()
        os._exit(self.code)


def _leave(code: str | int | None, end: _End) -> NoReturn:
    """End the process, even while a call of a plugin that timed out or was interrupted still runs."""
    stopping.not_at_all()
    end.code = code if isinstance(code, int) else int(code is not None)
    runner = sys.modules.get("qc.plugin_host.runner")
    if runner is not None and runner.unfinished():
        kernels = sys.modules.get("qc.dsp.kernels.cache")
        if kernels is not None:
            kernels.close()  # else what was compiled would be compiled again
        end()
    sys.exit(code)
