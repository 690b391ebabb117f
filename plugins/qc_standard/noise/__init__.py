"""Noise of the file, noise of the disc it will be cut to, and what print-through of a tape adds."""
