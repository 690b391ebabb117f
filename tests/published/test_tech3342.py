"""EBU Tech 3342, cases 1 to 4, at 48 kHz, heard by the analysis itself."""

import numpy as np
import pytest

from qc.testing.drive import hear
from qc_standard.loudness import Loudness

RATE = 48_000


@pytest.mark.parametrize(
    ("levels", "wanted"),
    [([-20, -30], 10.0), ([-20, -15], 5.0), ([-40, -20], 20.0), ([-50, -35, -20, -35, -50], 15.0)],
    ids=["case 1", "case 2", "case 3", "case 4"],
)
def test_cases_1_to_4(levels, wanted):
    gain = np.repeat(10.0 ** (np.array(levels) / 20.0), 20 * RATE)
    x = gain * np.sin(2.0 * np.pi * 1000.0 * np.arange(len(gain)) / RATE)
    assert hear(Loudness(), x, RATE).range == pytest.approx(wanted, abs=1.0)
