"""The energy about 1 kHz by cells of 11 ms, against scipy's own filter."""

import numpy as np
import pytest
from scipy import signal

from qc.testing.drive import run_need
from qc_standard.spectrum.low_band import LowBandLines


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
@pytest.mark.parametrize("hz", [100.0, 700.0, 1_000.0, 1_500.0])
def test_a_tone_about_1_khz_has_the_energy_that_scipys_filters_leave(rate, hz):
    t = np.arange(4 * rate) / rate
    found = run_need(LowBandLines(), np.stack([0.2 * np.sin(2 * np.pi * hz * t), 0.0 * t]), rate, 65_536)
    thinned = round(64 / found.cell_s)
    weights = signal.firwin(4 * rate // thinned, thinned / 2, window=("kaiser", 5.65), fs=rate)
    gain = signal.freqz(weights, 1, [hz], fs=rate)[1][0] * signal.freqz([1, 0, -2, 0, 1], 4, [hz], fs=thinned)[1][0]
    assert 10 * np.log10(found.middle[20:300].mean()) == pytest.approx(10 * np.log10(0.01 * abs(gain) ** 2), abs=0.1)


@pytest.mark.parametrize("blocks", [1_000, 7_777, [3, 100_001, 65_536]])
def test_the_size_of_a_block_does_not_change_the_energy_about_1_khz(blocks):
    samples = 0.1 * np.random.default_rng(5).standard_normal((2, 500_000))
    found, again = (run_need(LowBandLines(), samples, 96_000, size).middle for size in (500_000, blocks))
    assert len(found) > 400
    assert np.array_equal(found, again)
