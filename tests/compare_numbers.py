"""Whether two checkouts give the same numbers, outcomes, places and counts.

    python tests/compare_numbers.py BEFORE [AFTER]

BEFORE and AFTER (default: this one) are checkouts, a git worktree each. The deliveries are made once, by BEFORE: the
demo, every case file, and, where Debian's `wesnoth-1.16-music` and ffmpeg are installed, a minute of music at four
rates at a free level and cut at 0 dB. Each checkout then judges them all, every ruleset pinned to one version, and
plans the music. Numbers must agree to 1e-9 of their value, everything else must be equal, except words (`WORDS`).
Prints every difference and ends with 1 where there is one.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

WITHIN = 1e-9
"""Relative difference of two numbers that are the same."""
RATES = (44_100, 48_000, 96_000, 192_000)
MUSIC = Path("/usr/share/games/wesnoth/1.16/data/core/music")
TRACK, FROM, SECONDS = "battle", 30, 60
WORDS = {"message", "remedy", "reason", "why", "how", "words", "cautions", "tool", "plugins"}
"""Keys whose text may be put in other words."""
HERE = Path(__file__).resolve().parent.parent


def main() -> int:
    """Make the deliveries, have each checkout judge them, compare."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("before", type=Path)
    words.add_argument("after", type=Path, nargs="?", default=HERE)
    given = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        deliveries = Path(folder, "deliveries")
        _run(given.before, "make", deliveries)
        found = []
        for name, checkout in (("before", given.before), ("after", given.after)):
            out = Path(folder, f"{name}.json")
            _run(checkout, "judge", deliveries, out)
            found.append(json.loads(out.read_text(encoding="utf-8")))
    before, after = found
    differing = 0
    for name in sorted({*before, *after}):
        for line in differences(before.get(name), after.get(name), name):
            differing += 1
            print(line)
    print(f"{len(before)} reports compared, {differing} differences")
    return 1 if differing else 0


def _run(checkout: Path, *words: object) -> None:
    """Run this file with the sources of a checkout."""
    root = checkout.resolve()
    path = os.pathsep.join(str(root / part) for part in (".", "plugins", "rulesets", "tests"))
    this = [sys.executable, str(Path(__file__).resolve()), *map(str, words)]
    subprocess.run(this, check=True, env={**os.environ, "PYTHONPATH": path, "CHECKOUT": str(root)})


def differences(before: Any, after: Any, place: str) -> Iterator[str]:
    """List what differs, one line each, with the place in the report."""
    if isinstance(before, dict) and isinstance(after, dict):
        for key in [*before, *(key for key in after if key not in before)]:
            if key not in WORDS:
                yield from differences(before.get(key), after.get(key), f"{place}.{key}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for index, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from differences(one, other, f"{place}[{index}]")
    elif not same(before, after):
        yield f"{place}: {before!r:.120} and {after!r:.120}"


def same(before: Any, after: Any) -> bool:
    """Whether two values are equal, numbers to within `WITHIN`."""
    numbers = isinstance(before, int | float) and isinstance(after, int | float)
    if numbers and not isinstance(before, bool) and not isinstance(after, bool):
        return abs(before - after) <= WITHIN * max(abs(before), abs(after))
    return before == after


# -- what runs inside a checkout -------------------------------------------------------------------------------


def make(folder: Path) -> None:
    """Write every delivery into a folder of its own."""
    from qc.demo.folder import make as make_demo
    from qc.testing.cases import cases_in
    from qc.testing.made import make as make_case

    folder.mkdir()
    make_demo(folder / "demo")
    cases = Path(os.environ["CHECKOUT"]) / "tests" / "cases"
    for case in cases_in(cases):
        make_case(case.file, folder / f"case {case.check} {case.path.stem}")
    if not MUSIC.is_dir() or shutil.which("ffmpeg") is None:
        print("no music to compare: wesnoth-1.16-music or ffmpeg is not installed", file=sys.stderr)
        return
    for rate in RATES:
        for level in ("free", "0 dB"):
            _music(folder / f"music {rate} {level}", rate, level)


def _music(folder: Path, rate: int, level: str) -> None:
    folder.mkdir()
    words = ["ffmpeg", "-v", "error", "-ss", str(FROM), "-t", str(SECONDS), "-i", str(MUSIC / f"{TRACK}.ogg")]
    subprocess.run([*words, "-ar", str(rate), "-c:a", "pcm_s24le", str(folder / "a.wav")], check=True)
    lines = ["schema: 1", "title: Quiet Harbour", "disc: {size: 12in, speed: 33}", "sides:"]
    lines += ["  - id: A", "    audio: a.wav"] + ([] if level == "free" else [f"    cut_level: {level}"])
    (folder / "delivery.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def judge(folder: Path, out: Path) -> None:
    """Judge every delivery, and plan the music."""
    from qc import api

    host, found = api.build_host(), {}
    for delivery in sorted(folder.iterdir()):
        pinned = _pinned(delivery)
        report = _told(lambda d=delivery, p=pinned: api.check(d, api.Options(ruleset=p, today=None), host))
        found[delivery.name] = report
        if delivery.name.startswith("music"):
            options = api.PlanOptions(ruleset=pinned)
            found[f"{delivery.name} plan"] = _told(lambda d=delivery, o=options: api.plan(d, o, host))
    out.write_text(json.dumps(found), encoding="utf-8")


def _pinned(delivery: Path) -> str | None:
    """Name the ruleset of a delivery's disc at one version; None where the delivery names its own."""
    from ruamel.yaml import YAML

    paper = YAML(typ="safe").load((delivery / "delivery.yaml").read_text(encoding="utf-8"))
    disc = paper.get("disc")
    return f"disc-{disc['size']}-{disc['speed']}@2.0.0" if disc and "ruleset" not in paper else None


def _told(call: Any) -> Any:
    """Return a report as JSON without what no two runs share, or the sentence of an error."""
    try:
        answer = call()
        report = json.loads(getattr(answer, "report", answer).model_dump_json())
    except (AttributeError, ImportError, NameError, TypeError):  # a mistake of this file or a checkout, no answer
        raise
    except Exception as error:  # the sentence is what is compared
        return f"{type(error).__name__}: {error}"
    report["run"] = None
    return report


if __name__ == "__main__":
    if sys.argv[1:2] == ["make"]:
        make(Path(sys.argv[2]))
    elif sys.argv[1:2] == ["judge"]:
        judge(Path(sys.argv[2]), Path(sys.argv[3]))
    else:
        sys.exit(main())
