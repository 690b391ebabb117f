"""Plugins for the tests: what a house might write, and what it might get wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import FunctionType
from typing import Any, BinaryIO, ClassVar, Self

from qc import api
from qc.model.cutting_chain import Chain
from qc.model.report import DeliveryFacts, Report, RulesetFacts
from qc.plugin_api import (
    Check,
    CheckContext,
    Derived,
    Evidence,
    Finding,
    Judged,
    Limit,
    LimitCheck,
    Measurements,
    Model,
    Need,
    Renderer,
)
from qc.plugin_host.host import Host
from qc.plugin_host.runner import Runner
from qc.plugin_host.spec import hookimpl


class QuietLimits(Model):
    most: Limit


def check(check_id: str = "house.quiet-side", **changes: Any) -> type[Check[Any]]:
    words = {name: f"{name} of it" for name in ("title", "why", "how", "remedy")}
    judges = {"most": Judged("house.quietness", "<=", "the quietness")}
    body = {"id": check_id, **words, "Limits": QuietLimits, "judges": judges, **changes}
    return type("Quiet", (LimitCheck,), body)


class Unfinished(Check[QuietLimits]):
    """It has no evaluate."""

    id = "house.unfinished"


class NotACheck:
    def evaluate(self, _ctx: CheckContext) -> Iterable[Finding]:
        return ()


def need(need_id: str = "house.quietness", publishes: Any = None) -> type[Derived[float]]:
    published: Mapping[str, str] = {"house.quietness": "LU"} if publishes is None else publishes

    @dataclass(frozen=True)
    class Quietness(Derived[float]):
        id: ClassVar[str] = need_id
        publishes: ClassVar[Mapping[str, str]] = published

        @classmethod
        def of(cls, _chain: Chain) -> Self:
            return cls()

        def needs(self) -> tuple[()]:
            return ()

        def work(self, _measured: Measurements) -> float:
            return 1.0

    return Quietness


def renderer(format_name: str = "house", **attributes: Any) -> type[Renderer]:
    class House(Renderer):
        name = format_name

        def render(self, _report: Report, _evidence: Evidence, out: BinaryIO) -> None:
            out.write(b"house")

    for name, value in attributes.items():
        setattr(House, name, value)
    return House


def plugin(**hooks: Any) -> Any:
    """An object with these hooks; a value that is no function is what the hook gives."""
    return Plain(
        {
            name: hookimpl(gives if isinstance(gives, FunctionType) else _giving(name, gives))
            for name, gives in hooks.items()
        }
    )


def hosted(plugins: Mapping[str, Any], runner: Runner | None = None) -> Host:
    """The tool's own plugins and those of houses, by name."""
    return Host.build(
        extra=plugins.items(), core=api.units(()), formats=api.FORMATS, runner=runner,
    )  # fmt: skip


PLACE = re.compile(r" \([\w./]+\.py:\d+\)")
"""File and line of a plugin at the end of a sentence about it."""


def unplaced(text: str) -> str:
    """A sentence about a plugin without its file and line, which must be there."""
    assert PLACE.search(text), text
    return PLACE.sub("", text)


def sentences(measured: Measurements) -> dict[Need[Any], str]:
    """Why each need failed, without file and line."""
    return {need: PLACE.sub("", why) for need, why in measured.failed.items()}


class Plain:
    """Holds functions as they are, as a module does."""

    def __init__(self, attributes: Mapping[str, Any]) -> None:
        self.__dict__.update(attributes)


def _giving(name: str, value: Any) -> Any:
    if name == "qc_read_delivery":
        return lambda path: value  # noqa: ARG005
    return lambda: value


def report() -> Report:
    return Report(
        tool="t",
        plugins=(),
        ruleset=RulesetFacts(name="r", version="1", sha256=""),
        delivery=DeliveryFacts(file="d", sha256="", title="t"),
        sides=(),
        results=(),
        verdict="pass",
    )
