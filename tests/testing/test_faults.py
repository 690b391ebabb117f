"""The kit's faults do what they say, and nothing else."""

import datetime as dt
import hashlib

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from qc.testing import faults, signals

RATE = 48_000
FINE = npst.arrays(np.float64, st.tuples(st.just(2), st.integers(1, 400)), elements=st.floats(-2.0, 2.0))


@pytest.fixture
def tone():
    return signals.sine(440.0, 1.0, RATE, 0.5)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "side-a.wav"
    soundfile.write(path, signals.sine(440.0, 1.0, RATE, 0.5).T, RATE, subtype="PCM_24")
    return path


def changed(x, y):
    """Frames at which a channel is not what it was, by channel."""
    return [np.flatnonzero(a != b) for a, b in zip(x, y, strict=True)]


# -- samples ---------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(FINE, st.floats(0.1, 1.0))
def test_clipping_changes_only_larger_samples_and_is_idempotent(x, peak):
    y = faults.clipped(x, peak)
    assert np.abs(y).max() <= peak
    assert np.array_equal(y[np.abs(x) <= peak], x[np.abs(x) <= peak])
    assert np.array_equal(faults.clipped(y, peak), y)


@settings(deadline=None)
@given(FINE)
def test_inverting_twice_changes_nothing(x):
    assert np.array_equal(faults.swapped(faults.swapped(x)), x)
    assert np.array_equal(faults.inverted(faults.inverted(x)), x)
    assert np.array_equal(faults.swapped(x)[0], x[1])
    assert np.array_equal(faults.inverted(x, channel="left")[0], -x[0])


@settings(deadline=None)
@given(FINE, st.integers(0, 200))
def test_shifting_back_and_forth_changes_nothing(x, frames):
    later = faults.shifted(x, RATE, seconds=frames / RATE)
    assert not later[:, :frames].any()
    assert np.array_equal(faults.shifted(later, RATE, seconds=-frames / RATE), x)


@settings(deadline=None)
@given(FINE, st.integers(0, 400), st.integers(0, 100))
def test_a_gap_delays_the_rest(x, at, frames):
    y = faults.gap(x, RATE, at_s=at / RATE, seconds=frames / RATE)
    at = min(at, x.shape[1])
    assert np.array_equal(np.delete(y, slice(at, at + frames), axis=1), x)
    assert not y[:, at : at + frames].any()


def test_flat_tops_are_runs_of_four(tone):
    y = faults.flat_tops(tone, RATE, at_s=0.5, runs=3, peak=0.99, channel="right")
    left, right = changed(tone, y)
    assert not len(left)
    assert list(right) == [24_000 + 20 * k + j for k in range(3) for j in range(4)]
    assert set(y[1, right]) == {0.99}
    with pytest.raises(ValueError, match=r"2000 runs from 0\.5 s on do not fit into 1 s"):
        faults.flat_tops(tone, RATE, at_s=0.5, runs=2_000, peak=0.99)


def test_direct_current_is_the_mean_of_its_channel(tone):
    y = faults.dc_offset(tone, 0.01, channel="left")
    assert np.mean(y, axis=1) == pytest.approx([0.01, 0.0], abs=1e-9)
    assert np.array_equal(y[1], tone[1])


def test_a_stutter_plays_a_stretch_again_and_delays_the_rest(tone):
    y = faults.stuttered(tone, RATE, at_s=0.25, seconds=0.05, times=2)
    at, again = round(0.25 * RATE), round(0.05 * RATE)
    assert y.shape == (2, tone.shape[1] + 2 * again)
    assert np.array_equal(y[:, :at], tone[:, :at])
    assert np.array_equal(y[:, at : at + again], tone[:, at - again : at])
    assert np.array_equal(y[:, at + again : at + 2 * again], tone[:, at - again : at])
    assert np.array_equal(y[:, at + 2 * again :], tone[:, at:])


def test_a_dropout_is_silent_from_one_frame_to_another(tone):
    y = faults.dropout(tone + 1.0, RATE, at_s=0.25, seconds=0.5, channel="left")
    left, right = changed(tone + 1.0, y)
    assert (left[0], left[-1], len(left)) == (12_000, 35_999, 24_000)
    assert not len(right)
    assert not y[0, left].any()


def test_bass_out_of_phase_correlates_at_minus_one_and_treble_at_one():
    x = signals.sine(100.0, 1.0, RATE, 0.3) + signals.sine(2_000.0, 1.0, RATE, 0.2)
    left, right = faults.bass_out_of_phase(x, RATE, below_hz=150.0)
    assert left - right == pytest.approx(signals.sine(100.0, 1.0, RATE, 0.6)[0], abs=1e-12)
    assert left + right == pytest.approx(signals.sine(2_000.0, 1.0, RATE, 0.4)[0], abs=1e-12)


def test_clicks_are_single_samples(tone):
    y = faults.clicks(tone, RATE, at_s=[0.1, 0.2], peak=0.4, channel="left")
    left, right = changed(tone, y)
    assert list(left) == [4_800, 9_600]
    assert (y - tone)[0, left] == pytest.approx(0.4)
    assert not len(right)


def test_sibilants_are_centred_in_time_and_band():
    y = faults.sibilants(np.zeros((2, RATE)), RATE, at_s=[0.5, 0.99], peak=0.3, hz=7_000.0, seconds=0.1)
    assert y.shape == (2, RATE)
    assert int(np.abs(y[0]).argmax()) in (24_000, 47_520)
    assert not y[:, : round(0.45 * RATE)].any()
    spectrum = np.abs(np.fft.rfft(y[0, 20_000:28_000])) ** 2
    hz = np.fft.rfftfreq(8_000, 1.0 / RATE)
    assert spectrum[(hz > 6_900.0) & (hz < 7_100.0)].sum() > 0.99 * spectrum.sum()


def test_hum_is_a_line_in_the_spectrum(tone):
    spectrum = np.abs(np.fft.rfft((faults.hum(tone, RATE, hz=50.0, peak=0.01))[0])) * 2.0 / RATE
    assert spectrum[50] == pytest.approx(0.01)
    assert spectrum[440] == pytest.approx(0.5)


def test_one_sample_is_replaced(tone):
    y = faults.one_sample(tone, RATE, at_s=0.5, value=float("inf"))
    assert np.flatnonzero(~np.isfinite(y[0])).tolist() == [24_000]
    assert np.isfinite(tone).all()


# -- files -----------------------------------------------------------------------------------------------------


def test_a_truncated_file_still_states_its_length(file):
    size, before = file.stat().st_size, file.read_bytes()
    faults.truncate(file, 0.6)
    assert file.stat().st_size == int(0.6 * size)
    assert before.startswith(file.read_bytes())


def test_a_damaged_file_differs_in_one_bit(file):
    before = np.frombuffer(file.read_bytes(), np.uint8)
    faults.damage(file)
    after = np.frombuffer(file.read_bytes(), np.uint8)
    assert int(np.unpackbits(before ^ after).sum()) == 1
    assert hashlib.sha256(before.tobytes()).digest() != hashlib.sha256(after.tobytes()).digest()
    assert soundfile.info(file).frames == RATE


def test_a_length_left_open_is_all_ones_in_both_places(file):
    before = file.read_bytes()
    faults.leave_length_open(file)
    after = file.read_bytes()
    data = before.index(b"data") + 4
    assert after[4:8] == after[data : data + 4] == b"\xff" * 4
    assert after[8:data] + after[data + 4 :] == before[8:data] + before[data + 4 :]
    other = file.with_name("side-b.flac")
    soundfile.write(other, np.zeros((10, 2)), RATE)
    with pytest.raises(ValueError, match=r"side-b\.flac is no WAV file"):
        faults.leave_length_open(other)


def test_a_file_is_replaced_by_something_else(file):
    faults.change_day(file, dt.date(2026, 3, 2))
    assert dt.datetime.fromtimestamp(file.stat().st_mtime).astimezone().date() == dt.date(2026, 3, 2)
    faults.replace_with_text(file)
    assert file.read_text(encoding="utf-8").endswith("moved.\n")
    faults.empty(file)
    assert file.read_bytes() == b""
    faults.replace_with_folder(file)
    assert file.is_dir()


def test_a_wrong_checksum_is_a_digest_of_another_file(file):
    own = hashlib.sha256(file.read_bytes()).hexdigest()
    assert faults.checksum(file, right=True) == own
    wrong = faults.checksum(file, right=False)
    assert len(wrong) == 64
    assert wrong != own


def test_samples_are_rounded_to_steps_of_their_bits(tone):
    plain, dithered = faults.requantised(tone, 10), faults.requantised(tone, 10, dither=True)
    for y in (plain, dithered):
        np.testing.assert_array_equal(512.0 * y, np.round(512.0 * y))
    assert np.abs(plain - tone).max() <= 0.5 / 512.0
    assert (dithered - tone).std() == pytest.approx(
        0.5 / 512.0, rel=0.05
    )  # rounding and triangular dither: a half step
