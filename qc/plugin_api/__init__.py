"""Everything that a plugin imports, on one page; plugin code handles no threads, locks or files.

Measuring and judging are separate. An `Analysis` processes the audio in blocks and depends on nothing of a ruleset
but `chain.signal`; a `Derived` need is computed from results and the chain, a `GrooveDerived` need from the groove at
a cut level; a `Check` compares published numbers with limits. Needs are frozen dataclasses and serve as keys, so that
equal needs are computed once.

Four modules of the page are for plugins that measure as the standard one does: `qc.plugin_api.meters`,
`qc.plugin_api.kernels`, `qc.plugin_api.groove_model` and `qc.plugin_api.remedies`. Each name is imported when it is
first asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # found by name below
    from qc.audio.received import AsReceived, ReceivedAudio
    from qc.audio.tags.model import CuePoint, FileTag, FileTags
    from qc.groove.signal.energies import Parts, PartSums
    from qc.groove.signal.programme import Programme, ProgrammeBounds
    from qc.groove.signal.sector_envelopes import GrooveInput, Sectors
    from qc.model.check_docs import CheckWords, ForClient
    from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
    from qc.model.errors import NotApplicableError, NotMeasuredError, SecondLookError
    from qc.model.figures import Curve, Spectrum, View
    from qc.model.groove import Groove
    from qc.model.parameters import Pattern, Unit
    from qc.model.quantity import At, Model, Polarity, Quantity, clock, convert, meets, minutes, show
    from qc.model.report import CheckResult, Finding, Limit, Location, Outcome, Remedy, Report, Scope, Severity, Stretch
    from qc.model.track import Track
    from qc.plugin_base import (
        Analysis,
        Block,
        Check,
        CheckContext,
        Cited,
        Derived,
        Evidence,
        Excerpt,
        FolderRenderer,
        GrooveAt,
        GrooveDerived,
        Judged,
        LimitCheck,
        Measurements,
        Need,
        Renderer,
        Running,
        RunningTap,
        Samples,
        Stream,
        Tap,
    )
    from qc.plugin_host.spec import hookimpl

_ELSEWHERE = {
    "AsReceived": "qc.audio.received",
    "CuePoint": "qc.audio.tags.model",
    "FileTag": "qc.audio.tags.model",
    "FileTags": "qc.audio.tags.model",
    "GrooveInput": "qc.groove.signal.sector_envelopes",
    "NotMeasuredError": "qc.model.errors",
    "PartSums": "qc.groove.signal.energies",
    "Parts": "qc.groove.signal.energies",
    "Polarity": "qc.model.quantity",
    "Programme": "qc.groove.signal.programme",
    "ProgrammeBounds": "qc.groove.signal.programme",
    "ReceivedAudio": "qc.audio.received",
    "SECTORS_A_SECOND": "qc.model.cutting_chain",
    "SecondLookError": "qc.model.errors",
    "Sectors": "qc.groove.signal.sector_envelopes",
    "Track": "qc.model.track",
    "clock": "qc.model.quantity",
    "convert": "qc.model.quantity",
    "hookimpl": "qc.plugin_host.spec",
    "meets": "qc.model.quantity",
    "minutes": "qc.model.quantity",
    "show": "qc.model.quantity",
}
"""name -> module that it is in, of the names that qc.plugin_base does not have"""

__all__ = [
    "SECTORS_A_SECOND", "Analysis", "AsReceived", "At", "Block", "Chain", "Check", "CheckContext", "CheckResult",
    "CheckWords", "Cited", "CuePoint", "Curve", "Derived", "Evidence", "Excerpt", "FileTag", "FileTags", "Finding",
    "FolderRenderer", "ForClient", "Groove", "GrooveAt", "GrooveDerived", "GrooveInput", "Judged", "Limit",
    "LimitCheck", "Location", "Measurements", "Model", "Need", "NotApplicableError", "NotMeasuredError", "Outcome",
    "PartSums", "Parts", "Pattern", "Polarity", "Programme", "ProgrammeBounds", "Quantity", "ReceivedAudio", "Remedy",
    "Renderer", "Report", "Running", "RunningTap", "Samples", "Scope", "SecondLookError", "Sectors", "Severity",
    "Spectrum", "Stream", "Stretch", "Tap", "Track", "Unit", "View", "clock", "convert", "hookimpl", "meets", "minutes",
    "show",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Import a name of the page when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_ELSEWHERE.get(name, "qc.plugin_base")), name)


def __dir__() -> list[str]:
    """List the names of the page."""
    return list(__all__)
