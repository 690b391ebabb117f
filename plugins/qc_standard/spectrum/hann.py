"""The Hann window of the spectra, and the frequency of a peak that it leaves."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def window(size: int) -> NDArray[np.float32]:
    """Return a periodic window, (size,), after which the power of some bins is the mean square of that band."""
    shape = np.hanning(size + 1)[:-1]
    return (shape * np.sqrt(2.0 / (size * np.sum(shape**2)))).astype(np.float32)


def peak_shift(power: NDArray[Any]) -> NDArray[Any]:
    """Return the bins by which a peak lies above its middle bin, from the power (..., 3) of that and its neighbours."""
    amplitude = np.sqrt(power)
    weight = amplitude.sum(axis=-1) + amplitude[..., 1]
    shift: NDArray[Any] = 2.0 * (amplitude[..., 2] - amplitude[..., 0]) / np.maximum(weight, 1e-15)
    return shift
