"""Stored measurements: results of one run kept for the next, so that audio is not processed again."""
