"""The classes that plugins are made from, which the page `qc.plugin_api` hands on; the core imports them from here.

Measuring and judging are separate. An `Analysis` processes the audio in blocks and depends on nothing of a ruleset
but `chain.signal`; a `Derived` need is computed from results and the chain, a `GrooveDerived` need from the groove at
a cut level; a `Check` compares published numbers with limits. Needs are frozen dataclasses and serve as keys, so that
equal needs are computed once.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, ClassVar, Generic, Protocol, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc.model.check_docs import CheckWords, ForClient
from qc.model.cutting_chain import Chain
from qc.model.errors import NotApplicableError, NotMeasuredError, SecondLookError
from qc.model.figures import Curve, Spectrum, View
from qc.model.groove import Groove
from qc.model.names import limit_key
from qc.model.parameters import Pattern, Unit
from qc.model.quantity import At, Model, Op, Quantity
from qc.model.report import (
    CheckResult,
    Finding,
    Limit,
    Location,
    Outcome,
    Remedy,
    Report,
    Scope,
    Severity,
    Stretch,
    Subject,
)

if TYPE_CHECKING:
    from qc.model.plan import FormatRow

__all__ = [
    "Analysis", "At", "Block", "Chain", "Check", "CheckContext", "CheckResult", "CheckWords", "Cited", "Curve",
    "Derived", "Evidence", "Excerpt", "Finding", "FolderRenderer", "ForClient", "Groove", "GrooveAt", "GrooveDerived",
    "Judged", "Limit", "LimitCheck", "Location", "Measurements", "Model", "Need", "NotApplicableError",
    "NotMeasuredError", "Outcome", "Pattern", "Quantity", "Remedy", "Renderer", "Report", "Running", "RunningTap",
    "Samples", "Scope", "SecondLookError", "Severity", "Spectrum", "Stream", "Stretch", "Tap", "Unit", "View",
]  # fmt: skip

Samples = NDArray[np.float64]
"""Samples, shape (channels, frames), C order, read-only; full scale is 1.0."""

R = TypeVar("R")
R_co = TypeVar("R_co", covariant=True)
P = TypeVar("P", bound=Model)


# -- measuring -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stream:
    """Properties of an audio source. A mono side is processed as the dual mono that will be cut."""

    source: str
    """key of the source, "side:A" """
    rate: int
    """frames a second"""
    channels: int
    frames: int
    mono: bool = False
    """whether the file has one channel, so that both channels are equal"""


class RunningTap(Protocol):
    """The state of a tap on one stream.

    Analyses read a returned array later, after further calls of `push`. It is therefore copied, unless the tap
    promises by `lasting = True` that it never writes to an array that it has returned.
    """

    def push(self, x: Samples) -> Samples:
        """Process the next samples of the base and return those that are ready, (channels, frames).

        Frames may be kept back for later calls; in total the output is the same for any block size.
        """
        ...

    def flush(self) -> Samples:
        """Return the frames kept back, after the last block."""
        ...


class Tap(ABC):
    """A signal derived from the source or another tap: a frozen dataclass, so that equal taps are computed once."""

    def base(self) -> Tap | None:
        """Return the tap that this one reads, or None for the channels of the source."""
        return None

    def rate(self, stream: Stream) -> int:
        """Return the frames a second of this tap."""
        return stream.rate

    def delay_s(self, stream: Stream) -> float:  # noqa: ARG002
        """Return the time of the tap's first frame in the stream, in s; the tap itself removes filter delays."""
        return 0.0

    @abstractmethod
    def start(self, stream: Stream) -> RunningTap:
        """Return the initial state for a stream."""


class Block(Protocol):
    """A block of a stream. `block[tap]` is the output of the tap for this block, computed once."""

    @property
    def stream(self) -> Stream:
        """The stream that the block is part of."""
        ...

    @property
    def start(self) -> int:
        """Frame of the stream at which `samples` start."""
        ...

    @property
    def samples(self) -> Samples:
        """Left and right channel, shape (2, frames), read-only."""
        ...

    def __getitem__(self, tap: Tap) -> Samples: ...


class Need(ABC, Generic[R]):
    """A measurement: a frozen dataclass with the key (id, version, fields)."""

    id: ClassVar[str]
    version: ClassVar[int] = 1
    publishes: ClassVar[Mapping[str, str]] = {}
    """measurement name -> unit"""
    meanings: ClassVar[Mapping[str, str]] = {}
    """measurement name -> its meaning in a sentence, which `sidegate explain` prints"""
    curve_units: ClassVar[Mapping[str, str]] = {}
    """name -> unit of curves that follow no published number"""

    @classmethod
    @abstractmethod
    def of(cls, chain: Chain) -> Self:
        """Build the need for a chain; an analysis may use values of `chain.signal` only."""

    def publish(self, result: R) -> Mapping[str, Quantity]:  # noqa: ARG002
        """Return the named numbers of a result; a name that has no meaning for it may be left out."""
        return {}

    def curves(self, result: R) -> Mapping[str, Curve]:  # noqa: ARG002
        """Return curves along the side by the name of a number it publishes, or a name of `curve_units`."""
        return {}


class Running(Protocol[R_co]):
    """The state of an analysis on one stream."""

    def push(self, block: Block) -> None:
        """Process the next block. The last one may have no samples, only the frames that taps had kept back."""
        ...

    def finish(self) -> R_co:
        """Return the result, after the last block."""
        ...


class Analysis(Need[R]):
    """A measurement of the audio; it depends on no limit and no level."""

    cost: ClassVar[float] = 10.0
    """expected time in ns a frame, used to distribute the analyses over threads"""

    def taps(self) -> tuple[Tap, ...]:
        """Return the taps that this analysis reads, used to distribute the analyses over threads."""
        return ()

    @abstractmethod
    def start(self, stream: Stream) -> Running[R]:
        """Return the initial state for a stream."""


class Derived(Need[R]):
    """A measurement computed from other results and the chain, without audio."""

    @abstractmethod
    def needs(self) -> tuple[Need[Any], ...]:
        """Return the needs whose results `work` reads."""

    @abstractmethod
    def work(self, measured: Measurements) -> R:
        """Compute the result."""


class GrooveDerived(Need[R]):
    """A measurement of the groove: a number of the side at the cut level that it is judged at.

    Where a limit on one of its numbers has `sets_level`, `evaluate` is called at several levels to find the highest at
    which the limit holds, at most 16 times a side and once a level. `plan` calls it as often again for each disc and
    for each assumption that it tries, and `check --out html` for each disc in its comparison whose ruleset has the
    limit. So that there is a highest level, a number must not get better as the level rises. `evaluate` is a pure
    function: of the same groove and results it returns the same.
    """

    def needs(self) -> tuple[Need[Any], ...]:
        """Return the needs whose results `evaluate` reads in addition to the groove: any `Analysis` or `Derived`."""
        return ()

    @abstractmethod
    def evaluate(self, groove: Groove, results: Measurements) -> R:
        """Compute the result from the groove at one cut level; `results[need]` is the result of one of `needs`."""


@dataclass(frozen=True)
class GrooveAt(Need[Groove]):
    """The groove at a cut level in dB, None for the level that the side is judged at.

    A check that names it in `needs` gets the `Groove` at the judged level as `ctx[GrooveAt]`.
    """

    id: ClassVar[str] = "groove.at"

    level_db: float | None = None

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build it for the level that the side is judged at."""
        return cls()


@dataclass(frozen=True)
class Measurements:
    """The results for one source, with the failures by need; a failure is never a pass."""

    stream: Stream
    passes: int = 1
    results: Mapping[Need[Any], Any] = field(default_factory=dict)
    failed: Mapping[Need[Any], str] = field(default_factory=dict)

    def __getitem__(self, need: Need[R]) -> R:
        """Return the result of a need; raises LookupError with the reason when the need failed."""
        if need in self.failed:
            raise LookupError(f"{need.id}: {self.failed[need]}")
        result: R = self.results[need]
        return result


# -- judging ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Judged:
    """The measurement that a limit of a check applies to, and whether the limit is a maximum or a minimum."""

    measure: str
    op: Op
    """"<=" for a maximum, ">=" for a minimum"""
    of: str = ""
    """term of the trade for the number, used in the message: "the lateral slope" """


class CheckContext(Protocol):
    """The data of one side for a check; a check of scope delivery reaches the sides through `of`."""

    @property
    def side(self) -> str:
        """Id of the side."""
        ...

    @property
    def chain(self) -> Chain:
        """The assumed chain from the file to the stylus."""
        ...

    @property
    def declared(self) -> Mapping[str, Any]:
        """The entry of the side in the delivery file."""
        ...

    @property
    def requested_level(self) -> float | None:
        """The requested cut level in dB: that of `--level`, else the side's `cut_level`; None for a free side."""
        ...

    @property
    def delivery(self) -> Mapping[str, Any]:
        """The delivery file without its sides: title, catalogue, disc ..."""
        ...

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources that can be judged, "side:A", "side:B" ..., in the order of the delivery file."""
        ...

    def of(self, source: str) -> CheckContext:
        """Return the context of a source; only checks of scope delivery have several."""
        ...

    def note(self, sentence: str) -> None:
        """Add a remark that is no finding; it becomes the reason of the outcome."""
        ...

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Return the result of a need; raises NotMeasuredError when this side does not have it."""
        ...

    def measured(self, name: str) -> Quantity:
        """Return a published number; raises NotMeasuredError when this side does not have it."""
        ...

    def earlier(self, name: str) -> Quantity | None:
        """Return a published number of the same side in the report of `--baseline`, or None where it is not there."""
        ...

    def judge(self, name: str, limit: Limit, *, op: Op, of: str = "", remedy: str = "") -> Iterable[Finding]:
        """Compare a published number with a limit and return at most one finding, at the number's own place.

        A groove number has a finding for every event: each stretch of the side that does not keep the limit.
        """
        ...

    def hold(
        self, quantity: Quantity, limit: Limit, *, op: Op, of: str, field: tuple[str | int, ...] = (), remedy: str = ""
    ) -> Iterable[Finding]:
        """Compare a number that the check itself computed with a limit and return at most one finding.

        The finding is placed at `quantity.at` and, in the delivery file, at `field`: ("tracks", 1, "start").
        """
        ...

    def found(
        self,
        severity: Severity,
        message: str,
        *,
        measured: Quantity | str,
        at: At | None = None,
        field: tuple[str | int, ...] = ("audio",),
        remedy: str = "",
    ) -> Finding:
        """Return a finding without a limit; `field` is the key of the delivery file that it is about."""
        ...


class Excerpt(Protocol):
    """A second look at a side after judging, for remedies: a few seconds of audio, and the results and numbers.

    At most 60 s of a side are read again, settling time of the filters included. Beyond that, or where the file is
    gone, a call raises SecondLookError; `advise` need not catch it, and the finding then keeps its remedy.
    """

    @property
    def side(self) -> str:
        """Id of the side."""
        ...

    @property
    def chain(self) -> Chain:
        """The assumed chain from the file to the stylus."""
        ...

    @property
    def stream(self) -> Stream:
        """Properties of the side's audio; `tap.rate(look.stream)` is the rate of a tap's output."""
        ...

    def __call__(self, start_s: float, end_s: float, tap: Tap | None = None) -> Samples:
        """Return samples between two file seconds, of the source or of a tap; (channels, frames), read-only.

        The first frame is the one nearest to `start_s` at the rate of the tap, on the same frame grid as in the first
        pass. Seconds outside the file are cut off.
        """
        ...

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Return the result of a need; raises NotMeasuredError when this side does not have it."""
        ...

    def measured(self, name: str) -> Quantity:
        """Return a published number; raises NotMeasuredError when this side does not have it."""
        ...

    def level_for(self, finding: Finding) -> Quantity:
        """Return the highest cut level, dB, at which the value that the finding breaks holds by itself.

        It is met within 0.1 dB, from -40 to +20 dB; `bound` is "<" where the value holds at none of these levels. The
        limit must be one of the check's `judges`, on a number of the groove, but need not have `sets_level`. Raises
        NotMeasuredError, with the reason, where no such level can be found.
        """
        ...


class Check(ABC, Generic[P]):
    """One rule. Its texts are used in reports and in the rulebook."""

    id: ClassVar[str]
    title: ClassVar[str]
    why: ClassVar[str]
    how: ClassVar[str]
    remedy: ClassVar[str]
    blind_to: ClassVar[str] = ""
    subject: ClassVar[Subject | None] = None
    """what its findings are about: "programme", "groove" or "paperwork". None stands for that of the id's area: groove
    and hf are about the groove, delivery and layout about the paperwork, all others about the programme"""
    sensitivity: ClassVar[str] = ""
    """from which strength planted faults were found, in half of the tries and in all"""
    client: ClassVar[ForClient | None] = None
    """texts for the letter to the client, which without them uses `title` and `remedy`"""
    scope: ClassVar[Scope] = "side"
    needs: ClassVar[tuple[type[Need[Any]], ...]] = ()
    Limits: ClassVar[type[Model]]
    """its limits, each a `Limit`, and its parameters: fields of type str, bool, int, float, Literal, Enum or `Pattern`,
    a number in a unit as `Annotated[float, Unit("mm")]`, each with a description, as `Field(description=...)`"""
    judges: ClassVar[Mapping[str, Judged]] = {}
    """limit key -> the measurement it applies to; only these limits can set the level. One limit may apply to several
    measurements: "peak" and "peak.vertical" are both the limit "peak"."""
    waivable: ClassVar[bool] = True
    """whether its findings can be waived; false for checks whose failure makes every other result meaningless"""
    explains: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """id of another check -> kinds of its findings, the texts of `measured`, that have the same cause; () for all. They
    are left out of a side on which this check has a finding as grave that no waiver covers"""

    def __init__(self, limits: P) -> None:
        self.limits = limits

    @abstractmethod
    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Return the findings of one side; raises NotApplicableError where there is nothing to judge."""

    def advise(self, finding: Finding, look: Excerpt) -> Finding:  # noqa: ARG002
        """Return the finding with a remedy in numbers; only `remedy` and `remedies` may change.

        Called after judging, for the gravest findings first, until the seconds of the second look are used up.
        """
        return finding


class LimitCheck(Check[P]):
    """A check made of limits alone: each entry of `judges` is compared with its measurement."""

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare every measurement with its limit; raises NotApplicableError where the ruleset states none."""
        if self.judges and not any(getattr(self.limits, limit_key(key)) for key in self.judges):
            raise NotApplicableError("the ruleset states none of its limits")
        for key, judged in self.judges.items():
            limit: Limit | None = getattr(self.limits, limit_key(key))
            if limit is not None:  # a ruleset may leave out an optional limit
                yield from ctx.judge(judged.measure, limit, op=judged.op, of=judged.of)


@dataclass(frozen=True, eq=False)
class Evidence:
    """Data for formats that is not part of the JSON report; the arrays are there only for formats that draw."""

    traces: Mapping[str, Mapping[str, NDArray[np.float64]]] = field(default_factory=dict)
    """side -> name -> (sectors,) values at the judged level, a sector being 1/75 s of the side as cut"""
    curves: Mapping[str, Mapping[str, Curve]] = field(default_factory=dict)
    """side -> measurement name -> its curve along the file"""
    views: Mapping[str, tuple[View, ...]] = field(default_factory=dict)
    """side -> the groove at its gravest findings, seen from above"""
    spectra: Mapping[str, Spectrum] = field(default_factory=dict)
    """side -> its long-term spectrum"""
    words: Mapping[str, CheckWords] = field(default_factory=dict)
    """check id -> texts of the check; without those of checks whose plugin is missing"""
    sources: Mapping[str, Cited] = field(default_factory=dict)
    """key -> the source that rulesets cite by it; read on first access"""
    formats: Mapping[str, tuple[FormatRow, ...]] = field(default_factory=dict)
    """side -> its result on each disc, the disc of the delivery first"""


class Cited(Protocol):
    """A cited source of limits."""

    @property
    def title(self) -> str:
        """Title of the document."""
        ...

    @property
    def figure(self) -> str:
        """The cited figure, as the document states it."""
        ...

    @property
    def confidence(self) -> str:
        """Grade of trust in the figure."""
        ...


class Renderer(ABC):
    """A report format."""

    name: ClassVar[str]
    suffixes: ClassVar[tuple[str, ...]] = ()
    draws: ClassVar[bool] = False
    """whether the format reads the arrays of the evidence; without it they may be empty"""
    folder: ClassVar[bool] = False
    """whether it writes a folder of files; see FolderRenderer"""
    remark: str = ""
    """a sentence for stderr after the report is written, for example that an optional package is missing"""

    @classmethod
    def for_path(cls, path: Path | None) -> Self:  # noqa: ARG003
        """Build the renderer for an output path (None for stdout), whose suffix may select a variant."""
        return cls()

    @abstractmethod
    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write the whole report to `out`, as UTF-8 where it is text."""


class FolderRenderer(Renderer):
    """A report format of several files in a folder, which is written under a temporary name and renamed at the end."""

    folder: ClassVar[bool] = True

    @abstractmethod
    def fill(self, report: Report, evidence: Evidence, folder: Path) -> None:
        """Write all files into an empty folder."""

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Raise TypeError, since a folder cannot be written to a stream."""
        raise TypeError(f"{self.name} writes a folder")
