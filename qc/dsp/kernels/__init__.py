"""Compiled kernels: how they are compiled, cached and called; explicit vectors."""
