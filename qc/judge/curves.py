"""The curves of plugins for formats that draw: each tested for shape, unit and type before a format gets it."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.samples.closed import read_only_copy
from qc.dsp.samples.own_copy import own_copy
from qc.groove.level.side_at_level import UNITS
from qc.judge.context import SideEvidence
from qc.measure.side import FILE_UNITS
from qc.model.cutting_chain import Chain
from qc.model.figures import Curve
from qc.model.quantity import require_unit
from qc.plugin_base import Need
from qc.plugin_host.runner import Runner
from qc.text.sanitize import shown
from qc.text.suggest import nearest

NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,79}", re.ASCII)
"""The name of a curve, which is the header of a column too."""
MOST_VALUES = 10_000_000
"""Most values of a curve: a side has some 100,000 sectors."""

Kind = type[Need[Any]]


def curves_of(
    judged: SideEvidence, traces: Collection[str], runner: Runner
) -> tuple[dict[str, Curve], dict[Kind, str]]:  # fmt: skip
    """Return the curves of all needs of a side by name, and the needs whose curves cannot be drawn, with the reason.

    `traces` are the names that the groove's own traces have.
    """
    curves: dict[str, Curve] = {}
    broken: dict[Kind, str] = {}
    owners: dict[str, Kind | None] = {**judged.publishers, **dict.fromkeys([*traces, *UNITS, *FILE_UNITS])}
    for kind, result in judged.results.items():
        call = partial(_of_need, kind.curves, kind, judged.chain, result, owners)
        found, failed = runner.each({kind: call})
        for of_need in found.values():
            curves |= of_need
            owners |= dict.fromkeys(of_need, kind)
        broken |= failed
    return curves, broken


def _of_need(
    _method: object, kind: Kind, chain: Chain, result: object, owners: Mapping[str, Kind | None]
) -> dict[str, Curve]:  # fmt: skip
    """Return the curves of a need; raises TypeError or ValueError for what cannot be drawn.

    `_method` is what an error is placed at, where it is raised by what was returned.
    """
    given = kind.of(chain).curves(own_copy(result))
    if not isinstance(given, Mapping):
        raise TypeError(f"its curves are a {type(given).__name__}, not a mapping of names to curves")
    announced = {**kind.curve_units, **kind.publishes}
    for name in given:
        _test_name(name, kind, announced, owners)
    return {name: _tested(name, curve, announced[name]) for name, curve in given.items()}


def _test_name(name: object, kind: Kind, announced: Mapping[str, str], owners: Mapping[str, Kind | None]) -> None:
    """Raise ValueError for a name that is none, that belongs to another measurement, or that was not announced."""
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise ValueError(f'a curve cannot be called "{shown(str(name))}"; use a name like "house.turn_land"')
    if owners.get(name, kind) is not kind:
        raise ValueError(f'its curve "{name}" has the name of another measurement')
    if name not in announced:
        near = nearest(name, announced)
        hint = f'did you mean "{near}"?' if near else 'name its unit in "publishes", or in "curve_units"'
        raise ValueError(f'its curve "{name}" was not announced; {hint}')


def _tested(name: str, curve: object, announced: str) -> Curve:
    """Return a copy of a curve whose values nothing can change; `announced` is the unit of its name."""
    if not isinstance(curve, Curve):
        raise TypeError(f"{name} is a {type(curve).__name__}, not a Curve")
    _test_steps(name, curve)
    if not isinstance(curve.unit, str) or curve.unit != announced:
        raise ValueError(f'the curve {name} is in "{shown(str(curve.unit))}", and {announced} was announced')
    require_unit(curve.unit, f"the curve {name}")
    if not isinstance(curve.title, str) or not isinstance(curve.label, str):
        raise TypeError(f"title and label of the curve {name} are no texts")
    values, start, step = _values(name, curve.values), float(curve.start_s), float(curve.step_s)
    return Curve(values, curve.unit, start, step, shown(curve.title), shown(curve.label), least=bool(curve.least))


def _test_steps(name: str, curve: Curve) -> None:
    """Raise ValueError where a curve has no time."""
    for field, value in (("start_s", curve.start_s), ("step_s", curve.step_s)):
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValueError(f"{field} of the curve {name} is not a finite number of seconds")
    if curve.step_s <= 0.0:
        raise ValueError(f"step_s of the curve {name} is {curve.step_s:g} s and has to be above 0")


def _values(name: str, values: object) -> NDArray[np.float64]:
    """Return a copy of the values of a curve, (n,), that nothing can open for writing."""
    if not isinstance(values, np.ndarray) or values.dtype.kind not in "fiu":
        kind = values.dtype if isinstance(values, np.ndarray) else type(values).__name__
        raise TypeError(f"the values of the curve {name} are {kind}, not an array of numbers")
    if values.ndim != 1 or len(values) > MOST_VALUES:
        raise ValueError(f"the values of the curve {name} have the shape {values.shape}, not (n,)")
    if np.isinf(values).any():
        raise ValueError(f"the curve {name} has an infinite value; NaN is a missing one")
    return read_only_copy(values.astype(np.float64))
