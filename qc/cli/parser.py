"""The parser of the `sidegate` command: its options, its help, and the sentence of an unusable command line."""

from __future__ import annotations

import argparse
import functools
import sys
from typing import TYPE_CHECKING, NoReturn

import qc
from qc.cli.common_options import add_ascii, add_measuring, add_out, add_ruleset, add_time_out, add_without
from qc.cli.delivery_parsers import add_approve, add_check, add_listen, add_plan, add_where
from qc.cli.streams import LONGEST, emit
from qc.report import registry
from qc.text.sanitize import shown

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

    from qc.cli.common_options import Commands

EPILOG = """\
exit codes: 0 nothing failed, 1 a check failed (with --strict: or warned), 2 the command line, delivery file or
ruleset cannot be used, 3 a plugin or the tool failed"""


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
    commands: Commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)
    add_check(commands)
    add_approve(commands)
    add_plan(commands)
    add_listen(commands)
    add_where(commands)
    _demo(commands)
    _init(commands)
    _rulesets(commands)
    _store(commands)
    _plugins(commands)
    _docs(commands)
    _new_plugin(commands)
    _test(commands)
    _schema(commands)
    _explain(commands)
    _completion(commands)
    return top


def _demo(commands: Commands) -> None:
    demo = commands.add_parser(
        "demo", help="make a small delivery by code and judge it",
        description="Make a 7-inch single by code, its second side with faults on purpose, and judge it. "
        "Ends with 0 when the faults were found.",
    )  # fmt: skip
    demo.add_argument(
        "folder", metavar="FOLDER", nargs="?", default="sidegate-demo",
        help="an empty folder, or one to be made; default: sidegate-demo",
    )  # fmt: skip


def _init(commands: Commands) -> None:
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


def _rulesets(commands: Commands) -> None:
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
    add_out(diff, "the comparison", registry.choices("rulesets"))
    add_ascii(diff)
    add_measuring(diff)


def _store(commands: Commands) -> None:
    store = commands.add_parser(
        "store", help="show where measurements are stored, or delete them",
        description="Show where measurements are stored, how many and how large they are (show), or delete all of "
        "them (clear). Only files that sidegate stored are deleted.",
    )  # fmt: skip
    store.add_argument("what", nargs="?", choices=["show", "clear"], default="show", help="default: show")
    store.add_argument(
        "--cache", metavar="FOLDER", help="this store instead of that of SIDEGATE_STORE or in the user's cache folder"
    )


def _plugins(commands: Commands) -> None:
    plugins = commands.add_parser(
        "plugins", help="list the plugins, what each brings, and what did not load",
        description="List the plugins with their packages and versions, the checks, measurements, rulesets and formats "
        "that each brings, and why one did not load. Ends with 3 where one did not.",
    )  # fmt: skip
    add_without(plugins)


def _docs(commands: Commands) -> None:
    docs = commands.add_parser(
        "docs", help="print a page for people who write plugins or rulesets",
        description="Print a page for people who write plugins or rulesets, in Markdown, and through a pager on a "
        "terminal; without PAGE list the pages.",
    )  # fmt: skip
    docs.add_argument("page", metavar="PAGE", nargs="?", choices=["plugins", "hooks", "rulesets", "units", "cases"])


def _new_plugin(commands: Commands) -> None:
    new = commands.add_parser(
        "new-plugin", help="write a package with house rules to begin with",
        description="Write a package that brings checks with what they measure, a ruleset, and tests that it passes "
        "once it is installed. Nothing is written over.",
    )  # fmt: skip
    new.add_argument("name", metavar="NAME", help="small letters, digits and hyphens, such as harbour-rules")
    new.add_argument("--out", metavar="FOLDER", help="a folder that is not there yet; default: NAME")


def _test(commands: Commands) -> None:
    test = commands.add_parser(
        "test", help="run the case files of a house",
        description="Make the delivery of each case file, CHECK/OUTCOME-why.yaml, judge it, and report each case that "
        "does not hold, with what was expected and what was found. A ruleset file next to the cases judges them.",
        epilog="exit codes: 0 all cases hold, 1 one does not, 2 none was found or can be used, 3 a plugin failed",
    )  # fmt: skip
    test.add_argument("folders", metavar="FOLDER", nargs="+", help="a folder of cases, or a case file")
    add_ruleset(test, "judge cases that name no ruleset by this one")
    test.add_argument(
        "--only", metavar="TEXT", action="append", default=[],
        help="run only cases with this in their name, CHECK/OUTCOME-why; repeatable",
    )  # fmt: skip
    test.add_argument("--junit", metavar="FILE", help="write the results as JUnit XML too, for build servers")
    test.add_argument("--verbose", action="store_true", help="a line for each case that holds too")
    add_without(test)
    add_time_out(test)


def _schema(commands: Commands) -> None:
    schema = commands.add_parser("schema", help="print a JSON Schema")
    schema.add_argument(
        "model",
        choices=["report", "plan", "listen", "where", "delivery", "ruleset", "rulesets-diff", "waivers", "approvals"],
    )


def _explain(commands: Commands) -> None:
    explain = commands.add_parser(
        "explain", help="explain a check, a measurement, a report format or a hook",
        description="Explain what a check finds, why, how, by which limits and sources; or what a measurement is, a "
        "value of the chain, such as cut.land, a report format, or a hook of plugins.",
    )  # fmt: skip
    explain.add_argument("name", metavar="NAME", help="for example groove.drive-too-high, cut.land, sarif or qc_checks")
    add_ruleset(explain, "show the limits of this ruleset")
    add_without(explain)
    explain.add_argument("--ascii", action="store_true", help="plain ASCII")


def _completion(commands: Commands) -> None:
    completion = commands.add_parser("completion", help="print a completion script for a shell")
    completion.add_argument("shell", nargs="?", choices=["bash", "zsh", "fish"])
    completion.add_argument(
        "--list", choices=["rulesets", "names", "chain", "plugins", "formats"], help=argparse.SUPPRESS
    )
