"""Traces of a lossy coder: holes in the treble of single frames, and an edge that stays at one frequency."""
