"""Baselines: an earlier report to compare with."""
