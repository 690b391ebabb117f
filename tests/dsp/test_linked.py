"""Kernels linked from stored machine code: the same results as numba's own call of the same function, and as Python's.

Reference: the function itself, run by Python on numpy's numbers (float64 is the same everywhere), and numba's own way
of calling it, a general-purpose library.
"""

import os
import subprocess
import sys
import threading

import numpy as np
import pytest

from qc.dsp.kernels import cache as kernel_cache
from qc.dsp.kernels import compiler, linked
from qc.dsp.kernels.jit import as_written, kernel
from qc.dsp.kernels.kernel import Kernel
from qc.testing.deliveries import Sent, deliver
from support.signals import tone

NOISE = np.random.default_rng(5).standard_normal((3, 40))


@as_written
def nothing_back(x, y, factor):
    for c in range(x.shape[0]):
        for i in range(x.shape[1]):
            y[c, i] = factor * x[c, i]


@as_written
def one_back(x):
    total = 0.0
    for i in range(x.shape[0]):
        total += x[i]
    return total


@as_written
def several_back(x, up):
    best, at = x[0], 0
    for i in range(x.shape[0]):
        if (x[i] > best) == up and x[i] != best:
            best, at = x[i], i
    return best, at, 2 * at


@as_written
def whole_numbers(x, at, by):
    x[at] += by
    return x[at]


@as_written
def many(a, b, c, d, e, f, g, h, one, two, three):
    return one * a[0] + two * b[0] + three * c[0] + d[0] + e[0] + f[0] + g[0] + h[0]


@as_written
def within(x):
    return one_back(x) + one_back(x)


@kernel
def allocates(x):
    y = np.empty(x.shape[0])
    for i in range(x.shape[0]):
        y[i] = 2.0 * x[i]
    return y.sum()


@kernel
def gives_an_array(x):
    return x[1:]


@kernel
def raises(x):
    if x[0] < 0.0:
        raise ValueError("below nought")
    return x[0]


@kernel
def long_sum(x, times):
    total = 0.0
    for k in range(times):
        for i in range(x.shape[0]):
            total = total * 0.5 + x[i] * k
    return total


def ways(function, *words):
    """Results by the linked code, by numba and by Python."""
    made = function(*words), compiler.compiled(function)(*words), function.function(*words)
    assert all(isinstance(one, linked.Linked) for one in function.made.values())
    return made


@pytest.mark.parametrize("x", [NOISE[0], NOISE[0, :0], NOISE[0, ::3], NOISE[:, 2], NOISE[0, ::-1]])
def test_one_number_from_arrays_laid_out_in_any_way(x):
    here, numba, python = ways(one_back, x)
    assert here == numba == python
    assert type(here) is float


def test_single_and_whole_numbers_in_arrays():
    for x in (NOISE[0].astype(np.float32), np.arange(9, dtype=np.int16), np.arange(9, dtype=np.uint8)):
        here, numba, python = ways(one_back, x)
        assert here == numba == python


def test_an_array_between_the_places_where_its_numbers_belong():
    octets = np.zeros(8 * 5 + 1, np.uint8)
    x = octets[1:].view(np.float64)
    x[:] = NOISE[0, :5]
    assert not x.flags.aligned
    here, numba, python = ways(one_back, x)
    assert here == numba == python


def test_nothing_is_given_back_and_what_was_given_is_filled_in():
    given = [np.zeros((3, 40)) for _ in range(3)]
    assert nothing_back(NOISE, given[0], 3.0) is None
    compiler.compiled(nothing_back)(NOISE, given[1], 3.0)
    np.multiply(NOISE, 3.0, out=given[2])
    np.testing.assert_array_equal(given[0], given[1])
    np.testing.assert_array_equal(given[0], given[2])


def test_a_part_of_an_array_is_filled_in_and_nothing_beside_it():
    wide = np.zeros((3, 50))
    nothing_back(NOISE, wide[:, 5:45], 2.0)
    np.testing.assert_array_equal(wide[:, 5:45], 2.0 * NOISE)
    assert not wide[:, :5].any()
    assert not wide[:, 45:].any()


@pytest.mark.parametrize("up", [True, False, np.True_])
def test_several_numbers_and_a_truth(up):
    here, numba, python = ways(several_back, NOISE[1], up)
    assert here == numba == python
    assert [type(one) for one in here] == [float, int, int]


def test_whole_numbers_of_python_and_numpy():
    for at, by in ((2, -5), (np.int64(3), np.int32(7)), (0, 2**40)):
        x = np.arange(6)
        assert whole_numbers(x, at, by) == int(at) + int(by) == x[at]


def test_more_arguments_than_a_processor_has_registers_for():
    rows = [np.array([float(10**k)]) for k in range(8)]
    here, numba, python = ways(many, *rows, 2.0, 3.0, 4.0)
    assert here == numba == python == 11_111_432.0


def test_kernels_within_kernels():
    here, numba, python = ways(within, NOISE[2])
    assert here == numba == python


def test_what_is_no_number_and_no_array_is_refused():
    with pytest.raises(TypeError, match="not list"):
        one_back([1.0])


@pytest.mark.parametrize(
    ("function", "why"), [(allocates, "calls NRT_"), (gives_an_array, "gives back"), (raises, "may raise")]
)
def test_what_cannot_be_linked_is_told_and_run_by_numba(function, why):
    with pytest.raises(compiler.NotLinkedError, match=why):
        compiler.code_of(function, linked.kinds_of((NOISE[0],)))
    x = np.abs(NOISE[0]) + 1.0
    np.testing.assert_allclose(function(x), function.function(x))  # its own code by Python
    assert not any(isinstance(one, linked.Linked) for one in function.made.values())
    if function is raises:
        with pytest.raises(ValueError, match="below nought"):
            function(-x)


def test_nothing_else_runs_only_while_a_kernel_does():
    """The GIL is let go of: this thread counts on while the other one is inside its kernel."""
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


# -- what is kept ----------------------------------------------------------------------------------------------

CODE = linked.Code("_function", "dq", bytes(range(256)) * 40)


def test_code_is_read_as_it_was_written(tmp_path):
    linked.write(tmp_path / "a.object", CODE)
    assert linked.read(tmp_path / "a.object") == CODE
    assert [path.name for path in tmp_path.iterdir()] == ["a.object"]


def test_damaged_code_is_never_run(tmp_path):
    path = tmp_path / "a.object"
    assert linked.read(path) is None
    linked.write(path, CODE)
    whole = path.read_bytes()
    head = whole.index(b"\n")
    for broken in (b"", b"{}", whole[:head], whole[:-1], whole + b"\0", b"[]\n" + CODE.object, whole[:-5] + bytes(5)):
        path.write_bytes(broken)
        assert linked.read(path) is None, broken[:20]


def test_code_that_cannot_be_kept_is_no_fault(tmp_path):
    linked.write(tmp_path / "nowhere" / "a.object", CODE)


def test_what_was_damaged_is_compiled_again(tmp_path):
    code = (
        "import numpy as np\n"
        "from qc.dsp.samples.usable import first_unusable\n"
        "x = np.zeros((2, 50)); x[1, 30] = np.nan\n"
        "assert first_unusable(x, 1.0) == 30\n"
        "import sys; print('numba' in sys.modules)\n"
    )
    env = {**os.environ, "SIDEGATE_CACHE": str(tmp_path)}

    def run():
        return subprocess.run(
            [sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True
        ).stdout.strip()

    assert run() == "True"
    (kept,) = tmp_path.rglob("usable.first_unusable-*.object")
    assert run() == "False"
    kept.write_bytes(kept.read_bytes()[:-100])
    assert run() == "True"
    assert run() == "False"


def test_a_check_imports_no_compiler_once_its_kernels_are_kept(tmp_path):
    side = Sent(0.2 * np.vstack([tone(400.0, 3.0, 48_000)] * 2), 48_000)
    folder = deliver(tmp_path / "d", {"A": side})
    code = (
        "import sys\n"
        "from qc.cli.main import main\n"
        "code = main(sys.argv[1:])\n"
        "print(code, sorted({'numba', 'scipy', 'pycparser'} & set(sys.modules)))\n"
    )
    words = [sys.executable, "-c", code, "check", str(folder), "--no-cache", "--out", f"json={tmp_path / 'r.json'}"]
    for _ in range(2):
        done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert done.stdout.split(maxsplit=1)[1].strip() == "[]"


def test_kernels_are_known_by_name_as_functions_are():
    assert isinstance(one_back, Kernel)
    assert one_back.name == "test_linked.one_back"
    assert one_back.__doc__ == one_back.function.__doc__


def test_code_for_a_processor_with_less_is_kept_apart(tmp_path):
    """Machines of one name may have vectors switched off, and may share a home."""
    code = "from qc.dsp.kernels import cache as kernel_cache; print(kernel_cache.CACHE.name)"

    def folder(**more):
        untold = {name: value for name, value in os.environ.items() if name not in kernel_cache.TOLD}
        env = {**untold, "SIDEGATE_CACHE": str(tmp_path), **more}
        return subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout

    told = [{}, {"NUMBA_CPU_FEATURES": "-avx512f"}, {"NUMBA_CPU_NAME": "generic"}, {"NUMBA_ENABLE_AVX": "0"}]
    assert len({folder(**one) for one in told}) == len(told)
    assert folder() == folder()


def test_kernels_of_one_name_in_two_files_are_two(tmp_path):
    """As two plugins may have; each is compiled by itself."""
    code = "import sys; from {0}.usable import first; print(first(3))"
    for package, value in (("one", 7), ("other", 8)):
        (tmp_path / package).mkdir()
        (tmp_path / package / "usable.py").write_text(
            f"from qc.dsp.kernels.jit import kernel\n\n\n@kernel\ndef first(x):\n    return x + {value}\n"
        )
    env = {**os.environ, "SIDEGATE_CACHE": str(tmp_path / "cache"), "PYTHONPATH": str(tmp_path)}
    for package, expected in (("one", "10"), ("other", "11"), ("one", "10")):
        done = subprocess.run(
            [sys.executable, "-c", code.format(package)], env=env, capture_output=True, text=True, check=True
        )
        assert done.stdout.strip() == expected
