"""The parsers of the commands that measure a delivery: check, approve, plan, listen and where."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from qc.cli.common_options import (
    add_ascii,
    add_chain,
    add_delivery,
    add_level,
    add_measuring,
    add_out,
    add_reproducible,
    add_ruleset,
    add_sides,
    add_waivers,
    whole_number,
)  # fmt: skip
from qc.report import registry

if TYPE_CHECKING:
    from qc.cli.common_options import Commands


def add_check(commands: Commands) -> None:
    """Add the parser of `sidegate check`."""
    check = commands.add_parser(
        "check", help="judge a delivery", description="Judge a delivery side by side.",
        epilog=f"formats of --out:\n{registry.described()}", formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    add_delivery(check)
    add_ruleset(check, "judge by this ruleset")
    add_sides(check, "judge")
    add_out(check, "a report", f"{registry.choices()}, or a plugin's format")
    check.add_argument("--note-template", metavar="FILE", help="note: write it from this template of your own")
    detail = check.add_mutually_exclusive_group()
    detail.add_argument("--quiet", action="store_true", help="text: the verdict and what must be fixed, a line each")
    detail.add_argument(
        "--verbose",
        action="store_true",
        help="text: every finding, limit and measurement; on stderr why an analysis was measured again",
    )
    add_ascii(check)
    check.add_argument("--strict", action="store_true", help="end with 1 on warnings too")
    add_waivers(check)
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
    add_level(check, "judge every side at")
    add_reproducible(check)
    add_chain(check)
    add_measuring(check)


def add_approve(commands: Commands) -> None:
    """Add the parser of `sidegate approve`."""
    approve = commands.add_parser(
        "approve", help="judge a delivery and write down that you approve it",
        description="Judge a delivery and, where nothing fails, add an approval to approvals.yaml beside it, bound to "
        "the digests of audio, delivery file and ruleset, with the date and the verdict. What fails is approved only "
        "check by check, each with a reason. A later check lists the approvals and says what has changed since.",
        epilog="exit codes: 0 approved, 1 not approved since a check failed, 2 the command line, delivery file or file "
        "of approvals cannot be used, 3 a plugin or the tool failed",
    )  # fmt: skip
    add_delivery(approve)
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
    add_ruleset(approve, "judge by this ruleset")
    add_waivers(approve)
    approve.add_argument("--own-waivers", action="store_true", help="count only the waivers of --waivers")
    add_level(approve, "judge every side at")
    add_measuring(approve)


def add_plan(commands: Commands) -> None:
    """Add the parser of `sidegate plan`."""
    plan = commands.add_parser(
        "plan", help="compare discs, assumptions, side breaks and orders",
        description="Read each side once and compare every disc size and speed, the assumptions of the chain, and "
        "if asked the breaks into sides and the order of tracks. The exit code is 0 when the plan was "
        "made, whatever fits.",
    )  # fmt: skip
    add_delivery(plan)
    disc = plan.add_mutually_exclusive_group()
    add_ruleset(disc, "plan by this ruleset")
    disc.add_argument("--disc", metavar="SIZE-SPEED", help="plan for another disc than its own, as 12in-45")
    add_sides(plan, "plan")
    plan.add_argument("--split", action="store_true", help="break the programme of all sides, in its order, into sides")
    plan.add_argument("--most", metavar="N", type=_sides, help="with --split: over N sides at the most")
    plan.add_argument("--reorder", action="store_true", help="suggest an order of tracks inside each side")
    add_level(plan, "add the result of the planned disc at")
    add_chain(plan)
    add_out(plan, "the plan", registry.choices("plan"))
    add_ascii(plan)
    add_reproducible(plan)
    add_measuring(plan)


def _sides(text: str) -> int:
    return whole_number(text, 99, "sides")


def add_listen(commands: Commands) -> None:
    """Add the parser of `sidegate listen`."""
    listen = commands.add_parser(
        "listen", help="play a passage as the disc will",
        description="Write a passage of a side as sound files: the master and, equally loud, what a tip plays of it at "
        "its own radius and at others, and what playback adds. The disc is measured first, for level and radius. "
        "Nothing is written over.",
    )  # fmt: skip
    add_delivery(listen)
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
    add_ruleset(listen, "cut by this ruleset")
    add_chain(listen)
    add_measuring(listen)


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


def add_where(commands: Commands) -> None:
    """Add the parser of `sidegate where`."""
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
    add_delivery(where)
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
    add_out(where, "the place", registry.choices("where"))
    add_ascii(where)
    add_ruleset(where, "cut by this ruleset")
    add_chain(where)
    add_measuring(where)
