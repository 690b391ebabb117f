"""Compiled kernels against the same functions run by Python on numpy's numbers: float64 is the same everywhere."""

import threading

import numba
import numpy as np
import pytest

from qc.dsp.kernels.cache import opened
from qc.dsp.kernels.compile import as_written, kernel, read_only

NOISE = np.random.default_rng(5).standard_normal((3, 40))


@as_written
def scaled(x, y, factor):
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = factor * x[c, i]


@as_written
def total(x):
    result = 0.0
    for i in range(x.shape[0]):
        result += x[i]
    return result


@as_written
def extreme(x, up):
    best, at = x[0], 0
    for i in range(x.shape[0]):
        if (x[i] > best) == up and x[i] != best:
            best, at = x[i], i
    return best, at, 2 * at


@as_written
def product_and_sum(x, y, z):
    return x * y + z


@as_written
def total_twice(x):
    return total(x) + total(x)


@kernel
def maximum(x):
    best = x[0]
    for i in range(x.shape[0]):
        best = max(best, x[i])
    return best


@kernel
def long_sum(x, times):
    result = 0.0
    for k in range(times):
        for i in range(x.shape[0]):
            result = result * 0.5 + x[i] * k
    return result


@pytest.mark.parametrize("x", [NOISE[0], NOISE[0, :0], NOISE[0, ::3], NOISE[:, 2], NOISE[0, ::-1]])
def test_arrays_of_any_layout_give_what_python_gives(x):
    assert total(x) == total.py_func(x)


@pytest.mark.parametrize("dtype", [np.float32, np.int16, np.uint8])
def test_arrays_of_any_number_format_give_what_python_gives(dtype):
    x = np.arange(9).astype(dtype)
    assert total(x) == total.py_func(x)


def test_an_array_whose_numbers_are_not_aligned():
    octets = np.zeros(8 * 5 + 1, np.uint8)
    x = octets[1:].view(np.float64)
    x[:] = NOISE[0, :5]
    assert not x.flags.aligned
    assert total(x) == total.py_func(x)


def test_a_part_of_an_array_is_filled_and_nothing_beside_it():
    wide = np.zeros((3, 50))
    assert scaled(NOISE, wide[:, 5:45], 2.0) is None
    np.testing.assert_array_equal(wide[:, 5:45], 2.0 * NOISE)
    assert not wide[:, :5].any()
    assert not wide[:, 45:].any()


@pytest.mark.parametrize("up", [True, False, np.True_])
def test_several_results_have_pythons_types(up):
    assert extreme(NOISE[1], up) == extreme.py_func(NOISE[1], up)
    assert [type(result) for result in extreme(NOISE[1], up)] == [float, int, int]


def test_kernels_within_kernels():
    assert total_twice(NOISE[2]) == total_twice.py_func(NOISE[2])


def test_a_product_and_a_sum_are_each_rounded_as_written():
    """One rounding of both, as a fused multiply-add makes it, leaves 2**-60 of this; numpy rounds the product to 1."""
    x = 1.0 + 2.0**-30
    y = 1.0 - 2.0**-30
    assert product_and_sum(x, y, -1.0) == np.float64(x) * np.float64(y) - 1.0 == 0.0


def test_a_block_and_what_was_carried_over_are_compiled_once():
    block = NOISE[0].copy()
    block.flags.writeable = False
    carried = NOISE[1].copy()
    assert maximum(read_only(block)) == block.max()
    assert maximum(read_only(carried)) == carried.max()
    assert len(maximum.signatures) == 1
    assert carried.flags.writeable


def test_a_kernel_cannot_write_into_a_read_only_array():
    y = NOISE.copy()
    y.flags.writeable = False
    with pytest.raises(numba.core.errors.TypingError, match="readonly"):
        scaled(NOISE, y, 3.0)
    np.testing.assert_array_equal(y, NOISE)


def test_other_threads_run_while_a_kernel_does():
    """The GIL is released: this thread counts on while the other one is inside its kernel."""
    counted, inside = [0], []
    long_sum(NOISE[0], 1)

    def work():
        before = counted[0]
        long_sum(NOISE[0], 3_000_000)
        inside.append(counted[0] - before)

    other = threading.Thread(target=work)
    other.start()
    while not inside:
        counted[0] += 1
    other.join()
    assert inside[0] > 1000


def test_other_users_of_numba_keep_the_folder_they_chose(tmp_path, monkeypatch):
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path))
    kernel(maximum.py_func)(NOISE[0])
    assert str(tmp_path) == numba.config.CACHE_DIR
    assert not list(tmp_path.iterdir())
    assert opened().folder != tmp_path


def test_numba_decorates_a_kernel_when_it_is_first_called_and_once(monkeypatch):
    decorated = []
    njit = numba.njit
    monkeypatch.setattr(
        numba, "njit", lambda **options: lambda function: decorated.append(1) or njit(**options)(function)
    )
    late = kernel(maximum.py_func)
    assert not decorated
    assert late(NOISE[0]) == late(NOISE[0]) == max(NOISE[0])
    assert len(decorated) == 1
