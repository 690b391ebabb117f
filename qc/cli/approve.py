"""`sidegate approve`: judge a delivery and write down who approved it, bound to what was judged."""

from __future__ import annotations

import argparse
import os
from datetime import date
from pathlib import Path

from qc import api
from qc.cli.delivery_run import delivery_path, run_options
from qc.cli.plugin_host import host_of, say_failures
from qc.cli.streams import emit, say
from qc.delivery.approvals import NAME
from qc.delivery.reader import ReadDelivery
from qc.judge.approve import ApproveRequest
from qc.judge.level_option import read_level
from qc.model.errors import UsageError
from qc.text.sanitize import shown


def approve(words: argparse.Namespace) -> int:
    """Run the command; raises SidegateError for unusable input, before anything is written."""
    path = delivery_path(words)
    request = ApproveRequest.parse(words.by, words.note, words.despite, words.reason)
    read_level(words.level)  # refuse a bad value before anything is loaded
    if words.waivers == "":
        raise UsageError("--waivers: the file has no name")
    host = host_of(words)
    read = api.read_any(path, host)
    place = _place(words.approvals, read)
    asked = api.Options(
        words.ruleset, waivers=None if words.waivers is None else Path(words.waivers), own_waivers=words.own_waivers,
        today=date.today(), level=words.level,  # noqa: DTZ011 - the local day, as a person would write it
    )  # fmt: skip
    with run_options(asked, words, host, read) as options:
        decision = api.approve(path, request, place, options, host, read)
    say_failures(decision.report.plugin_failures, decision.report.plugin_warnings)
    if decision.approval is None:
        say(decision.refused)
        return decision.code
    given = decision.approval
    level = f" at {given.level}" if given.level else ""
    emit(f"approved by {given.by} on {given.on}: {given.verdict.upper()} by {given.ruleset}{level}\n".encode())
    say(f"wrote the approval to {shown(str(place), 500)}")
    return 0


def _place(written: str | None, read: ReadDelivery) -> Path:
    """Return the file to add to; raises UsageError for one that is the delivery's own."""
    if written == "":
        raise UsageError("--approvals: the file has no name")
    place = read.folder / NAME if written is None else Path(written)
    if os.path.realpath(place) in {os.path.realpath(file) for file in read.files}:
        raise UsageError(f"--approvals: {shown(str(place), 500)} belongs to the delivery; name another file")
    return place
