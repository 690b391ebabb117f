"""The long-term spectrum of a side, with its steady tones."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from markupsafe import Markup

from qc.plugin_base import Spectrum
from qc.report.html.svg import Figure, element, path, text

WIDTH, HEIGHT, LEFT, RIGHT, HEAD, FOOT = 1200.0, 300.0, 64.0, 12.0, 30.0, 28.0
LOWEST, HIGHEST = 20.0, 20_000.0
DEEPEST = -110.0
NUMBERS = (20, 50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000)


def spectrum(name: str, side: str, measured: Spectrum) -> Figure:
    """Draw a spectrum, in dBFS of a sine by twelfth of an octave."""
    low = max(DEEPEST, 10.0 * math.floor(float(measured.level.min()) / 10.0))
    high = max(
        low + 20.0,
        10.0 * math.ceil(max([float(measured.level.max()), *(line.level for line in measured.lines)]) / 10.0),
    )

    def across(hertz: float) -> float:
        return LEFT + math.log(hertz / LOWEST) / math.log(HIGHEST / LOWEST) * (WIDTH - LEFT - RIGHT)

    def up(level: float) -> float:
        return HEAD + (high - max(level, low)) / (high - low) * (HEIGHT - HEAD - FOOT)

    points = [(across(float(f)), up(float(v))) for f, v in zip(measured.frequency, measured.level, strict=True)]
    body = [*_grid(low, high, across, up), element("path", class_="one", d=path(points)), *_lines(measured, across, up)]
    tones = "; ".join(f"A steady tone at {_hertz(line.frequency)}, {line.level:.0f} dBFS" for line in measured.lines)
    return Figure(
        name, f"The long-term spectrum of side {side}",
        f"Bands of a twelfth of an octave, from {measured.seconds:.0f} s spread over the side. "
        f"{tones or 'No steady tone stands out'}.",
        WIDTH, HEIGHT, Markup("").join(body), "spectrum",
    )  # fmt: skip


def _grid(low: float, high: float, across: Callable[[float], float], up: Callable[[float], float]) -> Iterator[Markup]:
    for hertz in NUMBERS:
        yield element("path", class_="rule", d=path([(across(hertz), HEAD), (across(hertz), HEIGHT - FOOT)]))
        kind = "dim end" if hertz == NUMBERS[-1] else "dim" if hertz == NUMBERS[0] else "dim middle"
        yield text(across(hertz), HEIGHT - 9, _hertz(hertz), class_=kind)
    for level in range(round(low), round(high) + 1, 20):
        yield element("path", class_="rule", d=path([(LEFT, up(level)), (WIDTH - RIGHT, up(level))]))
        yield text(LEFT - 6, up(level) + 4, f"{level}", class_="dim end")
    yield text(LEFT, HEAD - 12, "dBFS of a sine, by twelfth of an octave", class_="strong")


def _lines(measured: Spectrum, across: Callable[[float], float], up: Callable[[float], float]) -> Iterator[Markup]:
    """Mark each steady tone by a stem and its frequency, in two rows so that neighbours can be read."""
    for row, line in enumerate(sorted(measured.lines, key=lambda line: line.frequency)):
        x = across(line.frequency)
        yield element("path", class_="bound-fail", d=path([(x, up(line.level)), (x, HEIGHT - FOOT)]))
        height = max(HEAD + 12.0, up(line.level) - 8.0 - 15.0 * (row % 2))
        words = f"{_hertz(line.frequency)} {line.level:.0f} dBFS"
        yield text(min(max(x, LEFT + 60), WIDTH - 80), height, words, class_="strong middle")


def _hertz(hertz: float) -> str:
    return f"{hertz / 1e3:.4g} kHz" if hertz >= 1000 else f"{hertz:.4g} Hz"
