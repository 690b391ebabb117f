"""The second look: the same digits as the pass gave, at most 60 s of a side, files joined as they were heard."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from qc.audio.excerpts import BEFORE, BEHIND, MOST_S, Excerpts
from qc.audio.multi_file_source import FileSegment
from qc.groove.signal.band_limit import motion_rate
from qc.groove.signal.wall_motion import Motion
from qc.model.cutting_chain import Signal
from qc.model.errors import SecondLookError
from qc.plugin_api import Stream
from qc.testing.drive import through

PRE_S = (BEFORE + BEHIND) / 75


def noise(seconds, rate, seed=1):
    return 0.1 * np.random.default_rng(seed).standard_normal((2, round(seconds * rate)))


def written(path, x, rate, subtype="DOUBLE"):
    soundfile.write(path, x.T, rate, subtype=subtype)
    return path


def excerpts(path, x, rate, **more):
    stream = Stream("side:A", rate, 2, x.shape[1])
    return Excerpts(stream, [FileSegment(path, path.name, 0, 0, x.shape[1], rate)], **more)


def whole(tap, x, rate):
    return through(tap, x, rate)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
def test_motion_is_what_the_pass_heard(tmp_path, rate, suffix):
    x = np.round(noise(3.0, rate) * 2**23) / 2**23
    look = excerpts(written(tmp_path / f"a{suffix}", x, rate, "PCM_24"), x, rate)
    tap, at = Motion(Signal()), motion_rate(rate)
    expected = whole(tap, x, rate)
    for start, end in ((1.31, 1.62), (0.0, 0.2), (2.7, 3.0)):
        heard = look(start, end, tap)
        there = expected[:, round(start * at) : round(end * at)]
        assert heard.shape == there.shape
        assert np.abs(heard - there).max() < 1e-4 * np.abs(there).max()  # what is left of the settling
    assert not heard.flags.writeable


def test_the_sources_own_samples_are_exact(tmp_path):
    x = noise(2.0, 48_000)
    look = excerpts(written(tmp_path / "a.wav", x, 48_000), x, 48_000)
    assert np.array_equal(look(0.5, 0.6), x[:, 24_000:28_800])
    assert np.array_equal(look(1.9, 2.5), x[:, 91_200:])


def test_no_more_than_a_minute_is_read_and_what_overlaps_is_read_once(tmp_path):
    x = noise(100.0, 44_100)
    look = excerpts(written(tmp_path / "a.wav", x, 44_100), x, 44_100)
    look(10.0, 11.0, Motion(Signal()))
    once = look.seconds
    assert once == pytest.approx(1.0 + PRE_S)
    look(10.2, 10.9, Motion(Signal(bass_mono=100.0)))
    assert look.seconds == once
    look(10.6, 11.4, Motion(Signal()))  # whole sectors
    assert look.seconds == pytest.approx(once + 0.4)
    for second in range(12, 60, 2):
        look(second, second + 1.5, Motion(Signal()))
    assert look.seconds == pytest.approx(1.4 + PRE_S + 24 * (1.5 + PRE_S), abs=0.4)  # whole sectors
    look(70.0, 70.0 + MOST_S - look.seconds - 0.02)
    with pytest.raises(SecondLookError, match="60 s"):
        look(98.0, 99.0)
    assert MOST_S - 0.05 < look.seconds <= MOST_S
    assert not look.lost


def test_files_that_were_joined_are_joined_again(tmp_path):
    rate, x = 48_000, noise(4.0, 48_000)
    x[:, 96_000:120_000] = 0.0
    first, second = x[:, :96_000], x[:, 120_000:]
    parts = [
        FileSegment(written(tmp_path / "1.wav", first, rate), "1.wav", 1, 0, 96_000, rate),
        FileSegment(written(tmp_path / "2.wav", second, rate), "2.wav", 2, 120_000, 72_000, rate),
    ]
    look = Excerpts(Stream("side:A", rate, 2, x.shape[1]), parts)
    one = excerpts(written(tmp_path / "a.wav", x, rate), x, rate)
    for start, end in ((1.5, 2.9), (2.1, 2.4), (3.0, 4.0)):
        assert np.array_equal(look(start, end), one(start, end))
        assert np.array_equal(look(start, end, Motion(Signal())), one(start, end, Motion(Signal())))


@pytest.mark.parametrize("how", ["gone", "changed", "short"])
def test_a_file_that_is_not_what_it_was_is_not_heard(tmp_path, how):
    rate, x = 48_000, noise(3.0, 48_000)
    path = written(tmp_path / "a.wav", x, rate)
    look = excerpts(path, x, rate, changes=lambda: ["it is another one"] if how == "changed" else [])
    if how == "gone":
        Path.unlink(path)
    elif how == "short":
        written(path, x[:, : rate // 2], rate)
    for _ in range(2):
        with pytest.raises(SecondLookError):
            look(1.0, 2.0)
    assert "could not be read again" in look.lost
    assert look.seconds == 0.0
