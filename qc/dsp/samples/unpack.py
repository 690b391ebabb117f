"""Turns the interleaved samples of a plain audio file into channels of float64, full scale 1.0, digit for digit.

Scaling is by powers of two, so nothing is rounded. The arrays are cut to their first frame before the loop: with an
index that starts at zero the compiler can use its vector unit.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.dsp.kernels.compile import kernel

Array = NDArray[np.float64]
_TOP24 = 2.0**-31
"""Scale of a 24-bit sample that lies in the upper three bytes of 32."""


@kernel
def stereo(values: NDArray[Any], at: int, scale: float, left: Array, right: Array) -> None:
    """Unpack frames `at` and on of values (2 frames), any number type, times `scale`, into left and right (n)."""
    cut = values[2 * at :]
    for i in range(left.shape[0]):
        left[i] = cut[2 * i] * scale
        right[i] = cut[2 * i + 1] * scale


@kernel
def mono(values: NDArray[Any], at: int, scale: float, left: Array, right: Array) -> None:
    """Unpack frames `at` and on of values (frames), any number type, times `scale`, into left and right (n) alike."""
    cut = values[at:]
    for i in range(left.shape[0]):
        left[i] = cut[i] * scale
        right[i] = cut[i] * scale


@kernel
def stereo24(words: NDArray[np.uint16], at: int, left: Array, right: Array) -> None:
    """Unpack frames `at` and on of words (3 frames), little-endian 24-bit pairs, into left and right (n)."""
    cut = words[3 * at :]
    for i in range(left.shape[0]):
        low, middle, high = np.uint32(cut[3 * i]), np.uint32(cut[3 * i + 1]), np.uint32(cut[3 * i + 2])
        left[i] = np.int32((low << np.uint32(8)) | (middle << np.uint32(24))) * _TOP24
        right[i] = np.int32((middle & np.uint32(0xFF00)) | (high << np.uint32(16))) * _TOP24


@kernel
def mono24(octets: NDArray[np.uint8], at: int, left: Array, right: Array) -> None:
    """Unpack frames `at` and on of octets (3 frames), little-endian 24-bit samples, into left and right (n) alike."""
    cut = octets[3 * at :]
    for i in range(left.shape[0]):
        low, middle, high = np.uint32(cut[3 * i]), np.uint32(cut[3 * i + 1]), np.uint32(cut[3 * i + 2])
        left[i] = np.int32((low << np.uint32(8)) | (middle << np.uint32(16)) | (high << np.uint32(24))) * _TOP24
        right[i] = left[i]
