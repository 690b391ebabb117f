"""Playback along a side: estimates against the exact model, their laws, and the seconds that are replayed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from qc.groove.geometry.at_radius import cut_at_radius
from qc.groove.playback.estimate import LEAST_DB, MOST_DB, OF_RESIDUAL, OF_TOP_LOSS, RESIDUAL, TOP_LOSS, estimate
from qc.groove.playback.exact import APART, FROM_DB, MOST, MOST_FOR_LOSS, replayed
from qc.groove.playback.passage import CutPassage, PlaybackSetup, Tip
from qc.groove.playback.residual import WHOLE, MasterBands, residuals
from qc.groove.playback.side_passage import LEAD_S
from qc.model.errors import SecondLookError
from qc.plugin_api import Quantity, Stream
from qc.testing.deliveries import Sent
from qc.testing.music import Song, song
from support.by_hand import CHAIN, heard, side

RATE = 96_000
TURNING = 2.0 * math.pi * (100.0 / 3.0) / 60.0
TIP = Tip.spherical(CHAIN.playback.tip_radius)


def rms(apart):
    return math.sqrt(float(np.square(apart).mean()))


@pytest.fixture(scope="module")
def music():
    """Twelve seconds of a song with its drums and voice, then two of silence, in the first of which filters ring."""
    x = 0.7 * song(Song(17.0, RATE, seed=5, tempo=120.0, cymbals=1.5))[:, 5 * RATE :]
    return np.pad(x, ((0, 0), (0, 2 * RATE)))


@pytest.fixture(scope="module")
def groove(music):
    return side(heard(music, RATE))


@pytest.fixture(scope="module")
def passage(music):
    return CutPassage.of_samples(music, RATE)


def test_estimates_lie_about_the_exact_model_as_closely_as_they_say(groove, passage):
    apart: dict[str, list[float]] = {RESIDUAL: [], TOP_LOSS: []}
    for level, radius in ((0.0, 0.060), (6.0, 0.060), (0.0, 0.120), (-6.0, 0.080)):
        found = estimate(cut_at_radius(groove, level, radius))
        (exact,) = residuals(passage, [PlaybackSetup(level, TURNING * radius, TIP, CHAIN.playback.back_angle)])
        apart[RESIDUAL] += (found.residual - exact.by_band[WHOLE])[:12].tolist()
        moderate = (exact.top_loss > 0.3) & (exact.top_loss < 4.0)
        apart[TOP_LOSS] += (found.top_loss - exact.top_loss)[moderate].tolist()
    assert rms(apart[RESIDUAL]) <= OF_RESIDUAL.scatter
    assert len(apart[TOP_LOSS]) >= 12
    assert rms(apart[TOP_LOSS]) <= OF_TOP_LOSS.scatter


@pytest.mark.parametrize("tip", [5e-6, 18e-6])
def test_estimates_follow_the_tip(groove, passage, tip):
    chain = replace(CHAIN, playback=replace(CHAIN.playback, tip_radius=tip))
    found = estimate(cut_at_radius(groove.under(chain), -3.0, 0.09))
    setup = PlaybackSetup(-3.0, TURNING * 0.09, Tip.spherical(tip), CHAIN.playback.back_angle)
    (exact,) = residuals(passage, [setup])
    assert rms((found.residual - exact.by_band[WHOLE])[:12]) <= 2.5


def test_a_level_raises_estimates_by_the_fourth_power_of_its_gain(groove):
    softer, louder = (estimate(cut_at_radius(groove, level, 0.1)) for level in (-10.0, -6.0))
    inside = (softer.residual > LEAST_DB) & (louder.residual < MOST_DB)
    steps = (louder.residual - softer.residual)[inside]
    assert len(steps) >= 10
    assert steps == pytest.approx(np.full(len(steps), OF_RESIDUAL.slope * 2.0 * 4.0), rel=1e-9)
    losses = (louder.top_loss / softer.top_loss)[:12]
    assert losses == pytest.approx(np.full(12, 10.0 ** (OF_TOP_LOSS.slope * 2.0 * 4.0 / 20.0)), rel=1e-9)


def test_estimates_end_where_their_fit_did(groove):
    assert np.nanmax(estimate(cut_at_radius(groove, -40.0, 0.146)).residual) == LEAST_DB
    assert np.nanmin(estimate(cut_at_radius(groove, 40.0, 0.05)).residual[:12]) == MOST_DB


def test_silence_has_no_value(groove):
    found = estimate(cut_at_radius(groove, 0.0, 0.1))
    assert np.isnan(found.residual).tolist() == np.isnan(found.top_loss).tolist() == [False] * 13 + [True]
    still = estimate(cut_at_radius(side(heard(np.zeros((2, 2 * RATE)), RATE)), 0.0, 0.1))
    assert still.worst(RESIDUAL) is None
    assert still.worst(TOP_LOSS) is None


def test_seconds_follow_each_other_and_the_last_ends_with_the_side(music):
    short = estimate(cut_at_radius(side(heard(music[:, : 5 * RATE // 2], RATE)), 0.0, 0.1))
    assert (short.starts + short.sectors).tolist() == [75, 150, 188]
    half = estimate(cut_at_radius(side(heard(music[:, : RATE // 2], RATE)), 0.0, 0.1))
    assert (half.starts.tolist(), half.sectors) == ([0], 38)
    assert not np.isnan(half.along(RESIDUAL, 38)).any()


def test_the_worst_seconds_are_replayed_and_the_others_stay_estimates(groove, passage, music):
    """Read from motion that is in memory, through the tap that asks for it."""
    asked = []

    def look(start, end, tap):
        asked.append((start, end))
        return passage.motion[:, round(start * RATE) : round(end * RATE)]

    stream = Stream(source="side:A", rate=RATE, channels=2, frames=music.shape[1])
    cutting = cut_at_radius(groove, 3.0, 0.06)
    before, found = estimate(cutting), replayed(look, stream, cutting)
    assert 1 <= len(found.played) == len(asked) <= MOST + MOST_FOR_LOSS
    by_residual = [round(start + LEAD_S) for start, _ in asked[:-MOST_FOR_LOSS]]
    assert min(np.diff(sorted(by_residual)), default=APART) >= APART
    assert int(np.nanargmax(before.residual)) in found.played
    for second in range(14):
        if second in found.played:
            first = max(0, second * RATE - round(LEAD_S * RATE))
            part = CutPassage(passage.motion[:, first : (second + 1) * RATE], RATE, passage.unity_velocity)
            played = part.played(PlaybackSetup(3.0, TURNING * 0.06, TIP, CHAIN.playback.back_angle))
            lead = second * RATE - first
            (compared,) = [MasterBands.whole(part.master[:, lead:], RATE).compared(played[:, lead:])]
            assert found.residual[second] == pytest.approx(compared.by_band[WHOLE][0], abs=1e-6)
            assert found.top_loss[second] == pytest.approx(compared.top_loss[0], abs=1e-6)
        else:
            np.testing.assert_equal(found.residual[second], before.residual[second])
    worst = found.worst(RESIDUAL)
    assert worst in found.played
    assert found.residual[worst] == max(found.residual[second] for second in found.played)
    assert np.nanmax(found.along(RESIDUAL, 14 * 75)) == found.residual[worst]


def banded_noise(low, high, level):
    """Two seconds of noise between two frequencies in Hz, alike in both channels, with peaks of a level in dBFS."""
    spectrum = np.fft.rfft(np.random.default_rng(3).normal(size=2 * RATE))
    bins = np.fft.rfftfreq(2 * RATE, 1.0 / RATE)
    noise = np.fft.irfft(np.where((bins >= low) & (bins <= high), spectrum, 0.0))
    return np.tile(noise * (10.0 ** (level / 20.0) / np.abs(noise).max()), (2, 1))


def test_seconds_that_lose_most_treble_are_replayed_beside_the_one_that_distorts_most():
    """The second that distorts most, and is the only one replayed for that, loses none of its faint treble."""
    pause = np.zeros((2, RATE))
    x = np.concatenate([pause, banded_noise(4e3, 8e3, -4.8), pause, banded_noise(300.0, 2.5e3, -0.4), pause], axis=1)
    x += 1e-3 * np.random.default_rng(1).normal(size=x.shape)
    passage = CutPassage.of_samples(x, RATE)
    stream = Stream(source="side:A", rate=RATE, channels=2, frames=x.shape[1])

    def look(start, end, _):
        return passage.motion[:, round(start * RATE) : round(end * RATE)]

    cutting = cut_at_radius(side(heard(x, RATE)), 0.0, 0.06)
    found = replayed(look, stream, cutting)
    (exact,) = residuals(passage, [PlaybackSetup(0.0, TURNING * 0.06, TIP, CHAIN.playback.back_angle)])
    distorted, dulled = found.worst(RESIDUAL), found.worst(TOP_LOSS)
    assert found.top_loss[distorted] < 0.5
    assert len(found.played) == 1 + MOST_FOR_LOSS
    assert {int(second) for second in np.argsort(-estimate(cutting).top_loss)[:2]} <= found.played
    assert found.top_loss[dulled] >= exact.top_loss.max() - OF_TOP_LOSS.scatter


def test_a_side_that_plays_cleanly_is_not_read_again(groove, music):
    def look(*_):
        raise AssertionError("nothing is to be read")

    stream = Stream(source="side:A", rate=RATE, channels=2, frames=music.shape[1])
    cutting = cut_at_radius(groove, -15.0, 0.14)
    found = replayed(look, stream, cutting)
    assert np.nanmax(found.residual) < FROM_DB
    assert not found.played
    np.testing.assert_array_equal(found.residual, estimate(cutting).residual)


def test_seconds_that_cannot_be_read_again_stay_estimates(groove, music):
    def look(*_):
        raise SecondLookError("no more")

    stream = Stream(source="side:A", rate=RATE, channels=2, frames=music.shape[1])
    cutting = cut_at_radius(groove, 3.0, 0.06)
    found = replayed(look, stream, cutting)
    assert not found.played
    np.testing.assert_array_equal(found.residual, estimate(cutting).residual)


def test_the_report_says_whether_a_number_is_exact(judged, music):
    """The exact one is that of the same second of the programme, processed as a whole, at the radius it has there."""
    hot = judged({"A": Sent(music, RATE)}, "--level", "+6 dB").side()
    number = Quantity.model_validate(hot["measurements"][RESIDUAL])
    assert (number.unit, number.accuracy) == ("dB", "exact")
    assert number.at.end_s - number.at.start_s == pytest.approx(1.0)
    assert hot["second_look_s"] > 0.0
    whole = CutPassage.of_samples(music, RATE)
    begin, end = (round(second * RATE) for second in (number.at.start_s, number.at.end_s))
    lead = min(begin, RATE // 10)
    part = CutPassage(whole.motion[:, begin - lead : end], RATE, whole.unity_velocity)
    speed = TURNING * number.at.radius_mm / 1e3
    played = part.played(PlaybackSetup(6.0, speed, TIP, CHAIN.playback.back_angle, number.at.polarity or "normal"))
    compared = MasterBands.whole(part.master[:, lead:], RATE).compared(played[:, lead:])
    assert number.value == pytest.approx(float(compared.by_band[WHOLE][0]), abs=0.02)
    cool = judged({"A": Sent(music, RATE)}, "--level", "-20 dB").side()
    calm = Quantity.model_validate(cool["measurements"][RESIDUAL])
    assert calm.accuracy == "estimated"
    assert str(calm).startswith("about -")
