"""A plugin that misbehaves at one place: it has every method that a run calls, and does a deed in one of them."""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from pydantic import model_validator

from qc.model.errors import TimedOutError
from qc.plugin_api import (
    Analysis,
    Check,
    Derived,
    GrooveDerived,
    Judged,
    Limit,
    Model,
    Quantity,
    Renderer,
    Tap,
)
from qc.plugin_host.runner import Runner, RunnerThread
from support.plugins import plugin

Deed = Callable[[], Any]


class Own(Exception):  # noqa: N818
    """An exception of a plugin."""


class OwnBase(BaseException):
    """No Exception."""


def raising(error: type[BaseException]) -> Deed:
    """A deed that raises."""

    def deed() -> None:
        raise error("of its own")

    return deed


class Impatient(Runner):
    """Times out as soon as a call hangs, and waits for 3 s for any other."""

    def __init__(self) -> None:
        super().__init__(3.0)
        self.hanging = 0
        self.released = threading.Event()

    @property
    def interval_s(self) -> float:
        return 0.005 if self.hanging else 0.15

    def timed_out(self, *args: Any) -> TimedOutError:
        self.hanging -= 1
        return super().timed_out(*args)

    def hang(self) -> None:
        """A deed that ends only with the test."""
        self.hanging += 1
        self.released.wait()

    def release(self) -> None:
        """Let every call that hangs end."""
        self.released.set()
        for thread in threading.enumerate():
            if isinstance(thread, RunnerThread):
                thread.join()


RAISED: dict[str, type[BaseException]] = {
    "an exception": Own, "SystemExit": SystemExit, "KeyboardInterrupt": KeyboardInterrupt,
    "GeneratorExit": GeneratorExit, "another BaseException": OwnBase, "StopIteration": StopIteration,
}  # fmt: skip
DEEDS: dict[str, Deed] = {name: raising(error) for name, error in RAISED.items()}

HOOKS = ("qc_checks", "qc_measures", "qc_rulesets", "qc_renderers", "qc_read_delivery", "qc_report_done")
CHECKING = ("Limits", "__init__", "evaluate", "evaluate, later", "advise")
MEASURING = (
    "of", "taps", "start", "push", "finish", "publish", "tap.base", "tap.start", "tap.push", "tap.flush", "of Derived",
    "needs", "work", "publish of Derived", "of GrooveDerived", "needs of GrooveDerived", "evaluate of GrooveDerived",
    "publish of GrooveDerived", "curves",
)  # fmt: skip
WRITING = ("for_path", "render", "remark")
PLACES = (*HOOKS, *CHECKING, *MEASURING, *WRITING)


def name_of(place: str) -> str:
    """Name of the plugin that misbehaves at a place, and the beginning of all names that it brings."""
    return f"at-{re.sub('[^a-z]+', '-', place.lower()).strip('-')}"


def own_check(name: str) -> str:
    """Id of the check that a plugin brings, like no other id."""
    return f"{name}.{hashlib.sha256(name.encode()).hexdigest()[:16]}"


def limits(names: Iterable[str]) -> str:
    """Lines of a ruleset that ask for the checks of some plugins."""
    entry = '{most: {warn: 0.001, source: "house: desk notes"}}'
    return "\n".join(f"  {own_check(name)}: {entry}" for name in names)


def house(place: str, deed: Deed, name: str = "") -> Any:
    """A whole plugin that does a deed at a place, and is well behaved elsewhere."""

    def at(here: str) -> None:
        if here == place:
            deed()

    name = name or name_of(place)
    need, derived = measuring(at, name)
    of_groove = on_groove(at, name)
    measures, formats = [need, derived, of_groove], [writing(at, name)]
    checks = [checking(at, (need, derived, of_groove), name)]

    def qc_checks() -> Any:
        at("qc_checks")
        return checks

    def qc_measures() -> Any:
        at("qc_measures")
        return measures

    def qc_rulesets() -> Any:
        at("qc_rulesets")
        return []

    def qc_renderers() -> Any:
        at("qc_renderers")
        return formats

    def qc_read_delivery(path: Any) -> None:
        at("qc_read_delivery")

    def qc_report_done(report: Any) -> None:
        at("qc_report_done")

    return plugin(
        qc_checks=qc_checks, qc_measures=qc_measures, qc_rulesets=qc_rulesets, qc_renderers=qc_renderers,
        qc_read_delivery=qc_read_delivery, qc_report_done=qc_report_done,
    )  # fmt: skip


def measuring(  # noqa: C901 - one method for each place
    at: Callable[[str], None], name: str
) -> tuple[type[Analysis[float]], type[Derived[float]]]:
    """An analysis of a tap, and a need that is derived from it."""

    @dataclass(frozen=True)
    class Same(Tap):
        """The signal itself."""

        def base(self):
            at("tap.base")

        def start(self, stream):
            at("tap.start")
            return self

        def push(self, x):
            at("tap.push")
            return x

        def flush(self):
            at("tap.flush")
            return np.zeros((2, 0))

    class Following:
        """The greatest sample of the tap."""

        def __init__(self):
            self.greatest = 0.0

        def push(self, block):
            at("push")
            self.greatest = max(self.greatest, float(np.abs(block[Same()]).max(initial=0.0)))

        def finish(self):
            at("finish")
            return self.greatest

    @dataclass(frozen=True)
    class Greatest(Analysis[float]):
        """The greatest sample."""

        id: ClassVar[str] = f"{name}.greatest"
        publishes: ClassVar[Mapping[str, str]] = {f"{name}.greatest": "1"}

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            at("of")
            return cls()

        def taps(self):
            at("taps")
            return (Same(),)

        def start(self, stream):
            at("start")
            return Following()

        def publish(self, result):
            at("publish")
            return {f"{name}.greatest": Quantity(value=result, unit="1")}

    @dataclass(frozen=True)
    class Double(Derived[float]):
        """Twice as much."""

        id: ClassVar[str] = f"{name}.double"
        publishes: ClassVar[Mapping[str, str]] = {f"{name}.double": "1"}

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            at("of Derived")
            return cls()

        def needs(self):
            at("needs")
            return (Greatest(),)

        def work(self, measured):
            at("work")
            return 2.0 * measured[Greatest()]

        def publish(self, result):
            at("publish of Derived")
            return {f"{name}.double": Quantity(value=result, unit="1")}

        def curves(self, result):
            at("curves")
            return {}

    return Greatest, Double


def on_groove(at: Callable[[str], None], name: str) -> type[GrooveDerived[float]]:
    """A measurement of the groove."""

    @dataclass(frozen=True)
    class Widest(GrooveDerived[float]):
        """The greatest width, in micrometres."""

        id: ClassVar[str] = f"{name}.widest"
        publishes: ClassVar[Mapping[str, str]] = {f"{name}.widest": "um"}

        @classmethod
        def of(cls, chain):  # noqa: ARG003
            at("of GrooveDerived")
            return cls()

        def needs(self):
            at("needs of GrooveDerived")
            return ()

        def evaluate(self, groove, results):
            at("evaluate of GrooveDerived")
            return float(groove.top_width_um.max())

        def publish(self, result):
            at("publish of GrooveDerived")
            return {f"{name}.widest": Quantity(value=result, unit="um")}

    return Widest


def checking(at: Callable[[str], None], read: tuple[type[Any], ...], name: str) -> type[Check[Any]]:
    """A check of both numbers; the first one warns."""

    class Most(Model):
        most: Limit

        @model_validator(mode="after")
        def its_own(self):
            at("Limits")
            return self

    class Quiet(Check[Most]):
        """Too loud for this house."""

        id, title, why, how, remedy = own_check(name), "Too loud", "It is.", "The greatest sample.", "Turn it down."
        Limits = Most
        needs = read
        judges: ClassVar[Mapping[str, Judged]] = {"most": Judged(f"{name}.greatest", "<=", "the greatest sample")}

        def __init__(self, limits):
            at("__init__")
            super().__init__(limits)

        def evaluate(self, ctx):
            at("evaluate")
            ctx.measured(f"{name}.double")
            ctx.measured(f"{name}.widest")
            yield from ctx.judge(f"{name}.greatest", self.limits.most, op="<=")
            at("evaluate, later")

        def advise(self, finding, look):
            look(0.0, 0.1)
            at("advise")
            return finding

    return Quiet


def writing(at: Callable[[str], None], name: str) -> type[Renderer]:
    """A format of one line."""
    format_name = name

    class Line(Renderer):
        """One line."""

        name = format_name
        draws = True

        @classmethod
        def for_path(cls, path):  # noqa: ARG003
            at("for_path")
            return cls()

        def render(self, report, evidence, out):
            out.write(b"half of it")
            at("render")

        @property
        def remark(self):
            at("remark")
            return ""

    return Line
