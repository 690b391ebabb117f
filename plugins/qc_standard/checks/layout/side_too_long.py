"""The playing time compared with the trade's table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import too_long


class SideTooLongLimits(Model):
    """Most minutes beyond the playing time of the chart, whose 0 dB is the RIAA reference.

    Rulesets before 3.0.0 take the alignment tone for its 0 dB, in the limit `over`.
    """

    over_chart: Limit | None = None
    over: Limit | None = None


class SideTooLong(LimitCheck[SideTooLongLimits]):
    """The side lasts longer than the trade's table has for its loudness."""

    id = "layout.side-too-long"
    subject = "groove"
    title = "The side is longer than the trade's table allows"
    why = (
        "Time on a disc is paid for in level. Past the minutes that cutting rooms count on, a side comes out quiet, or "
        "its land and its inner grooves get tight."
    )
    how = (
        "The playing time, less the minutes that a studio's chart gives for this size and speed at the loudness that "
        "ends up on the disc, against the RIAA reference of 7 cm/s; between its rows in a straight line, beyond them "
        "as at the end. Rulesets before 3.0.0 take the alignment tone in place of that reference."
    )
    remedy = "Shorten the side, move a track to another side, or agree on a lower level. The spiral has the last word."
    client = ForClient(
        name="A long side",
        means="Time on a record is paid for with loudness: the longer a side is, the more quietly it has to be cut.",
        asks=(
            "If it should be louder, please shorten the side or move a track to another one. If you like it as it is, "
            "tell us, and we cut it as loud as there is room for."
        ),
    )
    blind_to = (
        "The programme itself: quiet passages and mono bass save room that no table knows of. That the "
        "chart's 0 dB is 7 cm/s is from memory: it only names the RIAA reference."
    )
    Limits = SideTooLongLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "over_chart": Judged("layout.minutes_over_chart", "<=", "the playing time beyond the table"),
        "over": Judged("layout.minutes_over_table", "<=", "the playing time beyond the table"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the seconds to remove, or the level, for which the table has room."""
        return too_long.keep_to_the_table(finding, look)
