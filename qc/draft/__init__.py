"""Drafts of a delivery: tracks from a CUE sheet or from silences."""
