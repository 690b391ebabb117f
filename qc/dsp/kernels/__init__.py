"""Compiled kernels: how they are compiled, cached and called; explicit vectors.

numba compiles a kernel for the types of its arguments, with its own decorator (`compile.py`) and its own cache on disk.
Only public interfaces of numba and llvmlite are used; both have an upper bound, since the interface for extensions
changes between minor versions. `cache.py` names the cache folder by a digest of all sources under `qc/dsp` and
`qc/groove`, of the versions of numba and llvmlite and of the processor, because numba itself does not see a change in
a function that a kernel calls. `SIDEGATE_CACHE` moves that folder.

    first run: a lock; all kernels compiled in two processes, which begin at different ends (qc/measure/precompile.py);
               numba stores them; the SHA-256 of each file is recorded, and the folder is marked as complete
    later run: a file that is not as recorded is removed; numba loads a kernel at its first call, or compiles it

A run that starts meanwhile waits for the first, 120 s at most, and then compiles for itself.

`simd.py` makes vectors values inside kernels: load, store, + - *, greater, and shuffles. A kernel itself says what is
computed side by side, so nothing depends on what the compiler dares to reorder. LLVM lowers 16 floats to one register
of AVX-512, two of AVX2 or four of SSE2. These rules keep the digits equal everywhere:

* A vector is 16 outputs of a filter or 8 lanes of one recursion, never a part of a sum whose order depends on where a
  block ends: a sum starts at the first frame of its own window. There are no scalar tails; arrays have room for whole
  vectors.
* Recursions are float64. Sums of products of programme (`fir.py`) and of steps (`extremes.py`) are float32: both have
  lost the bass, on which float32 would spend its digits. Displacement is never float32.
* A kernel is compiled once more for another number format, for `x[:, :n]` where it was `x`, for an array that can be
  written where it was a block of a stream (`read_only` avoids that), and for a bare `2` in a call between kernels
  (`index` avoids that).

Every kernel has a reference in plain numpy under tests/dsp and tests/groove. tests/dsp/test_plain_processor.py compiles
them all for a processor without AVX, looks for wider registers in the code and expects the same verdicts.
"""
