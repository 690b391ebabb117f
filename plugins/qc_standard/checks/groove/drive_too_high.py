"""Drive of the cutter."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import treble


class DriveTooHighLimits(Model):
    """Highest drive of the cutter, over 1 s, over 10 s and at one moment."""

    in_1s: Limit
    in_10s: Limit
    peak: Limit


class DriveTooHigh(LimitCheck[DriveTooHighLimits]):
    """The cutter is driven harder than its coils bear."""

    id = "groove.drive-too-high"
    title = "The cutter is driven too hard"
    why = (
        "Treble is cut with much current. Held too long it heats the coils until protection cuts in "
        "or they burn out; one extreme moment can do it too."
    )
    how = (
        "Acceleration of the wall that moves more, in g: the root of its mean square over the worst 1 "
        "s and the worst 10 s, and the greatest single value."
    )
    remedy = (
        "Cut lower, or take down sustained treble at the place given: cymbals, distorted guitars, "
        "bright synthesisers. Half-speed cutting eases the cutter a great deal."
    )
    client = ForClient(
        name="Treble that is hard on the cutting machine",
        means=(
            "At these moments the treble is so strong that the machine which cuts the disc would run hot. To save "
            "itself it would switch off in the middle of your side."
        ),
        asks=(
            "Please have what is brightest there softened a little: mostly cymbals, distorted guitars or "
            "synthesisers. If you would rather keep it, we can cut the side more quietly."
        ),
    )
    blind_to = (
        "The cutter in use and its cooling: the values are working ones, and the maker of the cutter has the last word."
    )
    Limits = DriveTooHighLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "in_1s": Judged("groove.drive_1s", "<=", "the drive (rms acceleration) over the worst 1 s"),
        "in_10s": Judged("groove.drive_10s", "<=", "the drive (rms acceleration) over the worst 10 s"),
        "peak": Judged("groove.acceleration_peak", "<=", "the greatest acceleration"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the dB to cut, the band and the moments."""
        return treble.add_remedy(finding, look)
