"""Vectors as values inside kernels: several numbers side by side that one instruction works on.

The compiler turns plain loops into vector code only where it may reorder sums, and never for a recursion. Here a
kernel says itself which numbers lie side by side: `load` and `store` move them, + - * work on all of them, `greater`
and `lesser` keep maxima and minima. Every lane is worked out in the same order on all processors.

Vectors live in registers: they are neither passed to Python nor kept in arrays. Indices count elements, no bounds
are checked: whoever loads or stores leaves room for whole vectors.

The names are all that a module of kernels needs; what they stand for (`vectors`) takes the compiler, and is only
imported where a kernel is compiled.
"""

from __future__ import annotations

from typing import Any

from qc.dsp.kernels.kernel import Later


def _vectors(name: str) -> Any:
    """Name something of `vectors`; typed as anything, as vectors are."""
    return Later("qc.dsp.kernels.vectors", name)


greater = _vectors("greater")
"""greater(x, y): the greater of each two lanes; of finite numbers."""
lesser = _vectors("lesser")
"""lesser(x, y): the lesser of each two lanes; of finite numbers."""
muladd = _vectors("muladd")
"""muladd(x, y, z): x y + z, in one rounding on every processor that can; for what two loops must work out alike."""
magnitude = _vectors("magnitude")
"""magnitude(x): absolute value of every lane."""
any_at_least = _vectors("any_at_least")
"""any_at_least(x, y): whether a lane of x is at least its lane of y."""
store = _vectors("store")
"""store(array, index, vector): put a vector into consecutive elements, in the array's own format."""
lane = _vectors("lane")
"""lane(x, index): one number of a vector."""
put = _vectors("put")
"""put(x, index, number): the vector with one number changed."""
widen = _vectors("widen")
"""widen(x): lanes as float64, which they may be already."""
narrow = _vectors("narrow")
"""narrow(x): lanes as the nearest float32."""

loader = _vectors("loader")
"""loader(count) makes load(array, index): `count` consecutive elements of a one-dimensional contiguous array."""
splatter = _vectors("splatter")
"""splatter(count) makes splat(number): the same number in each of `count` lanes."""
repeater = _vectors("repeater")
"""repeater(count) makes repeat(array, index): one element of such an array in each of `count` lanes."""
filler = _vectors("filler")
"""filler(count) makes fill(array, number): the number in each of `count` lanes, in the array's own format."""
picker = _vectors("picker")
"""picker(lanes) makes pick(x): the vector of the lanes of x that `lanes` names."""
joiner = _vectors("joiner")
"""joiner(lanes) makes join(x, y): the vector of the lanes that `lanes` names, those of y counted on from those of x."""
