"""The groove from above, to scale, as light from one side shows it, and its cross-section with the stylus in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from qc.model.figures import GrooveTurn, View
from qc.model.quantity import clock
from qc.report.html.svg import Figure, element, group, path, text

Array = NDArray[np.float64]

UM = 0.7
"""Pixels a um of the view from above."""
LEFT, FOOT = 10.0, 44.0
AROUND = 70.0
"""um shown on either side of the groove in the middle, or up to the edge of the next groove if that is not too far."""
FURTHEST = 230.0
"""um from the middle at the most."""
LIGHT = np.array([-0.42, 0.76, 0.5])
"""Direction of the light: components along the groove, outward and up."""
AMBIENT = 0.1
SHADES = 26
LAND = "#8d8d8d"
SECTION_UM, SECTION_WIDTH = 1.7, 340.0
"""Pixels a um of the cross-section at the most, and its width in pixels."""
LANDS = 30.0
"""um that the cross-section shows on either side of the groove at the least."""


def above(name: str, view: View) -> Figure:
    """Draw the groove from above: time runs to the right, the rim lies at the top."""
    low, high = reach(view)
    width, height = 2.0 * LEFT + 1e6 * view.length * UM, (high - low) * UM
    x: Array = LEFT + 1e6 * view.speed / view.rate * UM * np.arange(len(view.middle.inner), dtype=np.float64)

    def up(edge: Array) -> Array:
        return np.clip((high - 1e6 * edge) * UM, 0.0, height)  # to clip what is drawn would take twice as long

    inside = [element("rect", x=LEFT, y=0.0, width=width - 2.0 * LEFT, height=height, fill=LAND, class_="land")]
    for turn in view.turns:
        inside += _groove(view, turn, x, up, height)
    body = [
        group(inside),
        *_narrowest(view, x, up),
        *_worst(view, x, height),
        *_scale(view, width, height),
    ]
    seen = 1e6 * max(0.0, float(view.middle.width[view.narrowest]))
    return Figure(
        name, f"The groove from above at {clock(view.start_s)}",
        f"{1e3 * view.length:.2f} mm of groove at radius {1e3 * view.radius:.1f} mm with the turns next to it. It is "
        f"narrowest with {seen:.1f} um.", width, height + FOOT, Markup("").join(body), "microscope",
    )  # fmt: skip


def reach(view: View) -> tuple[float, float]:
    """Return the lowest and highest position in view, in um from the middle of the groove."""
    edges = 1e6 * np.stack([view.middle.inner, view.middle.outer])  # where nothing is cut they change places
    low, high = float(edges.min()) - AROUND, float(edges.max()) + AROUND
    for turn in view.turns:
        if turn.away > 0:
            low = min(low, max(1e6 * float(turn.outer.min()) - 25.0, -FURTHEST))
        if turn.away < 0:
            high = max(high, min(1e6 * float(turn.inner.max()) + 25.0, FURTHEST))
    return low, high


def _groove(
    view: View, turn: GrooveTurn, x: Array, up: Callable[[Array], Array], height: float
) -> Iterator[Markup]:  # fmt: skip
    """Draw the two walls of a turn, which meet half-way between its edges; where the cutter is out, nothing is cut."""
    step = view.speed / view.rate
    cut = turn.outer > turn.inner
    bottom = (turn.inner + turn.outer) / 2.0
    inner, outer = np.where(cut, turn.inner, bottom), np.where(cut, turn.outer, bottom)
    for edge, side in ((inner, 1.0), (outer, -1.0)):
        slope = np.gradient(edge, step)
        normal = np.stack([-side * slope, np.full_like(slope, side), np.ones_like(slope)])
        light = (LIGHT @ normal) / np.sqrt((normal**2).sum(axis=0))
        shade = np.round((SHADES - 1) * (AMBIENT + (1.0 - AMBIENT) * np.clip(light, 0.0, 1.0))).astype(int)
        yield from _wall(x, up(edge), up(bottom), shade)
    yield from _bottom(x, up(bottom), height)


def _bottom(x: Array, y: Array, height: float) -> Iterator[Markup]:
    """Draw the line in which the walls meet, where it is in view."""
    inside = (y > 0.0) & (y < height)
    ends = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    for first, last in zip(ends[::2], ends[1::2], strict=True):
        points = zip(x[first:last].tolist(), y[first:last].tolist(), strict=True)
        yield element("path", class_="bottom", d=path(points))


def _wall(x: Array, edge: Array, bottom: Array, shade: NDArray[np.int64]) -> Iterator[Markup]:
    """Draw one wall, stretches of one shade together."""
    changes = np.flatnonzero(np.diff(shade)) + 1
    for start, end in zip([0, *changes], [*changes, len(shade)], strict=True):
        last = min(end + 2, len(shade))  # each stretch reaches into the next, so that no seam shows
        if np.array_equal(edge[start:last], bottom[start:last]):
            continue  # nothing is cut, or it lies outside of what is seen
        forth = list(zip(x[start:last].tolist(), edge[start:last].tolist(), strict=True))
        back = list(zip(x[start:last].tolist(), bottom[start:last].tolist(), strict=True))[::-1]
        grey = round(18 + 225 * int(shade[start]) / (SHADES - 1))
        yield element(
            "path", class_="wall", d=path([*forth, *back], close=True), fill=f"#{grey:02x}{grey:02x}{grey:02x}"
        )


def _narrowest(view: View, x: Array, up: Callable[[Array], Array]) -> Iterator[Markup]:
    """Mark the narrowest place by two arrows that end at the edges."""
    index, middle = view.narrowest, view.middle
    at, width = float(x[index]), 1e6 * float(middle.width[index])
    top, bottom = float(up(middle.outer)[index]), float(up(middle.inner)[index])
    if width <= 0.0:
        top = bottom = (top + bottom) / 2.0
    for edge, away in ((top, -1.0), (bottom, 1.0)):
        arrow = [(at - 4.0, edge + 7.0 * away), (at, edge), (at + 4.0, edge + 7.0 * away)]
        yield element("path", class_="mark", d=path(arrow, close=True))
        yield element("path", class_="mark-line", d=path([(at, edge + 7.0 * away), (at, edge + 24.0 * away)]))
    words = f"{width:.1f} um" if width > 0.0 else "no groove"
    near_end = at > float(x[-1]) - 90.0
    yield text(at + (-7.0 if near_end else 7.0), top - 15.0, words, class_="mark-text end" if near_end else "mark-text")


def _worst(view: View, x: Array, height: float) -> Iterator[Markup]:
    at = float(x[min(max(view.worst, 0), len(x) - 1)])
    yield element("path", class_="axis", d=path([(at, height), (at, height + 8.0)]))
    yield element(
        "path", class_="axis", d=path([(at - 4, height + 8), (at, height + 1), (at + 4, height + 8)], close=True)
    )


def _scale(view: View, width: float, height: float) -> Iterator[Markup]:
    """Draw the bar of 100 um, and write the time and speed of the view."""
    right, line = width - LEFT, height + 22.0
    yield element(
        "path",
        class_="bar-line",
        d=path([(LEFT, line - 5), (LEFT, line), (LEFT + 100.0 * UM, line), (LEFT + 100.0 * UM, line - 5)]),
    )
    yield text(LEFT + 100.0 * UM + 8.0, line + 2, "100 um")
    spent = 1e3 * len(view.middle.inner) / view.rate
    words = f"{clock(view.start_s)}, {spent:.1f} ms at {1e2 * view.speed:.1f} cm/s; rim above, label below"
    yield text(right, line + 2, words, class_="dim end")


def section(name: str, view: View) -> Figure:
    """Draw the cross-section where the finding is worst: the grooves in the lacquer, and the tip that plays it."""
    index = min(max(view.worst, 0), len(view.middle.inner) - 1)
    at = 1e6 * float((view.middle.inner[index] + view.middle.outer[index]) / 2.0)
    deepest = 1e6 * max(0.0, float(view.middle.width[index])) / 2.0
    um = min(SECTION_UM, SECTION_WIDTH / 2.0 / (deepest + LANDS))
    top, half = 46.0, SECTION_WIDTH / 2.0
    floor = top + max(um * max(60.0, deepest + 20.0), um * deepest + 26.0)
    surface = [(0.0, top)]
    for turn in sorted(view.turns, key=lambda turn: float(turn.inner[index])):
        inner, outer = (half + um * (1e6 * float(edge[index]) - at) for edge in (turn.inner, turn.outer))
        if outer > inner:
            surface += [(inner, top), ((inner + outer) / 2.0, top + (outer - inner) / 2.0), (outer, top)]
    lacquer = [*surface, (SECTION_WIDTH, top), (SECTION_WIDTH, floor), (0.0, floor)]
    window = element("rect", x=0.0, y=0.0, width=SECTION_WIDTH, height=floor)
    body = [
        element("defs", element("clipPath", window, id=f"{name}-clip")),
        group([element("path", class_="lacquer", d=path(lacquer, close=True))], clip_path=f"url(#{name}-clip)"),
        *_tip(1e6 * view.tip_radius, deepest, half, top, um),
        *_sizes(deepest, half, top, um),
        *_section_scale(floor + 20.0, um),
    ]
    return Figure(
        name, f"The cross-section at {clock(view.start_s + index / view.rate)}",
        f"A groove {2.0 * deepest:.1f} um wide and {deepest:.1f} um deep, with a tip of {1e6 * view.tip_radius:g} um "
        "radius in it.", SECTION_WIDTH, floor + FOOT, Markup("").join(body), "section",
    )  # fmt: skip


def _tip(radius: float, deepest: float, half: float, top: float, um: float) -> Iterator[Markup]:
    """Draw the tip where it rests on both walls of a right-angled groove, or on the edges of one too narrow for it."""
    if deepest <= 0.0:
        return
    # On walls of 45 degrees its middle lies a radius times the root of two above the bottom.
    on_walls = deepest >= radius / math.sqrt(2.0)
    over = math.sqrt(2.0) * radius - deepest if on_walls else math.sqrt(radius**2 - deepest**2)
    middle = top - um * over
    yield element("circle", class_="tip", cx=half, cy=middle, r=um * radius)
    label_x, words = half + um * max(radius, deepest) + 10.0, f"tip {radius:g} um"
    if label_x < SECTION_WIDTH - 70.0:
        yield text(label_x, min(top - 8.0, middle), words, class_="dim")
    else:  # above the edge of a wide groove, clear of the line at it
        yield text(SECTION_WIDTH, top - 28.0, words, class_="dim end")


def _sizes(deepest: float, half: float, top: float, um: float) -> Iterator[Markup]:
    """Write the width and depth of the groove into the cross-section."""
    if deepest <= 0.0:
        yield text(half, top - 28.0, "the cutter is out of the disc", class_="middle mark-text")
        return
    for edge in (half - um * deepest, half + um * deepest):
        yield element("path", class_="mark-line", d=path([(edge, top - 22.0), (edge, top - 2.0)]))
    yield text(half, top - 28.0, f"{2.0 * deepest:.1f} um wide", class_="middle mark-text")
    yield text(half, top + um * deepest + 17.0, f"{deepest:.1f} um deep", class_="middle on-lacquer")


def _section_scale(line: float, um: float) -> Iterator[Markup]:
    bar = 20.0 * um
    corners = [(8.0, line - 5.0), (8.0, line), (8.0 + bar, line), (8.0 + bar, line - 5.0)]
    yield element("path", class_="bar-line", d=path(corners))
    yield text(16.0 + bar, line + 2.0, "20 um")
    yield text(SECTION_WIDTH, line + 2.0, "label left, rim right", class_="dim end")
