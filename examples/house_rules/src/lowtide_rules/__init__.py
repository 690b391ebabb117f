"""The rules of the Lowtide cutting room, an invented house: a plugin of sidegate."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from lowtide_rules.hum import HumInTheQuiet, MainsHum
from lowtide_rules.inscription import InscriptionNotOurs
from lowtide_rules.same_inscription import SameInscription
from lowtide_rules.steep_end import EndSlope, EndTooSteep
from lowtide_rules.timecodes import Timecodes
from qc import Check, Need, Renderer, hookimpl


@hookimpl
def qc_measures() -> Sequence[type[Need[Any]]]:
    """Give what is measured."""
    return [MainsHum, EndSlope]


@hookimpl
def qc_checks() -> Sequence[type[Check[Any]]]:
    """Give the checks; a ruleset has to name one for it to run."""
    return [HumInTheQuiet, InscriptionNotOurs, SameInscription, EndTooSteep]


@hookimpl
def qc_rulesets() -> Traversable:
    """Give the folder that holds NAME/VERSION.yaml."""
    return files("lowtide_rules") / "rulesets"


@hookimpl
def qc_renderers() -> Sequence[type[Renderer]]:
    """Give the report formats, for `--out timecodes=FILE`."""
    return [Timecodes]
