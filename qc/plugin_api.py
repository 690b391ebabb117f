"""Everything a plugin author meets, on one page: no thread, no lock, no file, and limits only in checks.

Measuring and judging stay apart. An `Analysis` hears the audio in blocks and sees nothing of a ruleset but
`chain.signal`; a `Derived` need is worked out from results and the chain; a `Check` judges published numbers.
Needs are frozen dataclasses: the object is the key, equal ones are computed once.
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
from qc.model.figures import Curve, Spectrum, View
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
)

if TYPE_CHECKING:
    from qc.model.plan import FormatRow

__all__ = [
    "Analysis", "At", "Block", "Chain", "Check", "CheckContext", "CheckResult", "CheckWords", "Curve", "Derived",
    "Evidence", "Excerpt", "Finding", "FolderRenderer", "ForClient", "Judged", "Limit", "LimitCheck", "Location",
    "Measurements", "Model", "Need", "Outcome", "Quantity", "Remedy", "Renderer", "Report", "Running", "RunningTap",
    "Samples", "Scope", "Severity", "Spectrum", "Stream", "Stretch", "Tap", "View",
]  # fmt: skip

Samples = NDArray[np.float64]
"""(channels, frames), C order, read-only; full scale is 1.0."""

R = TypeVar("R")
R_co = TypeVar("R_co", covariant=True)
P = TypeVar("P", bound=Model)


# -- heard once ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stream:
    """What a source says before the first block. A mono side is heard as the dual mono it will be cut as."""

    source: str
    """"side:A", for example."""
    rate: int
    """frames a second"""
    channels: int
    frames: int
    mono: bool = False
    """whether the file has one channel, so that both are the same"""


class RunningTap(Protocol):
    """A tap at work on one stream.

    What it gives is heard later, when it has already been pushed further. A view of an array that the tap may fill
    again is copied for that; a tap whose arrays stay as they are may say so by `lasting = True`, and is not.
    """

    def push(self, x: Samples) -> Samples:
        """Take the next samples of the base; may hold frames back. Any block size gives the same total."""
        ...

    def flush(self) -> Samples:
        """Give what was held back, after the last block."""
        ...


class Tap(ABC):
    """A signal derived from the source or from another tap; a frozen dataclass: equal taps are computed once."""

    def base(self) -> Tap | None:
        """Give the tap this one listens to; None: the source's own channels."""
        return None

    def rate(self, stream: Stream) -> int:
        """Frames a second of this tap."""
        return stream.rate

    def delay_s(self, stream: Stream) -> float:  # noqa: ARG002
        """Seconds by which the tap's own first frame lies after the stream's; delays of filters are taken out."""
        return 0.0

    @abstractmethod
    def start(self, stream: Stream) -> RunningTap:
        """Begin on a stream."""


class Block(Protocol):
    """A slice of the pass. `block[tap]` is what the tap gave for this slice, worked out once."""

    @property
    def stream(self) -> Stream:
        """The stream this is a slice of."""
        ...

    @property
    def start(self) -> int:
        """Frame of the stream at which `samples` begins."""
        ...

    @property
    def samples(self) -> Samples:
        """(2, n), read-only: left and right."""
        ...

    def __getitem__(self, tap: Tap) -> Samples: ...


class Need(ABC, Generic[R]):
    """Something measured; a frozen dataclass whose (id, version, fields) is its key."""

    id: ClassVar[str]
    version: ClassVar[int] = 1
    publishes: ClassVar[Mapping[str, str]] = {}
    """measurement name -> unit"""
    meanings: ClassVar[Mapping[str, str]] = {}
    """measurement name -> what the number is, in a sentence; `sidegate explain` shows it"""

    @classmethod
    @abstractmethod
    def of(cls, chain: Chain) -> Self:
        """Build the need for a chain; an analysis may keep values of `chain.signal` only."""

    def publish(self, result: R) -> Mapping[str, Quantity]:  # noqa: ARG002
        """Turn the result into named numbers; a name may be left out when it has no meaning here."""
        return {}

    def curves(self, result: R) -> Mapping[str, Curve]:  # noqa: ARG002
        """Give what can be followed along the side, by the name of the measurement, for formats that draw."""
        return {}


class Running(Protocol[R_co]):
    """An analysis at work on one stream."""

    def push(self, block: Block) -> None:
        """Hear the next slice. The last one may hold no samples, only what the taps had kept back."""
        ...

    def finish(self) -> R_co:
        """Give the result, after the last slice."""
        ...


class Analysis(Need[R]):
    """Measured from audio; sees no limit and no level."""

    cost: ClassVar[float] = 10.0
    """ns a frame, a hint for sharing out the work"""

    def taps(self) -> tuple[Tap, ...]:
        """Name the taps this analysis listens to, so that the plan can share out the threads."""
        return ()

    @abstractmethod
    def start(self, stream: Stream) -> Running[R]:
        """Begin on a stream."""


class Derived(Need[R]):
    """Worked out from other results and the chain; hears no audio."""

    @abstractmethod
    def needs(self) -> tuple[Need[Any], ...]:
        """Name what must be there first."""

    @abstractmethod
    def work(self, measured: Measurements) -> R:
        """Work it out."""


@dataclass(frozen=True)
class Measurements:
    """The results for one source; a failure is kept for each need and is never a pass."""

    stream: Stream
    passes: int = 1
    results: Mapping[Need[Any], Any] = field(default_factory=dict)
    failed: Mapping[Need[Any], str] = field(default_factory=dict)

    def __getitem__(self, need: Need[R]) -> R:
        """Give a result; raises LookupError with the reason when the need failed."""
        if need in self.failed:
            raise LookupError(f"{need.id}: {self.failed[need]}")
        result: R = self.results[need]
        return result


# -- judged ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Judged:
    """Which measurement a limit of a check is held against, and on which side of it a value must stay."""

    measure: str
    op: Op
    of: str = ""
    """what the number is, in the trade's words, for the message: "the lateral slope" """


class CheckContext(Protocol):
    """What a check sees of one side; a check of scope delivery sees the sides by way of `of`."""

    @property
    def side(self) -> str:
        """Id of the side."""
        ...

    @property
    def chain(self) -> Chain:
        """What is assumed of the cut."""
        ...

    @property
    def declared(self) -> Mapping[str, Any]:
        """The side as the delivery file declares it."""
        ...

    @property
    def requested_level(self) -> float | None:
        """The cut level that was asked for, dB: by `--level`, else by the side's `cut_level`; None where it is free."""
        ...

    @property
    def delivery(self) -> Mapping[str, Any]:
        """The delivery as it declares itself, without its sides: title, catalogue, disc ..."""
        ...

    @property
    def sources(self) -> tuple[str, ...]:
        """What there is to judge: "side:A", "side:B" ..., in the delivery's order."""
        ...

    def of(self, source: str) -> CheckContext:
        """Give the context of one source; only checks of scope delivery have more than their own."""
        ...

    def note(self, sentence: str) -> None:
        """Say something that is no fault; it becomes the reason beside the outcome."""
        ...

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Give a result; raises NotMeasuredError when this side does not have it."""
        ...

    def measured(self, name: str) -> Quantity:
        """Give a published number; raises NotMeasuredError when this side does not have it."""
        ...

    def judge(self, name: str, limit: Limit, *, op: Op, of: str = "", remedy: str = "") -> Iterable[Finding]:
        """Hold a published number against a limit; gives at most one finding, at the number's own place.

        Of a groove number it gives a finding for every event: each stretch of the side that does not keep to the limit.
        """
        ...

    def hold(
        self, quantity: Quantity, limit: Limit, *, op: Op, of: str, field: tuple[str | int, ...] = (), remedy: str = ""
    ) -> Iterable[Finding]:
        """Hold a number that the check itself worked out against a limit; gives at most one finding.

        It lies where the number does, and in the delivery file where `field` says: ("tracks", 1, "start").
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
        """Make a finding that no limit gave; `field` says where the delivery file has what it is about."""
        ...


class Excerpt(Protocol):
    """The second look: a few seconds of a side, read again after judging, and what is known of it, for remedies.

    At most 60 s of a side are read again, what the filters need to settle counted in; beyond that, or where the file
    went away, a call raises SecondLookError, which `advise` lets pass: the finding then keeps its remedy.
    """

    @property
    def side(self) -> str:
        """Id of the side."""
        ...

    @property
    def chain(self) -> Chain:
        """What is assumed of the cut."""
        ...

    @property
    def stream(self) -> Stream:
        """What the side's source says of itself; `tap.rate(look.stream)` is the rate of what a tap gives."""
        ...

    def __call__(self, start_s: float, end_s: float, tap: Tap | None = None) -> Samples:
        """Give file seconds through a tap (None: the source's own samples), cut at the ends of the file; read-only.

        Frames are counted as in the pass: the first one is that nearest to `start_s` at the tap's own rate.
        """
        ...

    def __getitem__(self, need: type[Need[R]]) -> R:
        """Give a result; raises NotMeasuredError when this side does not have it."""
        ...

    def measured(self, name: str) -> Quantity:
        """Give a published number; raises NotMeasuredError when this side does not have it."""
        ...


class Check(ABC, Generic[P]):
    """One thing to judge. The words are used in reports and in the rulebook."""

    id: ClassVar[str]
    title: ClassVar[str]
    why: ClassVar[str]
    how: ClassVar[str]
    remedy: ClassVar[str]
    blind_to: ClassVar[str] = ""
    client: ClassVar[ForClient | None] = None
    """the same for who sent the music; without it a note to them falls back to title and remedy"""
    scope: ClassVar[Scope] = "side"
    needs: ClassVar[tuple[type[Need[Any]], ...]] = ()
    Limits: ClassVar[type[Model]]
    judges: ClassVar[Mapping[str, Judged]] = {}
    """limit key -> the measurement it is held against; only these can set the level. One limit may be held against
    several measurements: "peak" and "peak.vertical" are both the limit "peak"."""
    waivable: ClassVar[bool] = True
    """whether somebody may answer for what it finds; not where nothing else means anything before that is mended"""

    def __init__(self, limits: P) -> None:
        self.limits = limits

    @abstractmethod
    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Judge one side; raise NotApplicableError where there is nothing to judge."""

    def advise(self, finding: Finding, look: Excerpt) -> Finding:  # noqa: ARG002
        """Work out a remedy with numbers for a finding on a side; only `remedy` and `remedies` may change.

        Called after judging, for the gravest findings first, as long as there is something left to look at.
        """
        return finding


class LimitCheck(Check[P]):
    """A check that is nothing but its limits: each one of `judges` is held against its measurement."""

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Hold every limit against its measurement."""
        for key, judged in self.judges.items():
            limit: Limit | None = getattr(self.limits, key.partition(".")[0])
            if limit is not None:  # one that a ruleset may leave out
                yield from ctx.judge(judged.measure, limit, op=judged.op, of=judged.of)


@dataclass(frozen=True, eq=False)
class Evidence:
    """What formats have beside the report, never in JSON; arrays only where a format that draws was asked for."""

    traces: Mapping[str, Mapping[str, NDArray[np.float64]]] = field(default_factory=dict)
    """side -> name -> (sectors,) values at the judged level, a sector being 1/75 s of the side as cut"""
    curves: Mapping[str, Mapping[str, Curve]] = field(default_factory=dict)
    """side -> name -> what needs follow along the file"""
    views: Mapping[str, tuple[View, ...]] = field(default_factory=dict)
    """side -> the groove at its gravest findings, seen from above"""
    spectra: Mapping[str, Spectrum] = field(default_factory=dict)
    """side -> its long-term spectrum"""
    words: Mapping[str, CheckWords] = field(default_factory=dict)
    """check id -> what the check says of itself, as far as its plugin is there"""
    sources: Mapping[str, Cited] = field(default_factory=dict)
    """key -> the source that rulesets cite by it; read when first asked for"""
    formats: Mapping[str, tuple[FormatRow, ...]] = field(default_factory=dict)
    """side -> what each disc would make of it, the delivery's own first"""


class Cited(Protocol):
    """A source that limits are cited from."""

    @property
    def title(self) -> str:
        """What was read."""
        ...

    @property
    def figure(self) -> str:
        """What stands there."""
        ...

    @property
    def confidence(self) -> str:
        """How far to trust it."""
        ...


class Renderer(ABC):
    """Writes a report in one format."""

    name: ClassVar[str]
    suffixes: ClassVar[tuple[str, ...]] = ()
    draws: ClassVar[bool] = False
    """whether it wants the arrays of the evidence; for one that does not, none may have been worked out"""
    folder: ClassVar[bool] = False
    """whether it writes a folder of files; see FolderRenderer"""
    remark: str = ""
    """a sentence for stderr once the report is written, as of something that is missing on this machine"""

    @classmethod
    def for_path(cls, path: Path | None) -> Self:  # noqa: ARG003
        """Build the renderer for the place it writes to, None for stdout; one format may go by the suffix."""
        return cls()

    @abstractmethod
    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:
        """Write the whole report, UTF-8 where it is text."""


class FolderRenderer(Renderer):
    """Writes a report as a folder of files. The folder is made beside its place and renamed when it is whole."""

    folder: ClassVar[bool] = True

    @abstractmethod
    def fill(self, report: Report, evidence: Evidence, folder: Path) -> None:
        """Write all files into a folder that is empty."""

    def render(self, report: Report, evidence: Evidence, out: BinaryIO) -> None:  # noqa: ARG002
        """Refuse: a folder is no stream of bytes."""
        raise TypeError(f"{self.name} writes a folder")
