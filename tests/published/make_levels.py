"""Compare shares of time with the residual of exact playback on real music, and write `levels.md` beside this file.

    python tests/published/make_levels.py [--keep ROWS.json] [--from ROWS.json]

Needs Debian's `wesnoth-1.16-music`, `sonic-pi-samples` (lossless) and `espeak-ng`; takes some 20 minutes. Each
programme is cut at seven levels and four radii. At each, the shares are those of its worst 10 s (sibilance: 1 s) as a
report has them, and the residual is that of its worst second: of the `TRIED` seconds whose estimate is highest, played
exactly.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from qc.audio.pipeline.plan import plan
from qc.audio.pipeline.process import process_source
from qc.audio.source import FileSource
from qc.groove.geometry.at_radius import at_radius, cut_at_radius
from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import Span
from qc.groove.playback.estimate import (
    LEAST_DB,
    MOST_DB,
    MOST_LOSS_DB,
    OF_RESIDUAL,
    OF_TOP_LOSS,
    Fit,
    estimate,
    powers_as_cut,
)
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip, displaced
from qc.groove.playback.residual import WHOLE, MasterBands
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.sector_envelopes import GrooveInput, Sectors
from qc.model.cutting_chain import SECTORS_A_SECOND, Chain
from qc.plugin_api import Stream

MUSIC = Path("/usr/share/games/wesnoth/1.16/data/core/music")
LOOPS = Path("/usr/share/sonic-pi/samples")
LEVELS = (-12.0, -9.0, -6.0, -3.0, 0.0, 3.0, 6.0)
"""Cut levels, dB."""
RADII = (0.146, 0.110, 0.080, 0.060)
"""From the rim to the label of a 12-inch disc, m."""
SPEED = 2.0 * math.pi * (100.0 / 3.0) / 60.0
"""Radians a second at 33 1/3 turns a minute."""
TRIED = 3
LEAST_S = 40.0
"""Length in s of the shortest track that is taken."""
WARN_DB, FAIL_DB = -20.0, -14.0
"""Residuals in 2-15 kHz that the limits stand for (practice)."""
LIMITS = {
    "groove.lateral_slope_time": 0.05, "groove.lateral_slope_time_twice": 0.01,
    "groove.vertical_slope_time": 0.02, "groove.vertical_slope_time_twice": 0.005,
    "groove.tracing_ratio_time": 0.05, "groove.tracing_ratio_time_twice": 0.01,
    "groove.sibilance_time": 0.10, "groove.sibilance_time_twice": 0.02,
}  # fmt: skip
"""Shares at which a side fails in rulesets 3.0.0; it warns at a tenth of each."""
OLD = {
    "groove.lateral_slope_share": (0.02, 0.10), "groove.vertical_slope_share": (0.01, 0.05),
    "groove.tracing_ratio_share": (0.02, 0.10), "groove.sibilance_share": (0.10, 0.30),
}  # fmt: skip
"""Warn and fail values of the shares of sectors in earlier rulesets."""
LOOPS_OF = {
    "lossless drums": "loop_amen_full loop_breakbeat loop_amen loop_tabla loop_perc1 loop_perc2",
    "lossless electronics": "loop_electric loop_industrial loop_compus loop_mika loop_mehackit1 loop_safari",
    "lossless ambient": "ambi_choir ambi_drone ambi_glass_hum ambi_glass_rub ambi_piano ambi_lunar_land ambi_soft_buzz",
    "lossless guitar and bells": "guit_e_fifths guit_e_slide guit_em9 guit_harmonics perc_bell perc_bell2 elec_bell",
    "lossless cymbals": "drum_cymbal_closed drum_cymbal_hard drum_cymbal_open drum_splash_hard drum_splash_soft",
}
BRIGHTENED = ("battle", "loyalists", "frantic", "northerners")
"""Tracks that are tried once more with 6 dB more above 6 kHz, as a bright mix would be."""
SPOKEN = (
    "The cutting room opens at six. Six sides stand on the shelf, each in its sleeve, and each with a sheet of times. "
    "The esses in this story are a test of the treble, and the spaces between its sentences are short. First she "
    "listens to the loudest passage, then to the brightest, then to the last minute, where the groove is slow and the "
    "tip has the least room. Is this sharp, is this harsh, is this too close to the label? If it sounds strained, she "
    "sends a short letter that says which second it is, and suggests a softer setting. "
)

Array = np.ndarray[Any, Any]


@dataclass
class Programme:
    """A programme (2, frames) by name."""

    name: str
    samples: Array
    rate: int

    @property
    def seconds(self) -> float:
        """Length in s."""
        return float(self.samples.shape[1] / self.rate)


def programmes() -> Iterator[Programme]:
    """Yield every programme: whole tracks, brightened ones, lossless loops, speech."""
    for path in sorted(MUSIC.glob("*.ogg")):
        track = read_programme(path)
        if track.seconds >= LEAST_S:
            yield track
            if track.name in BRIGHTENED:
                yield Programme(f"{track.name}, brightened", brightened(track), track.rate)
    for name, parts in LOOPS_OF.items():
        read = [read_programme(LOOPS / f"{part}.flac") for part in parts.split()]
        rate = read[0].rate
        joined = np.concatenate([part.samples for part in read if part.rate == rate] * 2, axis=1)
        yield Programme(name, 0.9 * joined / np.abs(joined).max(), rate)
    yield from speech()


def speech() -> Iterator[Programme]:
    """Yield speech by a synthesiser, plain and dense."""
    with tempfile.TemporaryDirectory() as folder:
        for name, speed, drive in (("speech", "170", 1.0), ("speech, dense", "200", 6.0)):
            path = Path(folder) / "speech.wav"
            subprocess.run(["espeak-ng", "-s", speed, "-w", str(path), SPOKEN], check=True)
            said = read_programme(path)
            yield Programme(name, 0.9 * np.tanh(drive * said.samples / np.abs(said.samples).max()), said.rate)


def read_programme(path: Path) -> Programme:
    """Read a file of audio as two channels."""
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    return Programme(path.stem, np.ascontiguousarray(np.broadcast_to(samples.T, (2, len(samples)))), rate)


def brightened(track: Programme) -> Array:
    """Raise the treble by a first-order shelf of 6 dB above 6 kHz; the peak stays below full scale."""
    spectrum = np.fft.rfft(track.samples)
    hz = np.fft.rfftfreq(track.samples.shape[1], 1.0 / track.rate)
    shelf = (1.0 + 2.0j * hz / 6_000.0) / (1.0 + 1.0j * hz / 6_000.0)
    lifted: Array = np.fft.irfft(spectrum * shelf, track.samples.shape[1])
    return 0.95 * lifted / np.abs(lifted).max()


def measured(programme: Programme, chain: Chain) -> tuple[SideGeometry, CutPassage]:
    """Measure a programme through the pass, and compute the motion that its playback is made of."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "side.wav"
        soundfile.write(path, programme.samples.T, programme.rate, "PCM_24")
        samples, _ = soundfile.read(path, dtype="float32", always_2d=True)
        need = Sectors.of(chain)
        source = FileSource(path, "side", programme.rate, len(samples))
        envelopes: GrooveInput = process_source(source, plan([need]))[need]
    side = SideGeometry.of(chain, Span(0, envelopes.a_square.shape[1]), envelopes)
    stream = Stream("side", programme.rate, 2, len(samples))
    frames = -(-len(samples) * motion_rate(programme.rate) // programme.rate)
    motion = displaced(np.ascontiguousarray(samples.T), stream, chain.signal)[:, :frames]
    return side, CutPassage(motion, motion_rate(programme.rate), chain.cut.unity_velocity)


def compare(programme: Programme, chain: Chain) -> Iterator[dict[str, Any]]:
    """Yield a row for each level and radius: the shares, and the exact residual of the worst seconds."""
    side, passage = measured(programme, chain)
    starts = side.second_powers.starts * (passage.rate // SECTORS_A_SECOND)
    tip, back = Tip.spherical(chain.playback.tip_radius), chain.playback.back_angle
    masters: dict[int, tuple[CutPassage, MasterBands]] = {}
    for level, radius in itertools.product(LEVELS, RADII):
        cutting = cut_at_radius(side, level, radius)
        powers, passing = powers_as_cut(cutting)
        seconds = []
        for second in np.argsort(-estimate(cutting).residual)[:TRIED].tolist():  # NaN comes last
            if second not in masters:
                low = int(starts[second])
                high = low + passage.rate + passage.rate // 20
                part = CutPassage(
                    np.ascontiguousarray(passage.motion[:, low:high]), passage.rate, passage.unity_velocity
                )
                masters[second] = part, MasterBands(part.master, passage.rate)
            part, master = masters[second]
            found = master.compared(part.played(PlaybackSetup(level, SPEED * radius, tip, back), workers=2))
            residual, loss = float(found.by_band[WHOLE][0]), float(found.top_loss[0])
            if math.isfinite(residual) and math.isfinite(powers[0, second]):
                seconds.append([second, residual, loss, *powers[:, second].tolist(), float(passing[second])])
        if seconds:
            yield {
                "programme": programme.name, "minutes": programme.seconds / 60.0, "level": level, "radius": radius,
                "residual": max(row[1] for row in seconds), "seconds": seconds,
                "shares": at_radius(side, level, radius),
            }  # fmt: skip


HEAD = """\
# Shares of time against the disc as it will play

Made by `python tests/published/make_levels.py`; `qc/groove/playback` is the exact model. No number here is typed in,
but for the limits, which were chosen from it and stand in the rulesets 3.0.0 as `practice`.
"""
TOGETHER = """\
## The limits together

A cut is beyond the limits when any of the shares is. Misses are cuts within the limits whose residual is above the
line, false alarms those beyond them whose residual is below it. How far from the line, in dB: the median, and nine
tenths of them.

| shares | line | misses | by | false alarms | by |
|---|---|---|---|---|---|"""
ALONE = """\
## Each share alone

Rank correlation with the residual, and the share at which misses and false alarms together are fewest. Alone, a share
knows one way in which a groove fails, so its limit may be wider than that.
"""
BY_SHARE = """\
## Residual by share

Quartiles of the residual, dB, of the cuts whose share lies between.
"""
ESTIMATE = """\
## The estimate from the pass

What `qc/groove/playback/estimate.py` estimates of these seconds, against exact playback: with the constants in use, and
with constants fitted anew. They are base, slope, lateral, vertical and passing of its `Fit`. Scatter about the mean is
the root mean square near the limits: residuals from -25 to -10 dB, losses from 0.3 to 4 dB.
"""
PARTS = ("base", "slope", "lateral", "vertical", "passing")

# -- what is written about it ------------------------------------------------------------------------------------


def page(rows: Sequence[dict[str, Any]]) -> str:
    """Write the page about all rows."""
    minutes = sum({row["programme"]: row["minutes"] for row in rows}.values())
    names = sorted({row["programme"] for row in rows})
    residual = np.array([row["residual"] for row in rows])
    shares = {name: np.array([row["shares"][name] for row in rows]) for name in rows[0]["shares"]}
    lines = [
        HEAD,
        f"{len(names)} programmes, {minutes:.0f} minutes, each cut at {len(LEVELS)} levels from {LEVELS[0]:g} to",
        f"{LEVELS[-1]:+g} dB and at {len(RADII)} radii from {1e3 * RADII[0]:g} to {1e3 * RADII[-1]:g} mm, 33 1/3 turns",
        f"a minute, a tip of 8 um: {len(rows)} cuts with programme in 2-15 kHz. Their worst second has a residual",
        f"above {WARN_DB:g} dB there in {np.mean(residual > WARN_DB):.0%} of them, above {FAIL_DB:g} dB in",
        f"{np.mean(residual > FAIL_DB):.0%}.",
        f"The programmes: {'; '.join(names)}.",
        "",
        TOGETHER,
    ]
    for words, line, limits in (
        ("of time, warn", WARN_DB, {name: limit / 10.0 for name, limit in LIMITS.items()}),
        ("of time, fail", FAIL_DB, LIMITS),
        ("of sectors, warn", WARN_DB, {name: limits[0] for name, limits in OLD.items()}),
        ("of sectors, fail", FAIL_DB, {name: limits[1] for name, limits in OLD.items()}),
    ):
        beyond = np.any([shares[name] > limit for name, limit in limits.items()], axis=0)
        bad = residual > line
        missed, alarmed = residual[bad & ~beyond] - line, line - residual[~bad & beyond]
        lines.append(
            f"| {words} | {line:g} dB | {np.mean(~beyond[bad]):.1%} | {_far(missed)} | {np.mean(beyond[~bad]):.1%} | "
            f"{_far(alarmed)} |"
        )
    lines += [
        "",
        ALONE,
        f"| share | correlation | fewest at {WARN_DB:g} dB | fewest at {FAIL_DB:g} dB | warns at | fails at |",
        "|---|---|---|---|---|---|",
    ]
    for name, values in shares.items():
        if name.endswith("_peak"):
            continue
        warn, fail = (LIMITS[name] / 10.0, LIMITS[name]) if name in LIMITS else OLD[name]
        best = [_fewest(values, residual > line) for line in (WARN_DB, FAIL_DB)]
        lines.append(
            f"| `{name}` | {_ranked(values, residual):.2f} | {best[0]:.2%} | {best[1]:.2%} | {warn:.2%} | {fail:.1%} |"
        )
    lines += [
        "",
        BY_SHARE,
    ]
    edges = (0.0, 0.001, 0.003, 0.01, 0.03, 0.1, 1.0)
    lines += [
        "| share | none | " + " | ".join(f"to {edge:.1%}" for edge in edges[1:]) + " |",
        "|---" * (len(edges) + 1) + "|",
    ]
    for name in LIMITS:
        values = shares[name]
        cells = [residual[values == 0.0]]
        cells += [residual[(values > low) & (values <= high)] for low, high in itertools.pairwise(edges)]
        lines.append(f"| `{name}` | " + " | ".join(_quartiles(cell) for cell in cells) + " |")
    return "\n".join([*lines, "", *_estimate(rows), ""])


def _estimate(rows: Sequence[dict[str, Any]]) -> list[str]:
    """Hold the estimate of residual and top loss against the exact seconds, and fit its form to them anew."""
    seconds = np.array([second[1:] for row in rows for second in row["seconds"]], np.float64)
    seconds = seconds[np.isfinite(seconds).all(axis=1) & (seconds[:, 2] > 0.0)]
    residual, loss = seconds[:, 0], seconds[:, 1]
    loss_level = 20.0 * np.log10(np.clip(loss, 0.02, MOST_LOSS_DB))
    lines = [
        ESTIMATE,
        f"{len(seconds)} exact seconds.",
        "",
        "| estimate | constants | off by | scatter |",
        "|---" * 4 + "|",
    ]
    for words, used_fit, values, used, near in (
        ("residual", OF_RESIDUAL, residual, _between(residual, LEAST_DB, MOST_DB), _between(residual, -25.0, -10.0)),
        ("loss", OF_TOP_LOSS, loss_level, _between(loss, 0.05, MOST_LOSS_DB), _between(loss, 0.3, 4.0)),
    ):
        for name, fit in (("in use", used_fit), ("fitted anew", _fitted(seconds[used, 2:], values[used]))):
            found = fit.decibels(seconds[near, 2:5].T, seconds[near, 5])
            off = found - values[near] if used_fit is OF_RESIDUAL else 10.0 ** (found / 20.0) - loss[near]
            constants = ", ".join(f"{getattr(fit, part):.3g}" for part in PARTS)
            scatter = math.sqrt(np.square(off - off.mean()).mean())
            lines.append(f"| {words}, {name} | {constants} | {off.mean():+.1f} dB | {scatter:.1f} dB |")
    return lines


def _fitted(seconds: Array, values: Array) -> Fit:
    """Fit the form of the estimate, least squares with soft outliers; `seconds` (n, 4) are powers and passing."""
    from scipy.optimize import least_squares

    def of(p: Sequence[float]) -> Fit:
        return Fit(p[0], p[1], math.exp(p[2]), math.exp(p[3]), p[4], 0.0)

    def off(p: Sequence[float]) -> Array:
        return of(p).decibels(seconds[:, :3].T, seconds[:, 3]) - values

    return of(least_squares(off, [-20.0, 0.5, 4.0, 4.0, 0.5], loss="soft_l1").x.tolist())


def _between(values: Array, low: float, high: float) -> Array:
    return (values > low) & (values < high)


def _fewest(values: Array, bad: Array) -> float:
    """Return the share at which misses and false alarms, each as a part of its kind, are fewest."""
    at = np.unique(np.round(values, 4))
    return float(min((np.mean(values[bad] <= limit) + np.mean(values[~bad] > limit), limit) for limit in at)[1])


def _ranked(x: Array, y: Array) -> float:
    from scipy.stats import spearmanr

    return float(spearmanr(x, y).statistic)


def _far(off: Array) -> str:
    return f"{np.median(off):.1f}, {np.quantile(off, 0.9):.1f}" if len(off) else "-"


def _quartiles(values: Array) -> str:
    if len(values) < 8:
        return f"{len(values)} cuts"
    return " / ".join(f"{value:.0f}" for value in np.quantile(values, (0.25, 0.5, 0.75)))


def main() -> None:
    """Compare all programmes, or read rows that were kept, and write the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--keep", type=Path, metavar="ROWS.json", help="write the rows here too")
    words.add_argument("--from", dest="rows", type=Path, metavar="ROWS.json", help="rows kept by an earlier run")
    given = words.parse_args()
    if given.rows is not None:
        rows = json.loads(given.rows.read_text(encoding="utf-8"))
    else:
        rows = []
        for programme in programmes():
            rows += compare(programme, Chain())
            print(f"{programme.name}: {programme.seconds / 60.0:.1f} min", flush=True)
            if given.keep is not None:
                given.keep.write_text(json.dumps(rows), encoding="utf-8")
    Path(__file__).with_name("levels.md").write_text(page(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
