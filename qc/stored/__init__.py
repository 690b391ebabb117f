"""Stored measurements: what one run heard of a side's audio, kept for the next, so that it is not heard again."""
