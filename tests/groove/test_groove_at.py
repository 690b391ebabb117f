"""The groove that plugins measure, sector by sector: against the whole-array model and closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from qc.model.cutting_chain import Chain
from qc.testing.grooves import groove_of
from support.signals import eq_3
from whole_array import model

RATE = 48_000
TRACKS = [(1.0, 4.0), (6.0, 9.0)]
LEVELS = (-6.0, 4.0)


def noise():
    """Wide noise up to 20 kHz with silence at both ends and in a gap, more out of phase in the second track."""
    rng = np.random.default_rng(7)
    x = 0.04 * rng.standard_normal((2, 10 * RATE))
    hz = np.fft.rfftfreq(x.shape[1], 1.0 / RATE)
    x = np.fft.irfft(np.fft.rfft(x) * (hz < 20_000.0), x.shape[1])
    x[0] += 0.5 * x[1]
    x[:, 6 * RATE :] *= [[1.3], [-0.9]]
    t = np.arange(x.shape[1]) / RATE
    fade = sum(np.clip(np.minimum(t - start, end - t) / 0.05, 0.0, 1.0) for start, end in TRACKS)
    return x * np.sin(0.5 * np.pi * fade) ** 2


@pytest.fixture(scope="module")
def side():
    chain = model.Chain()
    return model.side_of(noise(), RATE, [(start, end, True) for start, end in TRACKS], chain), chain


@pytest.fixture(scope="module", params=LEVELS)
def pair(request, side):
    """The groove at a level, and the model's own for each polarity."""
    prepared, chain = side
    expected = [
        model.groove(prepared.envelopes, prepared.span, prepared.gaps, chain, request.param, polarity)
        for polarity in ("normal", "inverted")
    ]
    return groove_of(noise(), RATE, request.param, tracks=TRACKS), expected, prepared.span


def test_the_spiral_is_that_of_the_polarity_that_travels_further(pair):
    groove, expected, span = pair
    further = max(expected, key=lambda cut: cut.travel)
    assert groove.polarity == ("normal", "inverted")[expected.index(further)]
    assert len(groove) == span[1] - span[0]
    np.testing.assert_allclose(groove.radius_mm, 1e3 * further.radius, rtol=0, atol=0.02)
    advance = np.concatenate([further.run_in, further.advance])
    pitch = np.convolve(advance, np.ones(len(further.run_in)), "valid")[1:]
    np.testing.assert_allclose(groove.pitch_um, 1e6 * pitch, rtol=0, atol=1.5)


def test_widths_depths_and_land_are_of_the_worse_polarity(pair):
    groove, expected, _ = pair
    for name, worse, attribute in (
        ("land_um", np.min, "land"), ("top_width_um", np.min, "top_width"), ("depth_um", np.max, "greatest_depth"),
    ):  # fmt: skip
        want = 1e6 * worse([getattr(cut, attribute) for cut in expected], axis=0)
        np.testing.assert_allclose(getattr(groove, name), want, rtol=0, atol=1.5, err_msg=name)


def test_slopes_tracing_and_drive_are_the_model_s(pair):
    groove, expected, _ = pair
    for name in ("lateral_slope", "vertical_slope", "tracing_ratio"):
        want = np.max([getattr(cut, name) for cut in expected], axis=0)
        near = want > 0.2 * want.max()  # at the edges of silence filters ring differently
        assert near.sum() > 250
        apart = np.abs(getattr(groove, name)[near] / want[near] - 1.0)
        assert np.quantile(apart, 0.95) < 0.01, name
        assert apart.max() < 0.05, name  # a peak between two sectors may be counted in either
    want = np.sqrt(expected[0].kept["a_square"].max(axis=0)) / 9.80665
    near = want > 0.2 * want.max()
    np.testing.assert_allclose(groove.drive_g[near], want[near], rtol=0.02)


def test_time_turns_tracks_marks_and_programme_lie_where_they_were_declared():
    groove = groove_of(noise(), RATE, 0.0, tracks=TRACKS)
    assert (groove.start_s, groove.end_s, groove.level_db) == (1.0, 9.0, 0.0)
    np.testing.assert_allclose(groove.time_s, 1.0 + np.arange(600) / 75.0, atol=1e-12)
    np.testing.assert_allclose(groove.turn, np.arange(600) / 135.0, atol=1e-12)
    assert np.array_equal(np.flatnonzero(groove.mark), np.arange(225, 375))  # 4 to 6 s
    middle = groove.time_s + 0.5 / 75.0
    sounding = ((middle > 1.0) & (middle < 4.0)) | ((middle > 6.0) & (middle < 9.0))
    assert np.count_nonzero(groove.programme != sounding) <= 8  # what fades in and out for 50 ms
    assert [track.number for track in groove.tracks] == [1, 2]
    place = groove.at(450)
    assert (place.start_s, place.end_s, place.track) == (1.0 + 450 / 75, 1.0 + 451 / 75, 2)
    assert place.radius_mm == groove.radius_mm[450]
    assert groove.at(0, 600).end_s == 9.0
    for outside in ((-1, None), (600, None), (5, 5)):
        with pytest.raises(IndexError, match="no sectors"):
            groove.at(*outside)


def test_turns_follow_each_other_and_make_up_the_side():
    groove = groove_of(noise(), RATE, 0.0, tracks=TRACKS)
    turns = list(groove.by_turn())
    assert [len(turn) for turn in turns] == [135] * 4 + [60]
    assert np.array_equal(np.concatenate([turn.land_um for turn in turns]), groove.land_um)
    second = turns[1]
    assert second.turn[0] == 1.0
    assert second.at(0) == groove.at(135)
    at_45 = Chain(disc=replace(Chain().disc, speed="45"))
    assert len(next(groove_of(noise(), RATE, 0.0, at_45).by_turn())) == 100


def test_no_array_can_be_written_or_opened_for_writing():
    groove = groove_of(noise(), RATE, 0.0)
    for part in (groove, next(groove.by_turn())):
        for name, values in vars(part).items():
            if isinstance(values, np.ndarray):
                assert values.dtype == (bool if name in {"programme", "mark"} else np.float64), name
                with pytest.raises(ValueError, match="read-only"):
                    values[0] = 1
                with pytest.raises(ValueError, match="WRITEABLE"):
                    values.flags.writeable = True


def test_a_steady_sine_leaves_the_land_of_the_closed_form():
    """An in-phase sine moves both walls alike, so that two turns take two half widths and twice its peak."""
    t = np.arange(12 * RATE) / RATE
    x = np.tile(0.5 * np.sin(2.0 * np.pi * 100.0 * t), (2, 1))
    velocity = 0.05 * 0.5 * 10 ** (18 / 20) / (eq_3(100.0) / eq_3(1000.0))  # m/s, lateral, peak
    taken = 56.0 + 2e6 * velocity / (2.0 * np.pi * 100.0)
    chain = replace(Chain(), cut=replace(Chain().cut, polarity="normal"))
    free = groove_of(x, RATE, 0.0, chain)
    given = np.minimum(free.pitch_um[299:599], free.pitch_um[300:600])
    np.testing.assert_allclose(given - free.land_um[300:600], taken, rtol=0.003)
    assert free.land_um[300:600].min() == pytest.approx(13.0, abs=1e-3)
    capped = groove_of(x, RATE, 0.0, replace(chain, cut=replace(chain.cut, max_pitch=100e-6)))
    np.testing.assert_allclose(capped.pitch_um[300:600], 100.0, atol=1e-6)
    np.testing.assert_allclose(capped.land_um[300:600], 100.0 - taken, atol=0.4)
    speed = 2.0 * np.pi * (100.0 / 3.0) / 60.0 * 1e-3 * capped.radius_mm[300:600]
    np.testing.assert_allclose(capped.lateral_slope[300:600], velocity / speed, rtol=0.003)
    turn = capped.drive_g[300:435]  # a sector has one and a third waves: the mean over a turn is that of the sine
    wall = 2.0 * np.pi * 100.0 * velocity / np.sqrt(2.0) / 9.80665
    assert np.sqrt(np.mean(turn**2)) == pytest.approx(wall / np.sqrt(2.0), rel=0.003)
