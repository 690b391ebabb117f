"""Plugins: what they may provide (spec), how they are found (finder), validated, run and kept apart (host)."""
