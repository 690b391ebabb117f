"""Levels of the file."""
