"""Compiled functions of a plugin: numba's own decorator with the options and the on-disk folder of Sidegate's kernels.

A kernel calls only kernels of its own file and those that `qc.plugin_api` publishes: numba compiles it again when its
own file changes, and does not look at other files of a plugin.
"""

from qc.dsp.kernels.compile import as_written, kernel, read_only

__all__ = ["as_written", "kernel", "read_only"]
