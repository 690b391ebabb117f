"""How a side starts and ends: milliseconds against plain numpy, levels against closed forms, cuts against ffmpeg."""

import subprocess

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from published.planted import edges as planted
from qc.model.cutting_chain import Chain
from qc.testing.drive import run_need
from qc_standard.edges.milliseconds import Milliseconds
from qc_standard.edges.starts_and_ends import Edges
from support.real_music import MUSIC, needed

RATE = 48_000
NOISE = np.random.default_rng(5).standard_normal((2, 3_000)) * 0.1


def found(x, rate=RATE):
    return run_need(Edges.of(Chain()), x, rate)


def tone(hz, seconds, peak, rate=RATE, phase=0.0, fade=0.0):
    """A sine with fades along a straight line, (2, frames)."""
    n = np.arange(round(seconds * rate))
    ramp = np.ones(len(n))
    if fade:
        ramp = np.clip(np.minimum(n, len(n) - 1 - n) / (fade * rate), 0.0, 1.0)
    return np.vstack([ramp * peak * np.sin(2.0 * np.pi * hz * n / rate + phase)] * 2)


def silence(seconds, rate=RATE):
    return np.zeros((2, round(seconds * rate)))


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
def test_powers_and_steps_are_those_of_numpy(rate):
    cell = round(rate / 1000)
    x = np.concatenate([np.zeros((2, 200 * cell + 7)), NOISE, np.zeros((2, 40 * cell))], axis=1)
    cells = run_need(Milliseconds(), x, rate)
    whole = x.shape[1] // cell
    parts = x[:, : whole * cell].reshape(2, whole, cell)
    np.testing.assert_allclose(cells.power, (parts**2).mean(axis=(0, 2)), rtol=1e-6)
    steps = np.diff(x, axis=1, prepend=0.0)[:, : whole * cell].reshape(2, whole, cell)
    expected = np.sqrt((steps**2).sum(axis=0).max(axis=1))
    np.testing.assert_allclose(cells.step[100:255], expected[100:255], rtol=1e-6)
    assert cells.seconds == cell / rate
    np.testing.assert_allclose(cells.leaps[:, 1], [leap for _, leap in leaps_of(parts)], rtol=1e-6)
    np.testing.assert_array_equal(cells.leaps[:, 0], [at for at, _ in leaps_of(parts)])


def leaps_of(cells):
    """Yield the cells of (2, cells, frames) with a sample 30 dB above all before it, back to the cell before."""
    magnitudes = np.abs(cells).max(axis=0)
    for at in range(len(magnitudes)):
        before = magnitudes[at - 1].max() if at else 0.0
        leap = 0.0
        for magnitude in magnitudes[at]:
            leap = magnitude if magnitude > 10.0**1.5 * before else leap
            before = max(before, magnitude)
        if leap:
            yield at, leap


@settings(max_examples=40, deadline=None)
@given(frames=st.integers(1, 3_000), sizes=st.lists(st.integers(0, 1_000), max_size=8))
def test_any_blocks_give_the_same_digits(frames, sizes):
    x = NOISE[:, :frames] * (np.arange(frames) > 1_500)
    whole, parts = run_need(Milliseconds(), x, 8_000, frames), run_need(Milliseconds(), x, 8_000, sizes)
    np.testing.assert_allclose(whole.power, parts.power, rtol=1e-6)
    np.testing.assert_array_equal(whole.step, parts.step)
    np.testing.assert_array_equal(whole.leaps, parts.leaps)


def test_bright_noise_that_is_cut_into_starts_hard_and_as_music_rises_it_does_not():
    rng = np.random.default_rng(5)
    x = np.concatenate([silence(1.0), 0.1 * rng.standard_normal((2, RATE)), silence(1.0)], axis=1)
    x[:, RATE] = 0.1
    start = found(x).starts[0]
    assert start.level == pytest.approx(-20.0, abs=1.0)
    rise = RATE // 200
    x[:, RATE : RATE + rise] *= np.arange(rise) / rise
    assert found(x).starts[0].level is None


@pytest.mark.parametrize("phase", [0.5 * np.pi, 1.2, 2.0, -0.8])
def test_a_wave_that_is_cut_into_starts_at_its_rms(phase):
    x = np.concatenate([silence(1.0), tone(1_000.0, 2.0, 0.25, phase=phase), silence(1.0)], axis=1)
    start = found(x).starts[0]
    assert start.level == pytest.approx(20.0 * np.log10(0.25 / np.sqrt(2.0)), abs=0.01)
    assert start.at_s == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("milliseconds", [5.0, 10.0, 50.0])
def test_sound_that_fades_in_starts_softly(milliseconds):
    x = np.concatenate(
        [silence(1.0), tone(1_000.0, 2.0, 0.25, phase=1.5, fade=1e-3 * milliseconds), silence(1.0)], axis=1
    )
    assert found(x).starts[0].level is None


def test_a_struck_string_starts_softly_and_its_decay_that_is_cut_off_is_a_fade():
    n = np.arange(2 * RATE)
    decay = np.exp(-n / (0.3 * RATE)) * np.minimum(1.0, n / (0.004 * RATE))
    x = np.concatenate([silence(1.0), tone(220.0, 2.0, 0.5) * decay, silence(1.0)], axis=1)
    result = found(x)
    assert result.starts[0].level is None
    end = result.ends[-1]
    assert end.fade
    left = 0.5 / np.sqrt(2.0) * np.exp(-(2.0 - 0.01) / 0.3)
    assert end.level == pytest.approx(20.0 * np.log10(left), abs=0.3)


@pytest.mark.parametrize("hz", [60.0, 220.0, 1_000.0, 9_000.0])
def test_a_tone_that_stops_ends_at_its_rms(hz):
    x = np.concatenate([silence(1.0), tone(hz, 2.0, 0.25), silence(1.0)], axis=1)
    end = found(x).ends[-1]
    assert not end.fade
    assert end.level == pytest.approx(20.0 * np.log10(0.25 / np.sqrt(2.0)), abs=0.3)
    assert end.at_s == pytest.approx(3.0, abs=0.003)


def test_direct_current_behind_the_music_is_no_end():
    x = np.concatenate([silence(1.0), tone(500.0, 2.0, 0.25, fade=0.3), silence(1.0)], axis=1) + 0.02
    assert found(x).ends[-1].level is None


def hiss_of(level, seconds, rate=RATE):
    """Noise from 200 Hz to 15 kHz of `level` dBFS rms, (2, frames)."""
    frames = round(seconds * rate)
    spectrum = np.fft.rfft(np.random.default_rng(1).standard_normal((2, frames)), axis=1)
    hertz = np.fft.rfftfreq(frames, 1.0 / rate)
    hiss = np.fft.irfft(spectrum * ((hertz > 200.0) & (hertz < 15_000.0)), frames, axis=1)
    return hiss * 10.0 ** (level / 20.0) / np.sqrt((hiss**2).mean(axis=1, keepdims=True))


@pytest.mark.parametrize("rate", [44_100, 192_000])
def test_noise_that_stays_has_its_own_level(rate):
    hiss = hiss_of(-62.0, 4.0, rate)
    x = np.concatenate([tone(500.0, 3.0, 0.25, rate, fade=0.3), silence(4.0, rate)], axis=1)
    x[:, 3 * rate :] += hiss
    noise = found(np.concatenate([x, silence(1.0, rate)], axis=1), rate).noises[-1]
    assert noise.level == pytest.approx(-62.0, abs=0.1)
    assert (noise.start_s, noise.end_s) == (pytest.approx(3.0, abs=0.3), pytest.approx(7.0, abs=0.2))


@pytest.mark.parametrize("seconds", [1.0, 4.0, 12.0])
def test_a_fade_leaves_no_noise(seconds):
    n = np.arange(round(seconds * RATE))
    tail = 10.0 ** (-90.0 * n / len(n) / 20.0)
    music = np.random.default_rng(2).standard_normal((2, len(n))) * 0.1
    x = np.concatenate([silence(1.0), 0.1 * np.random.default_rng(3).standard_normal((2, RATE)), music * tail], axis=1)
    noise = found(np.concatenate([x, silence(2.0)], axis=1)).noises[-1]
    assert noise is None or noise.level < -80.0


def with_lines(lines, hiss_level=None):
    """Return music of 6 s, and 4 s of its lines of (Hz, peak in dBFS) to the end of the file, with or without hiss."""
    x = np.concatenate([tone(500.0, 6.0, 0.25, fade=0.3), silence(4.0)], axis=1)
    for hz, peak in lines:
        x += tone(hz, 10.0, 10.0 ** (peak / 20.0))
    if hiss_level is not None:
        x += hiss_of(hiss_level, 10.0)
    return x


HUM = ((50.0, -58.0), (100.0, -66.0), (150.0, -62.0))
TELEVISION = ((15_625.0, -58.0),)


@pytest.mark.parametrize("lines", [HUM, TELEVISION, HUM + TELEVISION])
def test_hum_and_steady_lines_to_the_end_of_the_file_are_no_noise_and_no_fade(lines):
    result = found(with_lines(lines))
    assert result.noises == (None,)
    assert not result.ends[-1].fade


@pytest.mark.parametrize("lines", [HUM, TELEVISION, HUM + TELEVISION])
@pytest.mark.parametrize("level", [-62.0, -58.0])
def test_hiss_under_hum_and_steady_lines_has_its_own_level(lines, level):
    (noise,) = found(with_lines(lines, level)).noises
    # 5 dB below all the lines, 0.1 dB of them is a third of a dB of the hiss
    assert noise.level == pytest.approx(level, abs=0.4)
    assert (noise.start_s, noise.end_s) == (pytest.approx(6.0, abs=0.3), pytest.approx(10.0, abs=0.2))


def test_hum_under_the_music_alone_takes_nothing_off_the_hiss_behind_it():
    x = with_lines(HUM)
    x[:, 6 * RATE :] = hiss_of(-66.0, 4.0)
    (noise,) = found(x).noises
    assert noise.level == pytest.approx(-66.0, abs=0.2)


@pytest.mark.parametrize("x", [silence(2.0), silence(0.0), 0.2 * np.ones((2, 5)), tone(1_000.0, 2.0, 0.5)[:, :-7]])
def test_odd_sides_have_numbers_or_none(x):
    for name, quantity in Edges.of(Chain()).publish(found(x)).items():
        assert np.isfinite(quantity.value), name


# -- real music --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def song():
    """Twelve seconds of real music between silences, (2, frames) at 44.1 kHz."""
    path = MUSIC / "battle.ogg"
    needed(path.exists(), f"{path} is missing")
    command = ["ffmpeg", "-v", "error", "-ss", "60", "-t", "12", "-i", str(path), "-f", "f32le", "-ar", "44100", "-"]
    raw = subprocess.run(command, capture_output=True, check=True).stdout
    music = np.frombuffer(raw, dtype=np.float32).reshape(-1, 2).T.astype(np.float64)
    return np.concatenate([silence(1.0, 44_100), music, silence(3.5, 44_100)], axis=1)


@pytest.mark.music
@pytest.mark.ffmpeg
@pytest.mark.parametrize(
    ("name", "strength"), [("hard_start", 0.0), ("hard_end", 0.0), ("fade_cut_off", -52.0), ("noise_after_end", -60.0)]
)
def test_a_planted_edge_is_found_at_its_place(song, name, strength):
    x, (start, end) = getattr(planted, name)(song, 44_100, strength, 3)
    result = found(x, 44_100)
    if name == "noise_after_end":
        noise = result.noises[-1]
        assert noise.start_s <= start
        assert noise.end_s == pytest.approx(end, abs=0.2)
    else:
        edge = result.starts[0] if name == "hard_start" else result.ends[-1]
        assert edge.level is not None
        assert start - 0.002 <= edge.at_s <= end + 0.002


@pytest.mark.music
@pytest.mark.ffmpeg
def test_the_end_that_is_cut_off_is_where_ffmpeg_hears_silence_begin(song, tmp_path):
    x, _ = planted.hard_end(song, 44_100, 0.0, 4)
    raw = tmp_path / "cut.f32"
    raw.write_bytes(x.T.astype("<f4").tobytes())
    command = ["ffmpeg", "-hide_banner", "-f", "f32le", "-ar", "44100", "-ac", "2", "-i", str(raw)]
    command += ["-af", "silencedetect=noise=-80dB:duration=0.5", "-f", "null", "-"]
    log = subprocess.run(command, capture_output=True, check=True, text=True).stderr
    heard = float(log.rpartition("silence_start: ")[2].split()[0])
    assert found(x, 44_100).ends[-1].at_s == pytest.approx(heard, abs=0.003)
