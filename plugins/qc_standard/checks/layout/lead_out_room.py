"""Room for the lead-out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from qc.plugin_api import Excerpt, Finding, ForClient, Judged, Limit, LimitCheck, Model
from qc_standard.advice import too_long


class LeadOutRoomLimits(Model):
    """Least number of lead-out turns."""

    least: Limit


class LeadOutRoom(LimitCheck[LeadOutRoomLimits]):
    """There is no room for the lead-out between the music and the closed groove."""

    id = "layout.lead-out-room"
    subject = "groove"
    title = "There is too little room for the lead-out"
    why = (
        "The lead-out takes a turn or so to carry the arm from the music into the closed groove. Without room for it "
        "the music runs into the closed groove, and automatic arms do not lift."
    )
    how = "From the last diameter at the judged level to the closed groove, counted in turns of 6.4 mm."
    remedy = "Cut lower or shorten the side. A tighter lead-out needs the consent of who presses the disc."
    client = ForClient(
        name="Room for the end of the side",
        means=(
            "After the last note the groove has to carry the needle to the middle, and this side leaves hardly any "
            "room for that. Some record players would then not lift the arm."
        ),
        asks=(
            "There are three ways out: we cut the side more quietly, you shorten it, or a track moves to another "
            "side. Please tell us which you like best."
        ),
    )
    blind_to = "The lead-out pitch of the lathe in use: printed ones run from 3.2 to 9.6 mm a turn."
    Limits = LeadOutRoomLimits
    judges: ClassVar[Mapping[str, Judged]] = {
        "least": Judged("layout.lead_out_room", ">=", "the room for the lead-out"),
    }

    def advise(self, finding: Finding, look: Excerpt) -> Finding:
        """Add the level, or the seconds to remove, that would make room."""
        return too_long.make_room(finding, look)
