"""Rulesets: files found by name and version, read with lines, each value with its source."""
