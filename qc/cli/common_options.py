"""Options that several commands have, each with its help."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from qc.text.sanitize import shown

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001 - there is no public name


def add_delivery(command: argparse.ArgumentParser) -> None:
    """Add the delivery that a command reads."""
    command.add_argument("delivery", metavar="DELIVERY", help="a delivery file, or a folder holding delivery.yaml")


def add_ruleset(command: argparse.ArgumentParser | argparse._MutuallyExclusiveGroup, what: str) -> None:
    """Add --ruleset; `what` says what is done by it: "judge by this ruleset"."""
    command.add_argument("--ruleset", metavar="NAME[@VERSION]", help=f"{what} (or a ruleset file)")


def add_sides(command: argparse.ArgumentParser, verb: str) -> None:
    """Add --side for a command that takes all sides unless some are named."""
    command.add_argument("--side", metavar="ID", action="append", default=[], help=f"{verb} only this side; repeatable")


def add_out(command: argparse.ArgumentParser, what: str, formats: str) -> None:
    """Add --out FORMAT=PATH, with the formats that the command writes."""
    command.add_argument(
        "--out", metavar="FORMAT=PATH", action="append", default=[],
        help=f"write {what} ({formats}); - is stdout; repeatable; default text=-",
    )  # fmt: skip


def add_ascii(command: argparse.ArgumentParser) -> None:
    """Add --ascii for the text format."""
    command.add_argument("--ascii", action="store_true", help="text: plain ASCII")


def add_waivers(command: argparse.ArgumentParser) -> None:
    """Add --waivers."""
    command.add_argument("--waivers", metavar="FILE", help="a file of waivers, in addition to those of the delivery")


def add_level(command: argparse.ArgumentParser, what: str) -> None:
    """Add --level; `what` says what is done at it: "judge every side at"."""
    command.add_argument(
        "--level", metavar="VALUE",
        help=f"{what} this level, whatever the delivery requests: release (the lowest recommended level of the disc's "
        'sides), recommended (its own), clean (nothing warns), or a level such as "-6 dB"',
    )  # fmt: skip


def add_chain(command: argparse.ArgumentParser) -> None:
    """Add --chain."""
    command.add_argument(
        "--chain", metavar="KEY=VALUE", action="append", default=[],
        help='change a chain value for this run, as "cut.land=10um"; repeatable; the report says so',
    )  # fmt: skip


def add_reproducible(command: argparse.ArgumentParser) -> None:
    """Add --reproducible."""
    command.add_argument(
        "--reproducible", action="store_true",
        help="leave out the time and duration of the run, so that two runs write the same bytes",
    )  # fmt: skip


def add_measuring(command: argparse.ArgumentParser) -> None:
    """Add the options of every command that measures audio: plugins, threads and the store of measurements."""
    add_without(command)
    command.add_argument("--workers", metavar="N", type=_threads, help="threads to use; default: one for each core")
    add_time_out(command)
    store = command.add_mutually_exclusive_group()
    store.add_argument(
        "--cache", metavar="FOLDER",
        help="where to store what was measured, so that unchanged audio is not measured again; default: the folder "
        "that SIDEGATE_STORE names, else one in the user's cache folder (see sidegate store)",
    )  # fmt: skip
    store.add_argument("--no-cache", action="store_true", help="measure everything, and store nothing of it")
    command.add_argument(
        "--verify", action="store_true",
        help="measure everything again; what is stored and differs is replaced, and stderr says so",
    )  # fmt: skip


def add_without(command: argparse.ArgumentParser) -> None:
    """Add --without, which switches plugins off."""
    command.add_argument(
        "--without", metavar="PLUGIN", action="append", default=[],
        help="leave out this plugin, as SIDEGATE_WITHOUT=PLUGIN,PLUGIN does for every command; repeatable",
    )  # fmt: skip


def add_time_out(command: argparse.ArgumentParser) -> None:
    """Add --patience, the time-out of plugins."""
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


def _threads(text: str) -> int:
    return whole_number(text, 64, "threads")


def whole_number(text: str, most: int, what: str) -> int:
    """Read a number from 1 to `most`, which has two digits; raises ArgumentTypeError."""
    value = int(text) if text.isascii() and text.isdigit() and len(text) <= 2 else 0
    if not 1 <= value <= most:
        raise argparse.ArgumentTypeError(f"{shown(text)} is not a number of {what} from 1 to {most}")
    return value
