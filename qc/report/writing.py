"""Write a report in a format of the tool or of a plugin, whole or not at all."""

from __future__ import annotations

import copy
import errno
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple, TypeVar

from qc.files.atomic_write import put_file, put_folder
from qc.model.errors import FAULTS, PluginError, UsageError
from qc.model.report import PluginFailure
from qc.plugin_base import Evidence, FolderRenderer, Renderer, Report
from qc.plugin_host.runner import Runner
from qc.text.exceptions import exception_line

R = TypeVar("R")

CORE = "sidegate"
"""The owner of the formats of the tool itself, as failures name it."""
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}


class FormatFailedError(PluginError):
    """A format that raised or timed out; `failure` names its plugin."""

    def __init__(self, failure: PluginFailure) -> None:
        super().__init__(failure.message)
        self.failure = failure


class FormatCalls(NamedTuple):
    """Calls of the code of a format: its name, the plugin it is of, and the runner, which has the time-out."""

    name: str
    owner: str
    runner: Runner

    def __call__(self, call: Callable[[], R], outcome: str = "nothing was written") -> R:
        """Call into the format and return its result; raises FormatFailedError if it raises or times out.

        `outcome` says what is written then. A UsageError of a format of the tool passes as it is, and so does an
        OSError of a full disk, which is no fault of the format.
        """
        try:
            return self.runner(call)
        except FAULTS as error:
            if isinstance(error, UsageError) and self.owner == CORE:
                raise
            if isinstance(error, OSError) and error.errno in FULL:
                raise
            message = f'the format "{self.name}" broke: {exception_line(error)}; {outcome}'
            raise FormatFailedError(PluginFailure(plugin=self.owner, stage=self.name, message=message)) from None

    def write(self, renderer: Renderer, report: Report, evidence: Evidence, out: Path | BinaryIO, place: str) -> None:
        """Write a report to a path or a stream.

        Errors name a path by `place`. Raises FormatFailedError if the format fails, UsageError if it cannot use its
        input or writes a folder and `out` is a stream, OutputError if the path cannot be written; nothing is left half
        written at a path.
        """

        def into(call: Callable[[Any, Any, Any], None], place: BinaryIO | Path) -> None:
            self(partial(call, report, evidence, place))

        if self.owner != CORE:
            report, evidence = report.model_copy(deep=True), _copied(evidence)
        if isinstance(renderer, FolderRenderer):
            if not isinstance(out, Path):
                raise UsageError(f'the format "{self.name}" writes a folder of files; name its path')
            put_folder(out, partial(into, renderer.fill), place)
        elif isinstance(out, Path):
            put_file(out, partial(into, renderer.render), place)
        else:
            into(renderer.render, out)

    def remark(self, renderer: Renderer) -> str:
        """Return the remark of a format on the report that it has written; raises FormatFailedError if that fails."""
        return self(lambda: str(renderer.remark), "the report itself was written")


def _copied(evidence: Evidence) -> Evidence:
    """Return a copy of the evidence for one format, all but the cited sources, which are read on first access."""
    return replace(copy.deepcopy(replace(evidence, sources={})), sources=evidence.sources)
