"""Free sides of real music at their recommended level: no limit of the groove fails there by version 2.0.0.

Two and a half minutes each; those of the first piece fail for the low-end excursion, by 60.2 and 62.3 um against
60, at the level that version 1.1.0 recommends. The music is of Debian's wesnoth-1.16-music; see support/real_music.py.
"""

import pytest
import soundfile

from qc.testing.deliveries import Sent, deliver, judge
from support.real_music import MUSIC, needed

pytestmark = [pytest.mark.music, pytest.mark.long]

LASTS = 150  # s
STRETCHES = (
    ("battle.ogg", 25, True), ("battle.ogg", 100, True), ("the_deep_path.ogg", 0, False), ("wanderer.ogg", 0, False),
)  # fmt: skip
EXCURSION = "stereo.low-end-out-of-phase/excursion"
FOLLOWS_THE_LEVEL = ("groove.", "hf.", "stereo.", "layout.lead-out-room", "layout.side-too-long")


@pytest.mark.parametrize(("name", "start", "failed"), STRETCHES)
def test_a_free_side_of_real_music_fails_no_limit_of_the_groove(name, start, failed, tmp_path):
    needed((MUSIC / name).exists(), f"no real music: {MUSIC / name} is missing (Debian: wesnoth-1.16-music)")
    rate = soundfile.info(MUSIC / name).samplerate
    x, _ = soundfile.read(MUSIC / name, start=start * rate, frames=LASTS * rate, always_2d=True)
    delivery = deliver(tmp_path / "side", {"A": Sent(x.T, rate, coding="PCM_24", container="FLAC")})
    store = ("--cache", str(tmp_path / "store"))
    before = judge(delivery, tmp_path / "before.json", "--ruleset", "disc-12in-33@1.1.0", *store)
    after = judge(delivery, tmp_path / "after.json", "--ruleset", "disc-12in-33@2.0.0", *store)
    assert (EXCURSION in before.side()["levels"]["fails_at_recommended"]) is failed
    assert (before.outcome("stereo.low-end-out-of-phase") == "fail") is failed
    failing = [result["check"] for result in after.report["results"] if result["outcome"] == "fail"]
    assert not [check for check in failing if check.startswith(FOLLOWS_THE_LEVEL)]
    recommended = [one.side()["levels"]["recommended"]["value"] for one in (before, after)]
    assert (recommended[1] < recommended[0]) is failed
    if (name, start, failed) == STRETCHES[0]:
        alone = judge(delivery, tmp_path / "fresh.json", "--ruleset", "disc-12in-33@2.0.0")  # nothing stored beforehand
        assert alone.side()["levels"] == after.side()["levels"]
