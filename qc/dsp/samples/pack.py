"""Turns decoded whole numbers back into the bytes that a digest of samples is taken over."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel


@kernel
def octets16(values: NDArray[np.int32], out: NDArray[np.uint8]) -> None:
    """Write the upper two bytes of each of values (n) into out (2 n), little-endian."""
    for i in range(values.shape[0]):
        value = np.uint32(values[i])
        out[2 * i] = np.uint8(value >> np.uint32(16))
        out[2 * i + 1] = np.uint8(value >> np.uint32(24))


@kernel
def octets24(values: NDArray[np.int32], out: NDArray[np.uint8]) -> None:
    """Write the upper three bytes of each of values (n) into out (3 n), little-endian."""
    for i in range(values.shape[0]):
        value = np.uint32(values[i])
        out[3 * i] = np.uint8(value >> np.uint32(8))
        out[3 * i + 1] = np.uint8(value >> np.uint32(16))
        out[3 * i + 2] = np.uint8(value >> np.uint32(24))
