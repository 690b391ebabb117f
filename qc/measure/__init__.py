"""Measuring: one side from its file to its numbers. Knows no limit."""
