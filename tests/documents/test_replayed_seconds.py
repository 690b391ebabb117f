"""Descriptions of the seconds that are replayed exactly: the same numbers wherever a user reads of them."""

from pathlib import Path

import pytest

from qc.groove.geometry.meanings import MEANINGS
from qc.groove.playback.estimate import RESIDUAL
from qc.groove.playback.exact import APART, FROM_DB, MOST, MOST_FOR_LOSS
from qc_standard.checks.groove.playback_distorted import PlaybackDistorted

CHANGELOG = Path(__file__).parents[2] / "CHANGELOG.md"
COUNTS = {2: "two", 6: "six"}


@pytest.mark.parametrize(
    "text",
    [MEANINGS[RESIDUAL], PlaybackDistorted.how, CHANGELOG.read_text(encoding="utf-8")],
    ids=["meaning", "check", "changelog"],
)
def test_the_seconds_that_are_exact_are_described_as_they_are_chosen(text):
    described = f"where an estimate is {FROM_DB:g} dB or more, the worst seconds, at most {COUNTS[MOST]} and {APART} s "
    assert described.casefold() in " ".join(text.split()).casefold()


def test_the_seconds_replayed_for_their_loss_are_counted():
    assert f"up to {COUNTS[MOST_FOR_LOSS]} more" in " ".join(MEANINGS["groove.top_loss"].split())
