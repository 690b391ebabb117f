"""The spiral of sectors against one laid by brute force: edges at every sample, turn by turn, the land measured.

Two motions are laid: the one of the whole-array model, from which the sectors are taken too, so that nothing but the
sectors themselves is on trial; and the package's own, which may move by 0.3 % otherwise (groove model, 1).
"""

import numpy as np
import pytest

from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.position import SpiralPositions
from qc.model.cutting_chain import Chain, Signal
from qc.testing.music import Song, song
from support import by_hand
from support.by_hand import heard, side, with_cut
from support.cells import with_cells
from support.signals import both, tone
from whole_array import model
from whole_array.turn_by_turn import lay

RATE = 48_000
SECONDS = 7.0
UM = 1e-6
NO_LESS, SAME = 0.3 * UM, 0.002 * UM


def faded(x):
    ends = np.clip(np.minimum(np.arange(x.shape[1]), np.arange(x.shape[1])[::-1]) / (0.2 * RATE), 0.0, 1.0)
    return x * 0.5 * (1.0 - np.cos(np.pi * ends))


def music():
    return faded(song(Song(SECONDS, RATE, seed=23, tempo=112.0, bass_width=0.4)))


def noise():
    """Wide below 2 kHz, at its strongest in the bass, and swelling four times a turn and a bit."""
    rng = np.random.default_rng(5)
    n = round(SECONDS * RATE)
    hz = np.fft.rfftfreq(n, 1.0 / RATE)
    spectrum = np.fft.rfft(rng.standard_normal((2, n))) * (hz > 20.0) * (hz < 2_000.0) / np.sqrt(hz + 50.0)
    x = np.fft.irfft(spectrum, n) * (1.2 + np.sin(2.0 * np.pi * 2.3 * np.arange(n) / RATE))
    return faded(0.6 * x / np.abs(x).max())


PROGRAMMES = {"music": music, "noise": noise}
CUTS = {
    "variable": {}, "fixed": {"depth": "fixed"}, "inverted": {"polarity": "inverted"},
    "a carriage that cannot follow": {"max_pitch": 110.0 * UM},
}  # fmt: skip


NAMES = {"lateral_v": "lateral_v_abs", "vertical_v": "vertical_v_abs", "low_vertical": "low_vertical_abs"}


def compared(x, **cut):
    """Samples cut at 0 dB by the package, cut by it from the model's envelopes, and laid by brute force."""
    polarity = cut.get("polarity", "normal")
    chain = with_cut(Chain(), **{"polarity": polarity, **cut})
    ours = Cutting(side(heard(x, RATE, chain), chain), 0.0, polarity)
    theirs = model.Chain(**{key: value for key, value in cut.items() if key != "polarity"})
    moved = model.motion(-x if polarity == "inverted" else x, RATE, theirs)
    kept = model.envelopes(moved)
    sectors = with_cells(Signal(), **{name: kept[NAMES.get(name, name)] for name in by_hand.NAMES})
    alike = Cutting(side(sectors, with_cut(chain, polarity="normal")), 0.0, "normal")
    scale = model.scale(theirs, 0.0)
    return ours, alike, lambda advance=None: lay(moved, theirs, scale, advance)


QUICK = {("music", "variable")}
"""the comparison that is not left to the long run"""


@pytest.mark.parametrize(
    ("programme", "cut"),
    [
        pytest.param(programme, cut, marks=() if (programme, cut) in QUICK else pytest.mark.long)
        for programme in PROGRAMMES
        for cut in CUTS
    ],
)
def test_sectors_agree_with_the_edges_themselves(programme, cut):
    ours, alike, laid = compared(PROGRAMMES[programme](), **CUTS[cut])
    assert ours.spiral.travel > 1.2 * 69.0 * UM * SECONDS / 1.8  # the programme does take room
    own = laid()
    by_hand_s = np.arange(1, len(own.radius) + 1) / 75.0  # each radius is the one where a sector ends
    for radius, second in zip(own.radius[::20], by_hand_s[::20], strict=True):  # from the radius to the second
        assert SpiralPositions.as_cut(alike).second_at(radius) == pytest.approx(second, abs=1e-3)
        assert SpiralPositions.as_cut(ours).second_at(radius) == pytest.approx(second, abs=1.0 / 75.0)
    for cutting, near in ((ours, NO_LESS), (alike, SAME)):
        assert np.abs(own.radius - cutting.spiral.radius).max() <= cutting.spiral.advance.min()  # travel of one sector
        followed = laid(cutting.spiral.advance)
        # but for the start of the very first sector, which lies beside no turn that was cut for it
        assert (followed.land - cutting.spiral.land)[1:].min() >= -near
        assert (own.land - cutting.spiral.land)[1:].min() >= -near
    if cut == "a carriage that cannot follow":
        assert max(ours.spiral.land.min(), own.land.min()) < 0.0  # the land that is missing is seen by both
    else:
        assert own.land[1:].min() >= 13.0 * UM - SAME
        assert ours.spiral.land.min() == pytest.approx(13.0 * UM, abs=0.01 * UM)


@pytest.mark.long
def test_a_tone_that_faces_itself_takes_all_the_land_it_is_given():
    """327.5 periods a turn: crest lies beside crest, so that the land is the one the sectors leave, no more."""
    ours, _, laid = compared(both(tone(327.5 / 1.8, SECONDS, RATE, 0.5, fade=1.0)))
    steady = slice(round(3.6 * 75), round(5.0 * 75))  # beyond what the preview and the turn before know of its ends
    assert np.abs(laid().land[steady] - ours.spiral.land[steady]).max() <= NO_LESS
    assert ours.spiral.land[steady].min() <= 13.0 * UM + ours.spiral.advance.max()  # a sector's travel to spare


@pytest.mark.long
def test_a_tone_in_step_with_the_turns_lies_in_itself():
    """328 periods a turn: the edges run side by side, and the sectors, which know no phase, give it twice its swing."""
    ours, _, laid = compared(both(tone(328.0 / 1.8, SECONDS, RATE, 0.5, fade=1.0)))
    steady = slice(round(3.6 * 75), round(5.0 * 75))
    swing = np.sqrt(2.0) * ours.scale * ours.side.envelopes.d_max[0, steady].mean()
    assert (laid().land - ours.spiral.land)[steady] == pytest.approx(2.0 * swing, rel=0.02)
