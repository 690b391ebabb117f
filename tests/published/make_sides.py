"""Judge sixty sides of real music by the shipped rulesets, and write `sides.md` beside this file.

    python tests/published/make_sides.py [--keep ROWS.json] [--from ROWS.json]

Ten programmes, each on six discs and lengths, level free: how loud it is, what is recommended, where it ends, what
rules, and how its worst second plays. Needs Debian's `wesnoth-1.16-music` and `espeak-ng`; takes some 15 minutes.
"""

from __future__ import annotations

import argparse
import json
import math
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from make_levels import BRIGHTENED, MUSIC, Programme, brightened, read_programme, speech
from scipy.signal import resample_poly

from qc import api
from qc.model.quantity import clock
from qc.model.report import Report
from qc.plugin_host.host import Host

FORMATS = (("7in", 45, 4), ("12in", 45, 12), ("12in", 33, 15), ("12in", 33, 18), ("12in", 33, 22), ("12in", 33, 25))
"""Size, speed, minutes."""
MOST_S = 60.0 * 25.0
SHUFFLED = 5
"""Programmes of tracks in an order by chance, seeds 0 and up."""
COMPARED, BEFORE = (18, 22), "disc-12in-33@2.0.1"
"""Minutes of the sides that are judged by an earlier ruleset too, and that ruleset."""
BASS_MONO = "signal.bass_mono=150 Hz"
OF_WIDE_BASS = {
    "groove.cut-too-deep/greatest", "groove.top-width-too-narrow/least", "stereo.low-end-out-of-phase/excursion",
}  # fmt: skip
"""Limits that bass in the middle would lift: sides they rule are judged once more with `BASS_MONO`."""
OF_TREBLE = (
    "groove.slope-too-steep/",
    "groove.curvature-too-tight/",
    "groove.drive-too-high/",
    "hf.sibilance-or-cymbals-too-strong/",
)
"""How limits begin that a cut in the treble would lift."""
SINGLE = ("7in", 45, 4)
"""A single: where it stays below 0 LU, the page says what would lift it."""
PEAK = 10.0 ** (-0.3 / 20.0)

Array = np.ndarray[Any, Any]


def programmes() -> Iterator[Programme]:
    """Yield ten programmes of 25 minutes: mixed by chance, the loudest, the quietest, bright, sparse, spoken."""
    tracks = [read_programme(path) for path in sorted(MUSIC.glob("*.ogg"))]
    tracks = [track for track in tracks if track.seconds >= 60.0]
    for seed in range(SHUFFLED):
        order = np.random.default_rng(seed).permutation(len(tracks))
        yield _joined(f"mixed {seed + 1}", [tracks[i] for i in order])
    by_power = sorted(tracks, key=lambda track: float(np.square(track.samples).mean()))
    yield _joined("the quietest tracks", by_power)
    yield _joined("the loudest tracks", by_power[::-1])
    by_treble = sorted(tracks, key=_treble)
    yield _joined("the brightest tracks", by_treble[::-1])
    bright = [Programme(t.name, brightened(t), t.rate) for t in tracks if t.name in BRIGHTENED]
    yield _joined("brightened by 6 dB", bright + bright[:2])
    spoken = [Programme(said.name, resample_poly(said.samples, 2, 1, axis=1), 2 * said.rate) for said in speech()]
    yield _joined("speech", [spoken[0]] * math.ceil(MOST_S / spoken[0].seconds))


def _treble(track: Programme) -> float:
    """Return the power of the differences of samples over that of the samples."""
    return float(np.square(np.diff(track.samples)).mean() / np.square(track.samples).mean())


def _joined(name: str, tracks: Sequence[Programme]) -> Programme:
    """Join tracks of one rate to 25 minutes, 1 s apart, the peak at -0.3 dBFS."""
    rate = tracks[0].rate
    gap = np.zeros((2, rate))
    parts, seconds = [], 0.0
    for track in tracks:
        if track.rate == rate and seconds < MOST_S:
            parts += [track.samples, gap]
            seconds += track.seconds + 1.0
    whole = np.concatenate(parts, axis=1)[:, : round(MOST_S * rate)]
    return Programme(name, whole * (PEAK / np.abs(whole).max()), rate)


def judged(programme: Programme, size: str, speed: int, minutes: int, host: Host) -> dict[str, Any]:
    """Judge the first minutes of a programme as a side of a disc, and return what the table needs."""
    samples = programme.samples[:, : minutes * 60 * programme.rate].copy()
    fade = 2 * programme.rate
    samples[:, -fade:] *= np.linspace(1.0, 0.0, fade)
    with tempfile.TemporaryDirectory() as folder:
        soundfile.write(Path(folder) / "side.wav", samples.T, programme.rate, "PCM_24")
        delivery = Path(folder) / "delivery.yaml"
        end = samples.shape[1] / programme.rate
        delivery.write_text(
            f"schema: 1\ntitle: {programme.name}\ndisc: {{size: {size}, speed: {speed}}}\nsides:\n  - id: A\n"
            f'    audio: side.wav\n    tracks:\n      - {{number: 1, title: One, start: "0", end: "{end:.3f}"}}\n',
            encoding="utf-8",
        )
        report = api.check(delivery, api.Options(), host)
        mono, low = None, None
        if (size, speed, minutes) == SINGLE and _on_disc(report) < 0.0:
            low = below_nominal(report, delivery, host)
        if low is not None or _ruling(report) in OF_WIDE_BASS:
            mono = api.check(delivery, api.Options(chain=(BASS_MONO,)), host).sides[0].levels
        before = None
        if (size, speed) == ("12in", 33) and minutes in COMPARED:
            before = api.check(delivery, api.Options(ruleset=BEFORE), host).sides[0].levels
    (side,) = report.sides
    numbers = {name: quantity.value for name, quantity in side.measurements.items()}
    levels = side.levels
    assert levels is not None
    return {
        "programme": programme.name, "disc": f"{size} {speed}", "minutes": minutes,
        "loudness": numbers["loudness.integrated"], "level": levels.recommended.value,
        "bound": levels.recommended.bound or "", "on_disc": numbers.get("groove.level_on_disc"),
        "ends": numbers["groove.last_diameter"], "rules": levels.ruling or "",
        "residual": numbers.get("groove.playback_residual"), "loss": numbers.get("groove.top_loss"),
        "before": None if before is None else before.recommended.value,
        "before_rules": None if before is None else before.ruling,
        "mono": None if mono is None else mono.recommended.value,
        "mono_rules": None if mono is None else mono.ruling,
        "low": low,
        "tips": {tip.tip: tip.recommended.value for tip in levels.by_tip if tip.recommended is not None},
    }  # fmt: skip


def below_nominal(report: Report, delivery: Path, host: Host) -> dict[str, Any]:
    """Return what keeps a single below 0 LU: its treble at that level, and the levels with less of it.

    The treble is what the checks advise when the side is cut at 0 LU: the deepest cut, the widest band, the time of it
    all, the first and the last second. `untreated` is the highest level that the limits on treble leave, `other` the
    highest level of all other limits and the one that rules then, `repairs` what cutting single passages wins.
    """
    levels = report.sides[0].levels
    assert levels is not None
    assert levels.budget is not None
    lines = levels.budget.limits
    treble = [line.level.value for line in lines if line.limit.startswith(OF_TREBLE)]
    other = min((line for line in lines if not line.limit.startswith(OF_TREBLE)), key=lambda line: line.level.value)
    level = round(levels.recommended.value - _on_disc(report), 1)
    at_nominal = api.check(delivery, api.Options(level=level), host)
    cuts = [
        remedy
        for check in at_nominal.results
        for finding in check.findings
        for remedy in finding.remedies
        if remedy.kind in ("band_cut", "band_will_not_do") and remedy.stretches
    ]
    return {
        "untreated": min(treble), "other": other.level.value, "other_rules": other.limit,
        "repairs": [
            {"win": repair.wins.value, "passages": len(repair.passages),
             "start": repair.passages[0].start_s, "end": repair.passages[-1].end_s}
            for repair in levels.budget.repairs
        ],
        "cuts": None if not cuts else {
            "deepest": max(cut.numbers.get("cut", cut.numbers["whole"]).value for cut in cuts),
            "from": min(cut.numbers["from"].value for cut in cuts),
            "to": max(cut.numbers["to"].value for cut in cuts),
            "over": max(cut.numbers["over"].value for cut in cuts) / 1e3,
            "first": min(cut.stretches[0].start_s for cut in cuts),
            "last": max(cut.stretches[-1].end_s for cut in cuts),
        },
    }  # fmt: skip


def _on_disc(report: Report) -> float:
    return report.sides[0].measurements["groove.level_on_disc"].value


def _ruling(report: Report) -> str | None:
    levels = report.sides[0].levels
    return None if levels is None else levels.ruling


HEAD = """\
# What the rulesets make of real sides

Made by `python tests/published/make_sides.py`, each side free to be as loud as it can. "Level" is the recommended cut
level, "on disc" the loudness that ends up on the disc against its reference, "residual" what the worst second adds in
2-15 kHz when it is played with a tip of 8 um, "loss" the treble it loses in 10-15 kHz. Where the movement of wide bass
rules, "mono" is the level with the bass in the middle below 150 Hz, as a room would do first, and what rules then.
"""


def page(rows: Sequence[dict[str, Any]]) -> str:
    """Write the page about all sides."""
    lines = [
        HEAD,
        "| programme | disc | min | LUFS | level dB | on disc LU | ends mm | what rules | residual | loss | mono |",
    ]
    lines.append("|---" * 11 + "|")
    lines += [
        f"| {row['programme']} | {row['disc']} | {row['minutes']} | {row['loudness']:.1f} | "
        f"{row['bound']}{row['level']:+.1f} | {row['on_disc']:+.1f} | {row['ends']:.1f} | "
        f"`{row['rules']}` | {_db(row['residual'])} | {_db(row['loss'])} | {_mono(row)} |"
        for row in rows
    ]
    return "\n".join([*lines, "", *_trade(rows), "", *_moved(rows), ""])


def _moved(rows: Sequence[dict[str, Any]]) -> list[str]:
    """List the levels that an earlier ruleset recommended."""
    lines = [
        f"## Since {BEFORE}",
        "",
        "| programme | min | level before | ruled by | level now | rules |",
        "|---" * 6 + "|",
    ]
    lines += [
        f"| {row['programme']} | {row['minutes']} | {row['before']:+.1f} | `{row['before_rules']}` | "
        f"{row['level']:+.1f} | `{row['rules']}` |"
        for row in rows
        if row["before"] is not None
    ]
    return lines


def _trade(rows: Sequence[dict[str, Any]]) -> list[str]:
    """Compare with rules of the trade."""
    by = {(row["programme"], row["disc"], row["minutes"]): row for row in rows}
    names = list(dict.fromkeys(row["programme"] for row in rows))
    room = "groove.last-diameter-too-small/least"
    slopes = []
    for name in names:
        for low, high in ((15, 18), (18, 22), (22, 25)):
            one, other = by[name, "12in 33", low], by[name, "12in 33", high]
            if one["rules"] == other["rules"] == room:
                slopes.append((one["level"] - other["level"]) / (high - low))
    lines = ["## Beside the rules of the trade", ""]
    if slopes:
        lines.append(
            f"* Where room rules at both lengths, a minute costs {np.median(slopes):.2f} dB, from {min(slopes):.2f} to "
            f"{max(slopes):.2f} ({len(slopes)} pairs). The trade says 0.75 to 1 (T-5, T-6)."
        )
    lines.append(
        "* The trade's levels are of ordinary programme on the disc, not of a file of any loudness: these files are "
        "masters of today, so the loudness on the disc is what compares. The level in dB is what the file must be cut "
        "at for it."
    )
    for minutes, said in ((18, "near 0 dB"), (25, "near -6 dB")):
        found = [by[name, "12in 33", minutes]["on_disc"] for name in names if name.startswith("mixed")]
        lines.append(
            f"* {minutes} minutes of mixed programme: {min(found):+.1f} to {max(found):+.1f} LU on the disc, "
            f"{np.mean(found):+.1f} on average; common practice, from memory, is {said}."
        )
    singles = [by[name, "7in 45", 4] for name in names]
    below = [row for row in singles if round(row["on_disc"], 1) < 0.0]  # levels are searched in tenths of a dB
    lines.append(f"* Singles of 4 minutes at or above 0 LU on the disc: {len(singles) - len(below)} of {len(singles)}.")
    lines += [f"  * {_below(row)}" for row in below]
    bright = [row for row in below if row["low"]["untreated"] + row["on_disc"] - row["level"] < 0.0]
    short = [row for row in below if row not in bright and row["mono"] + row["on_disc"] - row["level"] < 0.0]
    lines.append(
        f"* Of these, extreme treble holds back {len(bright)}, and wide bass {len(below) - len(bright) - len(short)}, "
        "which a room would put in the middle first. The rule of thumb and the model part at the other "
        f"{len(short)} ({'; '.join(row['programme'] for row in short)}). The model was believed: their bass needs "
        "more width or more room than the side has, whatever a rule says of singles on average, and a turn that "
        "is wider than its pitch cuts into the next."
    )
    parted = [row for row in rows if row["rules"] in OF_WIDE_BASS]
    lines.append(
        f"* Rule of thumb and model part where wide bass rules: {len(parted)} of {len(rows)} sides. The "
        "model was believed: the groove closes or is deeper than the lacquer allows, and a room would put the bass in "
        "the middle before it turned the level down, which wins "
        f"{np.median([row['mono'] - row['level'] for row in parted]):.1f} dB (median)."
    )
    worst = max((row for row in rows if row["residual"] is not None), key=lambda row: row["residual"])
    lines.append(
        f"* The worst second of all plays with a residual of {worst['residual']:.1f} dB: {worst['programme']}, "
        f"{worst['disc']}, {worst['minutes']} minutes, at {worst['level']:+.1f} dB."
    )
    return lines


def _below(row: dict[str, Any]) -> str:
    """Write what keeps a single below 0 LU, and what would lift it."""
    above, low = row["on_disc"] - row["level"], row["low"]
    text = f"{row['programme']}: {row['on_disc']:+.1f} LU, ruled by `{row['rules']}`; "
    text += f"{row['mono'] + above:+.1f} LU with the bass in the middle, where `{row['mono_rules']}` rules."
    if low["untreated"] + above >= 0.0:
        return f"{text} Its treble allows {low['untreated'] + above:+.1f} LU."
    text += f" Its treble allows {low['untreated'] + above:+.1f} LU"
    if (cuts := low["cuts"]) is not None:
        text += (
            f": at 0 LU it is too much between {cuts['from'] / 1e3:.2g} and {cuts['to'] / 1e3:.2g} kHz, from "
            f"{clock(cuts['first'])} to {clock(cuts['last'])}, by up to {cuts['deepest']:.1f} dB"
        )
    text += f". De-essed until nothing of it is over, the side goes to {low['other'] + above:+.1f} LU, "
    text += f"where `{low['other_rules']}` rules"
    wins = [f"{repair['win']:.1f} dB with {repair['passages']} of them" for repair in low["repairs"]]
    return text + (f"; turning down its worst passages wins {', '.join(wins)}." if wins else ".")


def _mono(row: dict[str, Any]) -> str:
    return "" if row["mono"] is None else f"{row['mono']:+.1f}, `{row['mono_rules']}`"


def _db(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def main() -> None:
    """Judge all sides, or read rows that were kept, and write the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--keep", type=Path, metavar="ROWS.json", help="write the rows here too")
    words.add_argument(
        "--from", dest="rows", type=Path, metavar="ROWS.json", help="go on from rows kept by an earlier run"
    )
    given = words.parse_args()
    rows = [] if given.rows is None else json.loads(given.rows.read_text(encoding="utf-8"))
    there = {(row["programme"], row["disc"], row["minutes"]) for row in rows}
    host = api.build_host()
    for programme in programmes():
        for size, speed, minutes in FORMATS:
            if (programme.name, f"{size} {speed}", minutes) in there:
                continue
            rows.append(judged(programme, size, speed, minutes, host))
            print(rows[-1], flush=True)
            if given.keep is not None:
                given.keep.write_text(json.dumps(rows), encoding="utf-8")
    Path(__file__).with_name("sides.md").write_text(page(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
