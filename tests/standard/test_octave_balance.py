"""Balance by octave against scipy's Welch spectra, and the channels of two deliveries through the whole command."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from qc import api
from qc.testing import signals
from qc.testing.deliveries import Sent, deliver
from qc_standard.documents.octave_balance import NAMES, OCTAVES

SECONDS = 20.0


def leaning(rate):
    """Noise whose bass leans left and whose treble leans right."""
    both = signals.pink_noise(SECONDS, rate, 0.05)
    left = signals.pink_noise(SECONDS, rate, 0.05, channels="left", seed=2, to_hz=700.0)
    right = signals.pink_noise(SECONDS, rate, 0.04, channels="right", seed=3, from_hz=900.0)
    return both + left + right


def checked(folder, x, rate, baseline=None):
    report = api.check(deliver(folder, {"A": Sent(x, rate)}), api.Options(workers=1, baseline=baseline))
    return report, next(result for result in report.results if result.check == "programme.channels-exchanged")


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_balance_by_octave_is_that_of_welch_spectra(tmp_path, rate):
    x = leaning(rate)
    frequencies, power = scipy.signal.welch(x, rate, nperseg=rate // 4)
    measured = checked(tmp_path, x, rate)[0].sides[0].measurements
    for name, middle in zip(NAMES, OCTAVES.values(), strict=True):
        inside = (frequencies >= middle / np.sqrt(2.0)) & (frequencies < middle * np.sqrt(2.0))
        left, right = power[:, inside].sum(axis=1)
        # a sixth of the noise is in the spectra: over n independent bins the balance scatters by 6.1 dB / sqrt(n)
        scatter = 6.1 / np.sqrt(middle / np.sqrt(2.0) * SECONDS / 6.0)
        assert measured[name].value == pytest.approx(10.0 * np.log10(right / left), abs=4.0 * scatter), name


@pytest.mark.parametrize("gain", [0.5, 2.0])
def test_a_gain_of_one_channel_moves_every_octave_by_the_same(tmp_path, gain):
    x = leaning(48_000)
    before = checked(tmp_path / "before", x, 48_000)[0].sides[0].measurements
    x[1] *= gain
    after = checked(tmp_path / "after", x, 48_000)[0].sides[0].measurements
    moved = [after[name].value - before[name].value for name in NAMES]
    assert moved == pytest.approx([20.0 * np.log10(gain)] * len(NAMES), abs=0.001)


def test_a_file_of_one_channel_has_no_balance_by_octave(tmp_path):
    measured = checked(tmp_path, leaning(48_000)[0], 48_000)[0].sides[0].measurements
    assert not set(NAMES) & set(measured)


def test_exchanged_channels_fail_against_the_report_of_the_earlier_delivery(tmp_path):
    x = leaning(48_000)
    first, alone = checked(tmp_path / "first", x, 48_000)
    assert alone.outcome == "not_applicable"
    baseline = tmp_path / "first.json"
    baseline.write_text(first.model_dump_json(by_alias=True), encoding="utf-8")
    assert checked(tmp_path / "again", x, 48_000, baseline)[1].outcome == "pass"
    exchanged = checked(tmp_path / "exchanged", x[::-1], 48_000, baseline)[1]
    assert exchanged.outcome == "fail"
    assert "left and right are exchanged against the earlier delivery" in exchanged.findings[0].message
