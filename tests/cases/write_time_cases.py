"""Write the cases on both sides of each limit of time, as the newest ruleset has it.

    python tests/cases/write_time_cases.py

Each is a tone that is beyond the limit for so many milliseconds; how long it must last for that, fades and all, is
tried out with the case itself. Run it again where such a limit has changed.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from qc import api
from qc.judge.bind import bind
from qc.ruleset.library import Shelf
from qc.testing.cases import cases_in, run

FOLDER = Path(__file__).parent
SLOPE, BEND, HISS = (
    "groove.slope-too-steep", "groove.curvature-too-tight", "hf.sibilance-or-cymbals-too-strong",
)  # fmt: skip


class Tone(NamedTuple):
    """A tone 1.3 times what a limit of time allows, in dBFS; at `twice` it is 2.3 times that, or 2.6."""

    check: str
    key: str
    sine: str
    once: float
    twice: float
    cut: float
    seconds: int
    what: str


TONES = (
    Tone(SLOPE, "lateral_time", "frequency: 1 kHz", -6.341, -1.386, 6.0, 10, "swings sideways"),
    Tone(SLOPE, "vertical_time", "frequency: 2 kHz, channels: opposed", -8.951, -2.930, 6.02, 10, "rises and falls"),
    Tone(BEND, "time", "frequency: 10 kHz", -14.489, -8.468, 0.0, 10, "bends"),
    Tone(HISS, "time", "frequency: 8 kHz", -11.953, -5.932, 0.0, 1, "bends by an 8 kHz hiss"),
)
SIDES = (("warn", 0, "on the warning"), ("warn", 1, "just beyond the warning"),
         ("fail", 0, "on the failure"), ("fail", 1, "just beyond the failure"))  # fmt: skip


def main() -> None:
    """Write all of them."""
    host = api.build_host()
    shelf = Shelf(host.ruleset_folders)
    ruleset = shelf.load(shelf.serving("7in", "33"))
    checks = {check.id: check for check in bind(ruleset, host.checks, api.units(host.needs)).checks}
    for tone in TONES:
        for old in (FOLDER / tone.check).glob(f"*-{tone.key.replace('_', '-')}-*.yaml"):
            old.unlink()
        for key, level in ((tone.key, tone.once), (f"{tone.key}_twice", tone.twice)):
            limit = getattr(checks[tone.check].limits, key)
            measure = checks[tone.check].judges[key].measure
            for grade, over, where in SIDES:
                cells = round(getattr(limit, grade) * 1000 * tone.seconds) + over
                _write(tone, key, level, measure, cells, where)


def _write(tone: Tone, key: str, level: float, measure: str, cells: int, where: str) -> None:
    """Write a case of so many cells beyond, lasting as long as it must."""
    length = cells + 2.0
    for _ in range(40):
        text = _text(tone, key, level, measure, cells, length, "")
        found, outcome = _tried(tone, text, measure)
        if found == cells:
            break
        length += 0.6 * (cells - found)
    else:
        raise SystemExit(f"{tone.check}/{key}: no length gives {cells} cells")
    name = f"{outcome}-{key.replace('_', '-')}-{where.replace(' ', '-')}.yaml"
    severity = "" if outcome in {"warn", "pass"} else f"  severity: {outcome}\n"
    path = FOLDER / tone.check / name
    path.write_text(_text(tone, key, level, measure, cells, length, severity), encoding="utf-8")
    print(path.relative_to(FOLDER))


def _text(tone: Tone, key: str, level: float, measure: str, cells: int, length: float, severity: str) -> str:
    many, all_of = f"{cells} of the {1000 * tone.seconds} milliseconds", 1000 * tone.seconds
    beyond = "more than twice what may be" if key.endswith("twice") else "more than may be"
    lasts, whole = f"{length / 1000:.4f} s", 10 if tone.seconds == 10 else 3
    return (
        f"why: In {many} it {tone.what} {beyond}.\n"
        "disc: {size: 7in, speed: 33}\n"
        "sides:\n"
        "  - audio:\n"
        f"      - silence: {whole} s\n"
        f"      - sine: {{{tone.sine}, level: {level:.3f} dBFS, lasts: {lasts}, fade: 2 ms, at: 1 s}}\n"
        f'    tracks: [{{start: "0", end: "{whole}"}}]\n'
        f"    paper: {{cut_level: {tone.cut:g} dB}}\n"
        "expect:\n"
        "  measured:\n"
        f"    {measure}: {{near: {100.0 * cells / all_of:.4g} %, within: {20.0 / all_of:.3g} %}}\n"
        f"{severity}"
    )


def _tried(tone: Tone, text: str, measure: str) -> tuple[int, str]:
    """Return the cells beyond, and the outcome of the check, of a case."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / tone.check / "pass-tried.yaml"
        path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
        (case,) = cases_in(Path(folder))
        report = run(case, Path(folder) / "delivery").report
    share = report["sides"][0]["measurements"][measure]["value"]
    outcome = next(result["outcome"] for result in report["results"] if result["check"] == tone.check)
    return round(share * 1000 * tone.seconds), outcome


if __name__ == "__main__":
    main()
