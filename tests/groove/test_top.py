"""The top: one shape at every rate, no images, and so one acceleration of a click."""

import numpy as np
import pytest
import scipy.signal

from qc.groove.signal.band_limit import Topped, motion_rate
from qc.plugin_api import Stream
from support.by_hand import heard
from whole_array import model

RATES = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000]


def topped(x, rate):
    """Samples of both channels below the top of 20 kHz, at the rate of motion."""
    running = Topped(20e3).start(Stream("side:A", rate, 2, x.shape[1]))
    return np.concatenate([running.push(x), running.flush()], axis=1).astype(np.float64)


def designed(hz, rate):
    """Response of the windowed sinc by Kaiser's formulae, 72 dB from 24.1 kHz on, at the rate of motion."""
    taps, beta = scipy.signal.kaiserord(72.0, 2.0 * 4_100.0 / rate)
    sinc = scipy.signal.firwin(taps + (taps + 1) % 2, 22_050.0, window=("kaiser", beta), fs=rate)
    return np.abs(scipy.signal.freqz(sinc, worN=hz, fs=rate)[1])


@pytest.mark.parametrize("rate", RATES)
def test_the_top_has_one_shape_at_every_rate(rate):
    """Of the response: within 0.0005, which is 0.004 dB below 20 kHz, up to 24.1 kHz; of 44.1 kHz up to 21 kHz.

    From there on 44.1 kHz falls to half of the top at half its rate, which is half of half, and on to nothing at
    23.1 kHz; beyond 24.1 kHz nothing is left at any rate.
    """
    x = np.zeros((2, rate // 2))
    x[:, rate // 4] = 1.0
    y = topped(x, rate)[0]
    at = motion_rate(rate)
    hz = np.fft.rfftfreq(len(y), 1.0 / at)
    found = np.abs(np.fft.rfft(y)) * rate / at
    end = 21_000.0 if rate == 44_100 else 24_100.0
    expected = designed(hz, at)
    assert np.abs(found - expected)[(hz >= 20.0) & (hz <= end)].max() < 5e-4
    assert found[hz >= 24_100.0].max() < 10.0 ** (-71.0 / 20.0)
    if rate == 44_100:
        assert np.interp(22_050.0, hz, found) == pytest.approx(0.25, abs=1e-3)
        assert found[hz >= 23_100.0].max() < 1e-4


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("hz", [1_000.0, 15_000.0, 20_000.0, 21_000.0])
def test_a_tone_has_no_image_above_half_the_rate(rate, hz):
    """72 dB down beside a tone of 21 kHz; as acceleration, which grows as frequency squared, 72 dB down of any tone."""
    x = np.tile(np.sin(2.0 * np.pi * hz * np.arange(rate) / rate), (2, 1)) * np.hanning(rate)
    spectrum = np.abs(np.fft.rfft(topped(x, rate)[0][: 2 * rate], 2 * rate))  # a bin is 1 Hz
    image = spectrum[round(rate - hz)] / spectrum[round(hz)]
    assert 20.0 * np.log10(image * ((rate - hz) / hz) ** 2) < -72.0


def click(rate, edge):
    """A click with all that there is up to `edge` Hz, and nothing above, as loud at every rate."""
    sinc = 2.0 * edge / 88_200.0 * np.sinc(2.0 * edge / rate * (np.arange(rate) - rate // 2))
    return np.tile(0.1 * sinc, (2, 1))


@pytest.mark.parametrize(
    ("edge", "within", "of_model"), [(20_000.0, 2e-4, 3e-4), (21_000.0, 4e-4, 4e-3), (22_050.0, 6e-3, 0.011)]
)
def test_a_click_bends_the_groove_as_much_at_every_rate(edge, within, of_model):
    """Up to 21 kHz within 0.04 %; up to half of 44.1 kHz within 0.6 %, for there nothing can end at half the rate.

    The model has the exact derivative above 20 kHz too: what the pass has is up to 1.1 % more there.
    """
    found = {rate: heard(click(rate, edge), rate).a_abs.max() for rate in RATES}
    assert max(found.values()) / min(found.values()) - 1.0 < within
    for rate in (44_100, 96_000):
        exact = model.envelopes(model.motion(click(rate, edge), rate, model.Chain()))["a_abs"].max()
        assert found[rate] / exact == pytest.approx(1.0, abs=of_model)


def test_a_click_up_to_24_khz_bends_the_groove_as_much_at_every_rate_that_holds_it():
    found = [heard(click(rate, 24_000.0), rate).a_abs.max() for rate in RATES[1:]]
    assert max(found) / min(found) - 1.0 < 4e-4
