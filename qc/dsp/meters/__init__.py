"""Meters: sums over windows, loudness, peaks, runs."""
