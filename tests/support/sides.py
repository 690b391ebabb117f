"""Sides made of envelopes alone, for what needs no audio: tracks of a given swing, rise, brightness and drive."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import numpy as np

from qc import api
from qc.groove.geometry.span import Span
from qc.groove.level.rows import LevelRow
from qc.judge.bind import bind
from qc.model.cutting_chain import Chain, Signal
from qc.model.discs import DISCS
from qc.model.track import Track
from qc.plan.running_order import Delivered, joined, silence
from qc.ruleset.library import Shelf
from support.cells import with_cells

UNITY = Chain().cut.unity_velocity
"""m/s a wall moves with at 0 dBFS and 0 dB"""


@cache
def host():
    return api.build_host()


@cache
def shelf():
    return Shelf(host().ruleset_folders)


@cache
def shipped(size="12in", speed="33"):
    """Chain and limits of the shipped ruleset of a disc."""
    ruleset = shelf().load(shelf().serving(size, speed))
    return ruleset.chain, bind(ruleset, host().checks, api.units(host().needs)).rows


def every_disc():
    return {disc: shipped(*disc) for disc in DISCS}


def sound(sectors, *, swing=0.0, rise=0.0, bend=0.0, drive=0.0, seed=0, signal=None):
    """Envelopes that reach, at 0 dB: swing and rise in um, acceleration `bend` in m/s2 a sector, drive in m/s2.

    Each sector has its own part of it, between none and all, so that every number has one worst place.
    """
    part = np.random.default_rng(seed).uniform(0.0, 1.0, sectors)
    part[sectors // 2] = 1.0
    lateral, up = 1e-6 * swing * part / UNITY, 1e-6 * rise * part / UNITY
    wall = (lateral + up) / np.sqrt(2.0)
    two = np.vstack([wall, wall])
    a = np.vstack([part, 0.9 * part]) * bend / UNITY
    return with_cells(
        signal or Signal(), d_max=two, d_min=-two, lateral_max=lateral, lateral_min=-lateral, vertical_max=up,
        vertical_min=-0.8 * up, lateral_v=300.0 * lateral, vertical_v=300.0 * up, v_abs=300.0 * two, a_abs=a,
        a_square=np.vstack([part, part]) * (drive / UNITY) ** 2, sibilance_a=0.3 * a, low_vertical=up,
    )  # fmt: skip


def delivered(tracks, *, gap=2, name="A", lead=1, numbers=None, segue=()):
    """A side of tracks (envelopes), `gap` s between them and `lead` s before and after; `segue` by index."""
    parts, times, at = [silence(tracks[0], 75 * lead)], [], 75 * lead
    for i, track in enumerate(tracks):
        start, at = at, at + track.sectors
        number = (numbers or range(1, len(tracks) + 1))[i]
        times.append(Track(number, f"track {number}", _second(start), _second(at), i not in segue))
        between = 0 if i in segue else 75 * (gap if i < len(tracks) - 1 else lead)
        parts += [track, silence(track, between)]
        at += between
    return Delivered(name, Span(75 * lead, at - 75 * lead, tuple(times)), joined(parts))


def _second(sector):
    return Fraction(sector, 75)


def row(measure, op, value, unit, check="test.limit"):
    """A limit that sets the level."""
    return LevelRow(check, "most", measure, op, None, value, unit, "fail")


LAST = row("groove.last_diameter", ">=", 120.65, "mm", "test.last")
TRACED = row("groove.tracing_ratio_share", "<=", 0.1, "1", "test.traced")
DEEP = row("groove.depth_max", "<=", 127.0, "um", "test.deep")
NARROW = row("groove.top_width_min", ">=", 25.4, "um", "test.narrow")
