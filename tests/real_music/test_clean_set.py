"""The clean set is what it says: the same at every build, 24 bits in use, its tracks where the delivery has them."""

import hashlib

import numpy as np
import pytest
import soundfile

from qc.testing.deliveries import judge
from support.clean_set import build
from support.real_music import needed
from support.rendered import missing

pytestmark = [pytest.mark.rendered, pytest.mark.long]


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """The short form: each side with its delivery."""
    needed(not missing(), f"no clean set: {missing()} is missing")
    return build(tmp_path_factory.mktemp("short"), short=True)


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_same_samples_come_of_every_build(short, tmp_path):
    for name in ("chamber", "radio-play"):
        ((_, again),) = [built for built in build(tmp_path, short=True, only=name) if built[0].name == name]
        (first,) = [place for side, place in short if side.name == name]
        assert digest(again / "side-a.wav") == digest(first / "side-a.wav")


def test_the_last_eight_bits_are_in_use(short):
    for side, place in short:
        samples, _ = soundfile.read(place / "side-a.wav", dtype="int32", always_2d=True)
        low = (samples[samples != 0] >> 8) & 0xFF
        share = np.bincount(low, minlength=256) / low.size
        assert share.max() < 0.5, side.name
        assert share.min() > 0.0005, side.name


def test_it_takes_about_four_minutes(short):
    minutes = sum(soundfile.info(place / "side-a.wav").duration for _, place in short) / 60.0
    assert 3.0 < minutes < 6.0


def test_every_track_starts_where_the_delivery_has_it(short, tmp_path):
    for side, place in short:
        result = judge(place, tmp_path / "report.json").result("layout.track-times-disagree")
        assert result["outcome"] == "pass", side.name
