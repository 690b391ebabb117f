"""Heard once: a source is read block by block, taps and analyses hear every slice, threads share the work."""
