"""Plant faults in clean and in real music at ten strengths, and write what was found beside this file.

    PYTHONPATH=tests python -m published.make_faults [--fault TEXT] [--check ID] [--keep FOLDER]

Each fault of `planted/*.py` is planted once in each piece at each strength, and judged by the newest ruleset at a cut
level of -20 dB. `faults.json` has how often it was found; the rows of other faults in it stay as they are. `README.md`
is written from it. Needs what `support/clean_set.py` needs; a fault takes about a minute.
"""

from __future__ import annotations

import argparse
import importlib
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from published.faults_page import write_page
from qc import api
from qc.model.report import Report
from qc.plugin_host.host import Host
from qc.testing.deliveries import Sent, deliver
from support.clean_set import sides
from support.planted_faults import FoundFault, Place, PlantedFault, Samples, read_found, write_found
from support.rendered import ended, lossy

CUT_LEVEL = "-20 dB"
LEAD_S, TRACK_S, GAP_S, OUT_S = 1.5, 14.0, 2.5, 3.5
NEAR_S = 0.3
"""How far from a fault a finding may lie in s."""
CHOSEN = (
    ("chamber", 0, 3), ("recital", 7, 4), ("band", 0, 2), ("loops", 0, 3), ("radio-play", 0, 1), ("sparse", 1, 2),
    ("high-rate", 1, 0),
)  # fmt: skip
"""Sides of the clean set, with two of their tracks each."""
REAL = (("knolls", "wanderer"), ("battle", "sad"), ("frantic", "underground"))
"""Pairs of real music, lossy in origin."""


@dataclass(frozen=True)
class Piece:
    """Two tracks of music as a side: samples (2, frames), and the start and end of each track in s."""

    name: str
    rate: int
    samples: Samples
    tracks: tuple[Place, Place]


def planted_faults() -> Iterator[PlantedFault]:
    """Yield the faults of all modules in `planted`."""
    for path in sorted((Path(__file__).parent / "planted").glob("[a-z]*.py")):
        yield from importlib.import_module(f"published.planted.{path.stem}").FAULTS


def pieces(keep: Path | None = None) -> list[Piece]:
    """Make the pieces, or read those that an earlier run kept in a folder."""
    if keep is not None and keep.exists():
        return [_read(path) for path in sorted(keep.glob("*.npz"))]
    by_name = {side.name: side for side in sides()}
    made = []
    for name, *numbers in CHOSEN:
        side = by_name[name]
        made.append(_piece(name, side.rate, [side.tracks[number].make(side.rate) for number in numbers]))
    made += [_piece(" and ".join(names), 44_100, [lossy(name, 60.0)(44_100) for name in names]) for names in REAL]
    if keep is not None:
        keep.mkdir(parents=True)
        for number, piece in enumerate(made):
            np.savez(keep / f"{number:02}.npz", **asdict(piece))
    return made


def _read(path: Path) -> Piece:
    with np.load(path) as kept:
        first, second = kept["tracks"].tolist()
        return Piece(str(kept["name"]), int(kept["rate"]), kept["samples"], (tuple(first), tuple(second)))


def _piece(name: str, rate: int, tracks: Sequence[Samples]) -> Piece:
    """Join the first seconds of two tracks as they begin, the end of each faded out."""
    parts, places, at = [np.zeros((2, round(LEAD_S * rate)))], [], LEAD_S
    for samples, rest in zip(tracks, (GAP_S, OUT_S), strict=True):
        begin = int(np.argmax(np.abs(samples).max(axis=0) > 1e-3 * np.abs(samples).max()))
        track = ended(samples[:, begin : begin + round(TRACK_S * rate)].copy(), rate, 3.0)
        parts += [0.7 * track / np.abs(track).max(), np.zeros((2, round(rest * rate)))]
        places.append((at, at + TRACK_S))
        at += TRACK_S + rest
    return Piece(name, rate, np.concatenate(parts, axis=1), (places[0], places[1]))


def judged(piece: Piece, samples: Samples, host: Host, *, exact: bool = False, coding: str = "PCM_24") -> Report:
    """Judge a piece with other samples, dithered for 24 bits unless they are `exact`."""
    if not exact:
        rng = np.random.default_rng(samples.shape[1])
        samples = samples + 2.0**-23 * (rng.random(samples.shape) - rng.random(samples.shape))
        samples = 2.0**-23 * np.round(samples * 2.0**23)
    with tempfile.TemporaryDirectory() as folder:
        sent = Sent(samples, piece.rate, piece.tracks, coding=coding, more={"cut_level": CUT_LEVEL})
        return api.check(deliver(Path(folder) / "delivery", {"A": sent}), api.Options(), host)


def findings(report: Report) -> Counter[str]:
    """Count the findings by check."""
    return Counter(finding.check for result in report.results for finding in result.findings)


def finds(report: Report, check: str, place: Place | None) -> bool:
    """Whether a check has a finding at a place; a finding or a fault without a place is anywhere."""
    for result in report.results:
        for finding in result.findings:
            if finding.check != check:
                continue
            start, end = finding.location.start_s, finding.location.end_s
            if place is None or start is None:
                return True
            if start <= place[1] + NEAR_S and (start if end is None else end) >= place[0] - NEAR_S:
                return True
    return False


def found(fault: PlantedFault, on: Sequence[Piece], before: dict[str, Counter[str]], host: Host) -> FoundFault:
    """Plant a fault in all pieces at all strengths and count how often it is found.

    `before` has the findings of each piece without a fault; what is missing is judged and added. A piece in which the
    check has a finding already is left out: nothing could be seen in it.
    """
    counts, others, chosen = [0] * len(fault.strengths), Counter[str](), [
        piece for piece in on if not fault.rates or piece.rate in fault.rates
    ]  # fmt: skip
    tried = 0
    for seed, piece in enumerate(chosen):
        if piece.name not in before:
            before[piece.name] = findings(judged(piece, piece.samples, host))
        if before[piece.name][fault.check]:
            continue
        tried += 1
        for number, strength in enumerate(fault.strengths):
            samples, place = fault.plant(piece.samples, piece.rate, strength, seed)
            report = judged(piece, samples, host, exact=fault.exact, coding=fault.coding)
            counts[number] += finds(report, fault.check, place)
            new = findings(report) - before[piece.name]
            others.update(name for name in new if name != fault.check and not name.startswith(("groove.", "hf.")))
    return FoundFault(
        fault.name, fault.check, fault.unit, tuple(fault.strengths), counts, tried, dict(sorted(others.items()))
    )


def main() -> None:
    """Try the chosen faults, and write the numbers and the page."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--fault", default="", metavar="TEXT", help="faults whose name contains this")
    words.add_argument("--check", default="", metavar="ID", help="faults of this check")
    words.add_argument("--keep", type=Path, metavar="FOLDER", help="keep the pieces here for later runs")
    words.add_argument("--dry", action="store_true", help="print what was found, and write nothing")
    given = words.parse_args()
    on, host, before = pieces(given.keep), api.build_host(), dict[str, Counter[str]]()
    for fault in planted_faults():
        if given.fault not in fault.name or given.check not in ("", fault.check):
            continue
        began = time.perf_counter()
        row = found(fault, on, before, host)
        print(
            f"{row.name} ({row.check}): found {list(row.found)} of {row.pieces}, half from {row.half}, all from "
            f"{row.every}, others {dict(row.others)}, {time.perf_counter() - began:.0f} s",
            flush=True,
        )
        if not given.dry:
            write_found({**read_found(), row.name: row})
            write_page()


if __name__ == "__main__":
    main()
