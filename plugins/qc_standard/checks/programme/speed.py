"""The speed of a side by its track list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from qc.plugin_api import (
    At,
    Check,
    CheckContext,
    Finding,
    ForClient,
    Model,
    Need,
    NotApplicableError,
    Programme,
    ProgrammeBounds,
    Quantity,
)
from qc_standard.documents.track_list import MeasuredTimes, OtherSpeed, other_speed
from qc_standard.layout import DeclaredTrack
from qc_standard.own_limits import MostPercent

MISTAKES = {
    48.0 / 44.1: "44.1 kHz played at 48 kHz",
    44.1 / 48.0: "48 kHz played at 44.1 kHz",
    1.35: "33 1/3 played at 45",
    1.0 / 1.35: "45 played at 33 1/3",
    25.0 / 24.0: "24 frames a second of film played at 25",
    24.0 / 25.0: "25 frames a second of film played at 24",
}
"""Speed -> the mistake that it comes from."""
ALIKE = 0.002
"""Greatest relative distance from such a speed."""


class SpeedLimits(Model):
    """Greatest difference in speed from that of the track list."""

    most: MostPercent


class Speed(Check[SpeedLimits]):
    """All times of a side are long or short by one factor."""

    id = "programme.speed"
    title = "The side runs at another speed than its track list"
    why = (
        "A tape machine at the wrong speed, or a file whose sample rate was changed without converting it, makes the "
        "music faster and higher, or slower and lower. Nothing in the sound itself shows it."
    )
    how = (
        "Where at most half of the listed starts after a gap are found within 1 s (0.25 s of three starts or more that "
        "are not rounded to the second), one factor is sought, 0.7 to 1.45, that puts all of them within 1.5 s. It "
        "must move them by 1 s and by four times what is left, and fit by chance less than once in 100 times."
    )
    remedy = "Ask at which speed the music belongs: have it transferred again, or the sample rate put right."
    client = ForClient(
        name="Music that runs too fast or too slow",
        means=(
            "All times in the file are longer or shorter than in your list, by one and the same factor. Most often the "
            "music was played back at a wrong speed when the file was made, and it then also sounds too high or too "
            "low."
        ),
        asks="Please compare the file with your master, and send us a new file, or the right times if it is meant so.",
    )
    blind_to = (
        "A speed that the list has too, sides with only one gap and a list rounded to the second, and pitch that was "
        "changed without the time."
    )
    sensitivity = (
        "Of 60 sides of three to six pieces of real music, the speed was found to 0.1 % on 88 % from the limit on, and "
        "on 92 % from 1 % on; with lists rounded to the second, on 75 and 80 %. Slow fade-ins make it less exact."
    )
    needs: ClassVar[tuple[type[Need[ProgrammeBounds]], ...]] = (Programme,)
    explains: ClassVar[Mapping[str, tuple[str, ...]]] = {
        "layout.track-times-disagree": (),
        "layout.gap-disagrees": (),
        "layout.gap-too-short": (),
        "delivery.audio-disagrees": ("shorter than declared",),
    }
    Limits = SpeedLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Seek one factor for all times; raises NotApplicableError where no track is declared."""
        tracks = DeclaredTrack.every(ctx.declared)
        if not tracks:
            raise NotApplicableError("no track times are declared")
        measured = MeasuredTimes.of(ctx[Programme])
        found = other_speed(tracks, measured)
        if found is not None:
            apart = 100.0 * (found.speed - 1.0)
            at = At(start_s=measured.begin_s, end_s=measured.end_s)
            of = f"the difference in speed, {_described(found, apart)},"
            yield from ctx.hold(Quantity(value=abs(apart), unit="%", at=at), self.limits.most, op="<=", of=of)


def _described(found: OtherSpeed, apart: float) -> str:
    mistake = next((words for speed, words in MISTAKES.items() if abs(found.speed / speed - 1.0) <= ALIKE), "")
    like = f", like {mistake}" if mistake else ""
    fast = f"{abs(apart):.1f} % {'fast' if apart > 0.0 else 'slow'}"
    return f"{fast}{like} (the list then fits, {found.fit.words}; as it is, {found.own.words})"
